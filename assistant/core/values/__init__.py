"""Values that go into the dialogue and come out of it, and their JSON.

`events` has what happens and what the dialogue asks for, `entries` what it enters into the record, `result` a person's
answer, `board` the content of the screen, and `finding` what a check found.
`codec` and `decoding` turn them into JSON and back; `units` and `thresholds` have the numbers that all share.
"""
