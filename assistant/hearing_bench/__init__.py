"""`bay-assistant bench hearing`: how well the recogniser hears, measured again on any machine.

`manifest` states what is to be measured, `reading` reads it; `speech` gets it spoken or recorded, `mixing` puts
noise under it, and `testset` makes the utterances with what they mean; `wordset` is a grammar of words that no
procedure has; `pocketsphinx` is another recogniser for comparison; `streaming` runs the real ear: hours of noise,
and the delay of a turn; `scoring` counts; `running` puts it together; `report` writes it down, `diagram` draws.
"""
