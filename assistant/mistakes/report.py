"""Which check caught which mistake, as a table and as JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from assistant.mistakes.trying import CAUGHT, HARM_PART, HARM_RIGHT, MOVES, UNREACHED, Fate, Tried

if TYPE_CHECKING:
    from collections.abc import Iterable

CAUTION = "The proof's figures come from a model with no bench measurement behind it."


@dataclass(frozen=True)
class MistakesReport:
    """All the mistakes that were tried.

    Attributes:
        tried: Each mistake with its fate.
        seed: Seed of the choice and of the cars.
        systems: Cars for each way in which a fault comes about.
        findings: Number of the lint's findings in the unchanged procedures.
        failures: Number of the proof's failures in them.
        seconds: Duration, s.
        machine: The machine that ran it.
    """

    tried: tuple[Tried, ...]
    seed: int
    systems: int
    findings: int
    failures: int
    seconds: float
    machine: str

    @property
    def holds(self) -> bool:
        """Whether every harmful mistake was caught and the program had no error."""
        return not any(one.fate in (Fate.HARMFUL, Fate.DEFECT) for one in self.tried)

    def counted(self) -> list[tuple[str, dict[Fate, int]]]:
        """Each kind with the number of its mistakes by fate; the total comes last."""
        kinds = list(dict.fromkeys(one.mistake.kind for one in self.tried))
        rows = [(kind, _count(one.fate for one in self.tried if one.mistake.kind == kind)) for kind in kinds]
        return [*rows, ("all", _count(one.fate for one in self.tried))]

    def text(self) -> str:
        """Tables in Markdown, then each mistake that no check caught."""
        fates = [fate for fate in Fate if fate is not Fate.DEFECT or not self.holds]
        cars = f"{self.systems} cars for each way in which a fault comes about"
        measured = f"{self.seconds:.0f} s on {self.machine}"
        lines = [f"{len(self.tried)} mistakes (seed {self.seed}), {cars}; {measured}.", CAUTION]
        if self.findings or self.failures:
            lines.append(
                f"The unchanged procedures have {self.findings} findings of the lint and {self.failures} failures of "
                "the proof themselves: a mistake is caught only by a new one."
            )
        lines += ["", f"| kind | tries | {' | '.join(fates)} |", f"|---|{'---:|' * (len(fates) + 1)}"]
        for kind, counted in self.counted():
            cells = [str(sum(counted.values())), *(str(counted[fate] or "") for fate in fates)]
            lines.append(f"| {kind} | {' | '.join(cells)} |")
        for title, found in self.listed():
            if found:
                lines += ["", f"{title}:", *(line for one in found for line in _told(one))]
        return "\n".join(lines) + "\n"

    def listed(self) -> list[tuple[str, list[Tried]]]:
        """The mistakes that no check caught, under titles, the harmful ones first."""

        def of(fate: Fate) -> list[Tried]:
            return [one for one in self.tried if one.fate is fate]

        still = of(Fate.NO_FIGURE)
        return [
            (
                f"Harmful, and nothing catches them (good part +{HARM_PART:.0%}, or right -{HARM_RIGHT:.0%})",
                of(Fate.HARMFUL),
            ),
            ("Errors of the program", of(Fate.DEFECT)),
            ("They move figures, but neither a good part nor a right verdict by that much", of(Fate.LITTLE)),
            (
                f"Harmless: moves no figure (none by more than {MOVES:.1%} of the cars of a case)",
                [one for one in still if one.told != UNREACHED],
            ),
            (
                "Moves no figure, because no car of the proof comes there: not shown to be harmless in a car",
                [one for one in still if one.told == UNREACHED],
            ),
        ]

    def to_json(self) -> dict[str, Any]:
        """The same as JSON."""
        return {
            "caution": CAUTION,
            "machine": self.machine,
            "seconds": round(self.seconds, 1),
            "seed": self.seed,
            "systems": self.systems,
            "limits": {"moves": MOVES, "harm_part": HARM_PART, "harm_right": HARM_RIGHT},
            "unchanged": {"findings": self.findings, "failures": self.failures},
            "holds": self.holds,
            "kinds": {
                kind: {str(fate): number for fate, number in row.items()} for kind, row in self.counted()
            },
            "mistakes": [
                {
                    "kind": one.mistake.kind,
                    "procedure": one.mistake.procedure,
                    "place": one.mistake.place,
                    "what": one.mistake.what,
                    "fate": str(one.fate),
                    "caught": one.fate in CAUGHT,
                    "told": one.told,
                    "moved": [asdict(moved) for moved in one.moved],
                }
                for one in self.tried
            ],
        }


def _count(fates: Iterable[Fate]) -> dict[Fate, int]:
    found = dict.fromkeys(Fate, 0)
    for fate in fates:
        found[fate] += 1
    return found


def _told(one: Tried) -> list[str]:
    lines = [f"- {one.mistake.kind}: {one.mistake}"]
    if one.told and one.told != UNREACHED:
        lines.append(f"    {one.told}")
    lines += [f"    {moved}" for moved in one.moved]
    return lines
