"""Learning a voice: three minutes in which a technician says the assistant's words, and what is kept of them.

`prompts` says what to repeat and when; `lesson` is the exercise without sound gear, `sitting` the same with it;
`takes` counts what was heard, and `advice` says it in plain words; `fitting` learns from the sound, and `hearer` gives
what was learnt to a session. `own_words` checks a technician's own words. `keeping` has the files: one for each
technician, which only the user can read and which never leave the machine.
"""
