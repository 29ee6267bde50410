"""`bay-assistant bench hearing` measures how well the recogniser hears, on any machine.

`manifest` is the plan of a measurement, and `reading` reads it; `speech` supplies synthetic or recorded speech,
`mixing` adds noise, and `testset` makes the utterances with their meanings; `wordset` is a grammar of words that
no procedure has; `pocketsphinx` is another recogniser for comparison; `streaming` runs the real ear: hours of
noise, and the delay of a turn; `scoring` counts; `running` puts it together; `report` writes the tables, and
`diagram` draws.
"""
