"""The dialogue's numbers in one place, each with its reason, and the grading of what was heard."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Thresholds:
    """Limits of the dialogue; times in s, levels in dB.

    Attributes:
        reject_below: Word confidence under which a phrase counts as not understood.
        ask_below: Word confidence under which a phrase is always read back and must be affirmed.
        speech_level_db: Level of a near, raised voice at the microphone, relative to full scale, used to judge
            from the noise alone whether hearing is hopeless, until real speech has been measured.
        hopeless_snr_db: Expected signal-to-noise ratio under which the number pad is asked for.
        hopeful_snr_db: Ratio above which voice is offered again; higher, so that it does not flap.
        no_input_s: Silence after which a step is repeated; long, because hands are connecting a lamp.
        confirm_no_input_s: Silence after which a read-back is repeated; short, because an answer is due at once.
        crank_s: Longest cranking in one go.
        rest_s: Rest of the starter after cranking.
        caution_again_s: A caution that was not spoken for so long is spoken in full again.
        note_s: Longest voice note.
        longest_number: Most characters of a keyed number.
    """

    reject_below: float = 0.50
    ask_below: float = 0.90
    speech_level_db: float = -22.0
    hopeless_snr_db: float = 0.0
    hopeful_snr_db: float = 6.0
    no_input_s: float = 30.0
    confirm_no_input_s: float = 8.0
    crank_s: float = 8.0
    rest_s: float = 60.0
    caution_again_s: float = 600.0
    note_s: float = 60.0
    longest_number: int = 7


DEFAULT_THRESHOLDS = Thresholds()
