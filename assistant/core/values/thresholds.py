"""The dialogue's numbers in one place, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.core.values.answer_kind import AnswerKind, KindLimits
from assistant.core.values.starter import StarterLimits

RULES = 5
"""The present rules of the dialogue.

1: gear that is lost stays on the screen until it is back; results that some mechanism gives together are a known
pattern and not asked again.
2: other words, the starter's budget, cautions in full once a day and acknowledged once a hazard, results during a
rest; what was measured is not asked again, and a hand-over to another procedure needs no yes. A session of earlier
rules decides as it did, but is spoken to in today's words.
3: a reading that was not understood, or that was denied, is asked for digit by digit.
4: "standing by" leaves the board when the work goes on.
5: one word takes a reading of the meter and confirms it, where a mistake costs no more than a step; a yes ends what is
spelled.
"""


STOP_LIMITS = KindLimits(AnswerKind.STOP, 0.15, 0.15)
"""Limits of "stop"; low, because a stop that was not said costs one question and one that was missed at least as much
as a wrong answer, six: 1 / (1 + 6), rounded.
On development sound at 5 dB 46 of 72 are heard instead of 32, and none in 197 other utterances.
"""


@dataclass(frozen=True)
class Thresholds:
    """Limits of the dialogue; times in s, levels in dB.

    Attributes:
        reject_below: Confidence (probability of being right) under which a phrase counts as not understood; measured,
            handed in from `assistant.measured`.
        ask_below: Confidence under which a phrase is always read back and must be affirmed; measured as well.
        by_kind: Limits of single kinds of answers in place of the two above.
        speech_level_db: Level of a near, raised voice at the microphone, relative to full scale, used to judge
            from the noise alone whether hearing is hopeless, until real speech has been measured.
        hopeless_snr_db: Expected signal-to-noise ratio under which the number pad is asked for. The ratio is that of
            the louder half of speech, about 3 dB over its mean level; at a mean of 0 dB the first model answered
            wrongly about once in four.
        hopeful_snr_db: Ratio above which voice is offered again; higher, so that it does not flap.
        no_input_s: Silence after which a step is repeated; long, because hands are connecting a lamp.
        confirm_no_input_s: Silence after which a read-back is repeated; short, because an answer is due at once.
        starter: How long and how often the starter may crank.
        caution_again_s: A caution that was not spoken for so long is spoken in full again, in sessions of rules before
            `PACED`; since then the full form is spoken once a day.
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

    reject_below: float
    ask_below: float
    by_kind: tuple[KindLimits, ...] = (STOP_LIMITS,)
    speech_level_db: float = -22.0
    hopeless_snr_db: float = 3.0
    hopeful_snr_db: float = 9.0
    no_input_s: float = 30.0
    confirm_no_input_s: float = 8.0
    starter: StarterLimits = field(default_factory=StarterLimits)
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

    @property
    def paced(self) -> bool:
        """Whether cautions are given in full once a day, results taken during a rest, and nothing is asked twice."""
        return self.rules >= PACED

    @property
    def asks_for_digits(self) -> bool:
        """Whether the digits of a reading are asked for when it was not understood."""
        return self.rules >= DIGITS

    @property
    def one_word(self) -> bool:
        """Whether one word takes a reading of the meter and confirms it, and a yes ends what is spelled."""
        return self.rules >= ONE_WORD

    def of(self, kind: AnswerKind) -> KindLimits:
        """The limits of confidence for a kind of answer."""
        own = next((limits for limits in self.by_kind if limits.kind is kind), None)
        return own or KindLimits(kind, self.reject_below, self.ask_below)


PACED = 2
"""The first rules with the starter's budget and the short forms."""

DIGITS = 3
"""The first rules that ask for the digits of a reading."""

ONE_WORD = 5
"""The first rules in which one word takes a reading of the meter and confirms it."""

OLD_RULES = 0
"""`Thresholds.rules` of a session that was recorded before they were numbered."""

NO_LIMIT = 10**9
"""`Thresholds.weighed_results` of a session that was recorded before there was such a limit."""
