"""Makes the recogniser's acoustic model: speech from synthesisers, training, and the files that Vosk reads.

Nothing in here runs in a session.
Only `features`, `augment`, `net` and `train` need PyTorch (the optional extra ``acoustic``); texts, voices and the
bank of speech do not.
"""
