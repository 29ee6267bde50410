"""Procedures, terms and cautions: the data model, and YAML turned into it.

The model: `vocabulary` has the names that the program itself knows, `terms` what all procedures share, `procedure`
measurements, readings, steps and verdicts, and `library` holds all of them; `identity` checks a VIN and an odometer.
The files: `tree` turns YAML into nodes that know their lines, and `reader` gives typed access with messages.
`terms_file`, `procedure_file` and `reading_file` make the model of them, with what they share in `context`; `ways`
checks that every step is reached, and `schema` is the published schema for editors.
`assistant.loading` reads the files from the disk.
"""
