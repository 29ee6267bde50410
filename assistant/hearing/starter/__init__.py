"""The ear hears the starter: cranking begins and ends, the engine runs, how fast it cranks, the fuel pump's hum.

Sound in, plain values out; no thread, clock, file or printing while it hears. `values` says what can be heard,
`ear` is fed, `features` and `network` make a probability of each frame, `phases` decides when cranking begins, ends
or becomes running, `certainty` how sure a beginning is, `rhythm` counts compressions, and `manner` says what that
speed means. [README.md](README.md) has the figures.

Nothing here may be read as "no crank": an ear that hears none may be deaf, too far away, or drowned. Safety must
go on assuming that the starter may turn whenever nothing was heard.
"""
