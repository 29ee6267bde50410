"""Made-up starts of engines with known truth, and how well the ear for the starter hears them.

`turning` moves a crankshaft, `sounding` makes the sound of it, `bystanders` makes noise, music and other machines,
`scenes` mixes them as a microphone would hear them, `ranges` holds what is drawn from for developing and for
measuring, `mixing` makes more scenes from few sounds, `training` fits the network of `assistant.hearing.starter`, and
`certain` how sure the ear is of a beginning. `losing` makes gaps in sound. `counting` compares what was said with the
truth, and `measuring` is `bench starter`. Nothing of it runs in a session.
"""
