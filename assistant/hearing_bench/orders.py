"""Orders spoken by people: the folder of recordings, their slots, and the one grammar that hears them.

The recordings are those of a public set for measuring speech recognisers (16 kHz, one order each, with its slots).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import permutations
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import files
from assistant.core.values.result import Result
from assistant.errors import FileProblem, UsageProblem
from assistant.hearing_bench.wordset import WordSet, dictionary

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.grammar.lexicon import Lexicon

LABELS = "labels.json"
"""The slots of each recording."""

HELD = "orders-held.json"
"""File among the fixtures that names the recordings for measuring, those of one speaker together."""

OPENINGS = (
    "brew",
    "can i get",
    "can i have",
    "i want",
    "get me",
    "give me",
    "i'd like",
    "make me",
    "may i have",
)
"""How an order may begin."""

DRINK, SIZE, ROAST, SHOTS, MILK, SUGAR = (
    "coffeeDrink",
    "size",
    "roast",
    "numberOfShots",
    "milkAmount",
    "sugarAmount",
)
BEFORE, AFTER = (SIZE, ROAST, SHOTS), (MILK, SUGAR)
"""Slots that may stand before and after the drink, in any order."""

Slots = dict[str, str]


@dataclass(frozen=True)
class Order:
    """One recording: its file, its slots, and the number of its speaker."""

    file: Path
    slots: Slots
    speaker: int


def read_orders(folder: Path, part: Path) -> list[Order]:
    """The recordings of one part.

    Args:
        folder: Folder of the recordings and `LABELS`.
        part: JSON list of lists of file names, one list for each speaker.

    Raises:
        UsageProblem: A file is missing or not of this form.
    """
    labels = read_labels(folder)
    try:
        groups = json.loads(files.read_text(part, files.SETTINGS))
        named = [(str(name), number) for number, group in enumerate(groups) for name in group]
    except (OSError, ValueError, TypeError) as error:
        raise UsageProblem(
            f"{part} is not a JSON list of lists of file names, one list for each speaker ({error})."
        ) from error
    found = []
    for name, speaker in named:
        if name not in labels or not (folder / name).is_file():
            raise UsageProblem(f"The order {name}, named in {part}, is not in {folder}.")
        found.append(Order(folder / name, labels[name], speaker))
    return found


def read_labels(folder: Path) -> dict[str, Slots]:
    """The slots of every recording in a folder.

    Raises:
        UsageProblem: There are none.
    """
    try:
        data = json.loads(files.read_text(folder / LABELS, files.TABLE))
        return {
            str(name): {str(slot): str(value).lower() for slot, value in slots.items()}
            for name, slots in data.items()
        }
    except (OSError, ValueError, AttributeError) as error:
        raise UsageProblem(f"{folder / LABELS} cannot be read as the slots of orders ({error}).") from error


class OrderGrammar(WordSet):
    """The strict grammar of orders: any slots in any order around the drink; the meaning is the slots.

    Args:
        values: Every value of each slot.
        own: Pronunciations.
        path: File named in messages.
    """

    def __init__(self, values: Mapping[str, Sequence[str]], own: Lexicon, path: Path) -> None:
        text = jsgf_of_orders(values)
        words = WordSet(text, own, {}, path, 0).words()
        super().__init__(text, dictionary(words.keys(), own), {}, path, 0)
        self._slot_of = {tuple(value.split()): slot for slot, some in values.items() for value in some}
        self._longest = max(map(len, self._slot_of), default=0)

    def parse(self, words: str) -> Result | None:
        """The slots as an outcome; None if the words are no order."""
        if not self._language.accepts(words.split()):
            return None
        return meaning(self.slots(words))

    def slots(self, words: str) -> Slots:
        """The value of each slot; where two begin alike ("medium", "medium roast"), the longer one."""
        found: Slots = {}
        left = words.split()
        while left:
            for count in range(min(self._longest, len(left)), 0, -1):
                slot = self._slot_of.get(tuple(left[:count]))
                if slot is not None:
                    found[slot] = " ".join(left[:count])
                    break
            else:
                count = 1
            left = left[count:]
        return found


def order_grammar(labels: Mapping[str, Slots], own: Lexicon, path: Path) -> OrderGrammar:
    """The grammar of all orders with the values of these labels.

    Raises:
        FileProblem: There is no drink in them.
        GearProblem: No dictionary has a word.
    """
    values: dict[str, dict[str, None]] = {}
    for slots in labels.values():
        for slot, value in slots.items():
            values.setdefault(slot, {})[value] = None
    if DRINK not in values:
        raise FileProblem(path, 0, f"no order has a '{DRINK}'")
    return OrderGrammar({slot: sorted(some) for slot, some in values.items()}, own, path)


def meaning(slots: Mapping[str, str]) -> Result:
    """Slots as one outcome."""
    return Result(outcome="; ".join(f"{slot}: {slots[slot]}" for slot in sorted(slots)))


def jsgf_of_orders(values: Mapping[str, Sequence[str]]) -> str:
    """JSGF of orders: an optional opening and article, size, roast and shots in any order, the drink, and then
    milk and sugar in either order.
    """
    rules = [f"<{slot}> = {' | '.join(some)};" for slot, some in values.items()]
    known = [slot for slot in BEFORE if slot in values]
    orders = [" ".join(f"[<{slot}>]" for slot in some) for some in permutations(known)]
    rules.append(f"<opening> = {' | '.join(OPENINGS)};")
    before = f"({' | '.join(orders)})" if known else ""
    after = [slot for slot in AFTER if slot in values]
    extras = [f"<{slot}>" for slot in after]
    if len(after) == len(AFTER):
        extras += [f"<{one}> [and] <{other}>" for one, other in permutations(after)]
    extra = f"[[with] ({' | '.join(extras)})]" if extras else ""
    rules.append(f"public <order> = [<opening>] [a | an] {before} <{DRINK}> {extra};")
    return "#JSGF V1.0;\ngrammar orders;\n" + "\n".join(rules) + "\n"
