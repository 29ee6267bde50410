"""Hearing: from the sound in the bay to the words of the open step, or to an honest "not understood".

`sound` reads files, `microphone` the live sound; `activity` finds speech in it; `graph` writes the allowed
phrases as a graph that the recogniser follows; `recogniser` turns speech into words; `judge` decides whether they
count; `listener` runs all of it on one thread.
"""
