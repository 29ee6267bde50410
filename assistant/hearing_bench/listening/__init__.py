"""How well the assistant's own voice is understood, alone and in noise.

Recognisers listen here, not people: people know what to expect, and understand far more. The figures are good for
comparing voices, speaking rates, wordings and the shaping for noise with each other.

`words` scores what was heard; `keywords` says which words decide what is done; `drawing` draws the sentences;
`noise` mixes; `sii` and `scores` measure without a listener; `sphinx` and `whisper` listen; `talkers` speak;
`measuring` runs it all; `report` and `examples` are for people.
"""
