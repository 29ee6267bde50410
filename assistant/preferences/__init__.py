"""What a shop sets once: one TOML file, whose settings are called like the options that win over them.

`known` is the table of all settings, and `kinds` says what a value may be. `reading` turns the text of the file into
values and problems with their lines; `writing` changes the text and keeps the comments; `resolving` decides between
option, environment, file and default. All of these are pure; `keeping` reads and writes the file.
"""
