"""The dialogue's numbers in one place, each with its reason, and the grading of what was understood.

Grading follows what a mistake would cost: the same next step whatever was meant is simply taken; a different
next step is read back inside the next sentence and can be corrected; a verdict, another procedure, a number or
a doubtful hearing is read back and must be affirmed.
Silence is never a yes.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, TypeVar

from assistant.core.library.procedure import Engine, Leads
from assistant.measured import CALIBRATION

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.core.library.procedure import Answer, Measurement, Step

_Level = TypeVar("_Level")


RULES = 1
"""The present rules of the dialogue.

1: gear that is lost stays on the screen until it is back; results that some mechanism gives together are a known
pattern and not asked again.
"""


@dataclass(frozen=True)
class Thresholds:
    """Limits of the dialogue; times in s, levels in dB.

    Attributes:
        reject_below: Confidence (probability of being right) under which a phrase counts as not understood; measured,
            see `assistant.measured`.
        ask_below: Confidence under which a phrase is always read back and must be affirmed; measured as well.
        stop_from: Confidence from which "stop" is obeyed; low, because a stop that was not said costs one question and
            one that was missed at least as much as a wrong answer, six: 1 / (1 + 6), rounded.
            On development sound at 5 dB 46 of 72 are heard instead of 32, and none in 197 other utterances.
        speech_level_db: Level of a near, raised voice at the microphone, relative to full scale, used to judge
            from the noise alone whether hearing is hopeless, until real speech has been measured.
        hopeless_snr_db: Expected signal-to-noise ratio under which the number pad is asked for. The ratio is that of
            the louder half of speech, about 3 dB over its mean level; at a mean of 0 dB the first model answered
            wrongly about once in four.
        hopeful_snr_db: Ratio above which voice is offered again; higher, so that it does not flap.
        no_input_s: Silence after which a step is repeated; long, because hands are connecting a lamp.
        confirm_no_input_s: Silence after which a read-back is repeated; short, because an answer is due at once.
        crank_s: Longest cranking in one go; under the 15 s of TM 5-5420-202-10 and within the usual 5 to 10 s.
        rest_s: Rest of the starter after cranking; the vehicle maker's limit rules where it is longer.
        caution_again_s: A caution that was not spoken for so long is spoken in full again.
        note_s: Longest voice note.
        longest_number: Most characters of a keyed number; more is a slip of the finger.
        misreading: Share of results in which something else is reported than was to be seen (chosen, not fitted).
        key_slip: Share of keys that are not the one that was meant (chosen, not fitted).
        doubt_from: Probability that one of the results is a slip from which the doubtful one is asked again.  Less
            than one half, because measuring again costs two minutes with the starter's rest, and a wrong verdict an
            hour or a part; chosen by rehearsal of whole sessions (`assistant.rehearsal.erring`).
        mention_from: Probability from which a fault that a verdict does not name is spoken of with it.
        weighed_results: Most results that are weighed together.  A car with its one fault takes some dozen; among
            hundreds a slip is certain, and weighing them after every answer would take ever longer.
        part_from: Probability of the faults of a verdict that names a part, below which the result that is likeliest a
            slip is asked again first; chosen with `bay-assistant bench rehearsal`; 0: never.
        rules: Which rules of the dialogue are in force, a number that grows with them (`RULES`), so that a record is
            replayed by those that it was made with.
    """

    reject_below: float = CALIBRATION.reject_below
    ask_below: float = CALIBRATION.ask_below
    stop_from: float = 0.15
    speech_level_db: float = -22.0
    hopeless_snr_db: float = 3.0
    hopeful_snr_db: float = 9.0
    no_input_s: float = 30.0
    confirm_no_input_s: float = 8.0
    crank_s: float = 8.0
    rest_s: float = 60.0
    caution_again_s: float = 600.0
    note_s: float = 60.0
    longest_number: int = 7
    misreading: float = 0.03
    key_slip: float = 0.005
    doubt_from: float = 0.3
    mention_from: float = 0.05
    weighed_results: int = 120
    part_from: float = 0.7
    rules: int = RULES


DEFAULT_THRESHOLDS = Thresholds()

OLD_RULES = 0
"""`Thresholds.rules` of a session that was recorded before they were numbered."""

NO_LIMIT = 10**9
"""`Thresholds.weighed_results` of a session that was recorded before there was such a limit."""


class Acceptance(StrEnum):
    """How a result is taken; the words are those of the record."""

    TAKEN = "taken"
    READ_BACK = "read back"
    AFFIRM = "affirmed"


def grade(step: Step, answer: Answer, confidence: float, thresholds: Thresholds) -> Acceptance:
    """How far this answer must be confirmed before it counts.

    Args:
        step: The step that was asked.
        answer: The answer or band that was understood.
        confidence: 0 to 1; 1 for a key.
        thresholds: The dialogue's limits.
    """
    costly = step.reading is not None or answer.target.leads is not Leads.STEP
    if costly or confidence < thresholds.ask_below:
        return Acceptance.AFFIRM
    if len({str(choice.target) for choice in step.choices()}) == 1:
        return Acceptance.TAKEN
    return Acceptance.READ_BACK


LAMP = "test-lamp"
HEAVIEST_LAMP_A = Decimal("0.3")
"""At the switched side a lamp of more current takes so much from the coil that it weakens the spark: 22 kV are left
at 0.27 A, 11 kV at 0.6 A (from the project's sheet of trade facts)."""
FAINTEST_LAMP_A = Decimal("0.05")
"""Below this a bulb glows so faintly that daylight hides it (chosen; common practice, no source)."""

LED_REFUSED = "An LED light misleads here. Use a filament lamp."
HEAVY_REFUSED = "This lamp loads the coil. Use one below 0.3 amps."
SHADE = "Shade the bulb, it is faint."


def lamp_refused(measure: Measurement, kind: str, current: Decimal | None) -> str:
    """Why the lamp in use cannot make this measurement, two short sentences; "" where it can, or nothing is known.

    Args:
        measure: The measurement.
        kind: ``filament``, ``led``, or "" where it is not known.
        current: Current of the lamp on the battery, in A; None where it is not known.
    """
    if measure.instrument != LAMP:
        return ""
    if kind == "led":
        return LED_REFUSED
    loads = {measure.clip, measure.probe, measure.compared_with} & {"switched", "driver-end"}
    if loads and measure.engine is Engine.CRANKING and current is not None and current > HEAVIEST_LAMP_A:
        return HEAVY_REFUSED
    return ""


def lamp_faint(measure: Measurement, current: Decimal | None) -> bool:
    """Whether the bulb of the lamp in use is so faint that it has to be shaded."""
    return measure.instrument == LAMP and current is not None and current < FAINTEST_LAMP_A


def tapered(levels: Mapping[int, _Level], counter: int) -> _Level:
    """The level whose count is the highest that does not exceed the counter.

    This is how VoiceXML 2.1 picks a prompt or an event handler by its `count` attribute
    (VoiceXML 2.0, sections 4.1.6 and 5.2.2; counters start at 1).

    Raises:
        ValueError: No level has a count that low.
    """
    fitting = [count for count in levels if count <= counter]
    if not fitting:
        raise ValueError(f"no level for the count {counter}")
    return levels[max(fitting)]
