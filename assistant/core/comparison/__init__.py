"""What differs between two versions of the procedures, in words, and what two people changed apart from each other.

`procedures` compares two libraries, `of_steps` a step, `of_terms` the names and cautions, `of_odds` the odds.
`three_way` takes the version that a copy came from, the copy as it is now, and the newest version.
Values go in and values come out: a change names its keys in the file, so a test can hold it against the file itself.
"""
