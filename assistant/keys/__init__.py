"""The number pad: turns keys into the key names of the dialogue.

They come from a terminal (`pad.py`), and with `run --pad` from a pad of its own, whatever has the focus of the desktop:
`finding.py` names the pads of the machine, `linux_keys.py` understands what the kernel sends, and `device_pad.py` reads
a pad for us alone and takes it up again when it was unplugged. The terminal's keys count beside it.
"""
