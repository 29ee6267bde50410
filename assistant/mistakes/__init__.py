"""Mistakes that a writer of procedures could make, and what notices them: loader, lint, proof, or nothing.

`making` makes them, by kind (`connections`, `branches`), in every place of the procedures where such a mistake fits;
`editing` is what a mistake is; `trying` loads, lints and
proves the changed folder of each; `report` tells what was caught by what.  The command is `bench procedures`.
"""
