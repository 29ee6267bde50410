"""Opens a model and hears a second of noise with it: run by `checking.try_model` in a process of its own."""

from __future__ import annotations

import sys
from pathlib import Path

from assistant.errors import BayAssistantError


def main(path: str) -> int:
    """Return 0 if the model can be used; otherwise 2, with a sentence on the standard output."""
    from assistant.hearing.recogniser import Recogniser, _load_vosk  # noqa: PLC0415

    try:
        recogniser = Recogniser(Path(path))
        _load_vosk().SetLogLevel(-1)  # warnings and errors: the reason is among them
        recogniser.hear_noise()
    except BayAssistantError as problem:
        sys.stdout.buffer.write(str(problem).encode())
        return problem.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
