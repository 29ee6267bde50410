"""Mistakes that a writer of procedures could make, and their fate: noticed by loader, lint or proof, or by
nothing.

`making` makes them, by kind (`connections`, `branches`), wherever in the procedures such a mistake fits;
`editing` changes a procedure; `trying` loads, lints and proves each changed folder; `report` shows which check
caught which mistake. The command is `bench procedures`.
"""
