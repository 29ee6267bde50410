"""``python -m assistant`` is the command ``bay-assistant``."""

import sys

from assistant.cli import program

sys.exit(program())
