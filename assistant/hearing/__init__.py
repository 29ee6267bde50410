"""Hearing: from the sound in the bay to the words of the step that is open, or to an honest "not understood".

`sound` reads files, `microphone` the live sound; `activity` finds speech in it; `graph` writes what may be said
as a graph that the recogniser can follow; `recogniser` turns speech into words; `judge` decides whether they
count; `listener` puts it all on one thread.
"""
