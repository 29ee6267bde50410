"""The development set: answers and other speech by voices outside the training set, in a fixed order.

Every choice after training (the decoder's weights, the confidence, its limits) is made on this set, and never on
the voice or the people of the final measurement.
"""

from __future__ import annotations

import json
import random
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from assistant.acoustic.agreed import RATE
from assistant.acoustic.bank import spoken

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from assistant.acoustic.texts import Texts
    from assistant.acoustic.voices import TextToSpeech

ANSWERS, OTHERS = 400, 160
"""Number of utterances of each synthesiser."""


def make_development_set(
    folder: Path,
    texts: Texts,
    synthesisers: Mapping[str, TextToSpeech],
    told: Callable[[str], None] = lambda _: None,
) -> int:
    """Write clean speech and ``manifest.jsonl``.

    Each line has ``file``, ``words``, ``phones``, ``voice``, and ``request``: the request of the step (outcomes,
    units, controls), or null for speech that answers nothing.

    Returns:
        Number of utterances.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lines: list[str] = []
    for name, synthesiser in synthesisers.items():
        rng = random.Random(f"development {name}")  # noqa: S311  no secret
        for number in range(ANSWERS + OTHERS):
            good = None
            while good is None:
                request: dict[str, Any] | None = None
                if number < ANSWERS:
                    step, said = texts.answer(rng)
                    asked = step.request
                    request = {"outcomes": list(asked.outcomes), "units": list(asked.units)}
                    request["controls"] = [control.value for control in asked.controls]
                else:
                    said = texts.other(rng)
                good = spoken(synthesiser, said, rng)
            sound, voice = good
            file = f"{name}-{number:04d}.flac"
            soundfile.write(folder / file, np.clip(sound, -1, 1), RATE)
            about = {"file": file, **said.entry(), "voice": voice, "request": request}
            lines.append(json.dumps(about, ensure_ascii=False))
        told(f"{name}: {len(lines)} utterances")
    (folder / "manifest.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return len(lines)
