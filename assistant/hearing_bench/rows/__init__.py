"""The rows of a hearing measurement that go beyond answers in noise, each module one kind of row.

`context` is what they are made from; `makers` names them all. Each gives `SoundTrial`s, whose sound is only made where
it is heard.
"""
