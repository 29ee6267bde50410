"""All attacks by name, in the order in which they are made; each module has its own as `ATTACKS`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import failing_calls
import flips
import fuzz_files
import fuzz_input
import fuzz_records
import interrupting
import kills
import sound_kills
import strays
import taken_away

if TYPE_CHECKING:
    from harness import Attack

ATTACKS: dict[str, Attack] = {
    attack.name: attack
    for module in (
        kills,
        sound_kills,
        interrupting,
        failing_calls,
        flips,
        strays,
        fuzz_files,
        fuzz_input,
        fuzz_records,
        taken_away,
    )
    for attack in module.ATTACKS
}
