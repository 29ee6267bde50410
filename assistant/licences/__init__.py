"""What others made: the parts that the wheel carries, the packages that it requires, their licences and texts.

``third-party.toml`` has the facts, each with the place where it was read; `notices` reads and writes them down, and
`installed` adds what this installation knows: versions and the texts in the packages.
"""
