"""What a write-up is made of: plain values, each with the places in the session folder that it derives from."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.writeup.statement import Source, Statement

if TYPE_CHECKING:
    from collections.abc import Iterator

MAKER_FIRST = (
    "The vehicle maker's instructions, local codes and licensed practice come first. "
    "This is a draft made from a recorded session; it counts once it has been reviewed and signed."
)
MAKER_FIRST_SIGNED = (
    "The vehicle maker's instructions, local codes and licensed practice come first. "
    "This was made from a recorded session. The signatures in it are names with checksums, as on a repair order; "
    "they do not prove who typed them."
)
BY_THE_MODEL = "By the circuit model (no bench measurement behind it)"
"""Title of what the results say together."""

NO_LIMIT_OF_OURS = "Model figures and common-practice limits named here are not the vehicle maker's."

UNSIGNED = "Draft, to be reviewed and signed"


@dataclass(frozen=True)
class Fact:
    """A box of the form: its label and what was given; "" leaves a line to fill in by hand."""

    label: str
    value: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Asked:
    """A fact that was asked for.

    Attributes:
        label: What it is.
        value: What was given; "left blank"; "" when it was taken back and not given again.
        captured: When and how it was given.
        clip: File of the sound; "" when it was not spoken.
        taken_back: Earlier answers, each with when and how it was taken back.
    """

    label: str
    value: str
    captured: str
    clip: str
    taken_back: tuple[str, ...]
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Measured:
    """A result as the write-up shows it.

    Attributes:
        number: Number of the result in the session.
        time: Time of day.
        took: How long the test took, from the answer before it; "" where the log does not tell.
        procedure: Title of the procedure.
        connection: What was connected where.
        engine: State of key and engine.
        expected: What a good system shows; "" where no single thing is good.
        seen: What was seen, or the reading with its unit.
        judged: What was judged, where leads were subtracted or temperature was allowed for; "" for the reading itself.
        limit: Limits of the band that a reading fell into; "" without a reading.
        source: Where that limit comes from; "" without a reading.
        captured: How it was captured and confirmed.
        clip: File of the sound; "" when it was keyed.
        taken_back: When and how it was taken back; "" when it counts.
        decisive: Whether it is one of the tests that the cause is told with.
    """

    number: int
    time: str
    took: str
    procedure: str
    connection: str
    engine: str
    expected: str
    seen: str
    judged: str
    limit: str
    source: str
    captured: str
    clip: str
    taken_back: str
    decisive: bool
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Skipped:
    """A test that was not done: when, which, why, and whether it was done after all."""

    time: str
    connection: str
    engine: str
    reason: str
    taken_back: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class RuledOut:
    """A fault that can no longer be, and the numbers of the results that say so."""

    fault: str
    tests: tuple[int, ...]
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class CautionLine:
    """A caution: its signal word, its words, how often it was given, and when it was acknowledged."""

    signal: str
    words: str
    given: str
    acknowledged: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class VoiceNote:
    """Free speech that was kept as sound: when, where in the procedure, which file, how long."""

    time: str
    place: str
    clip: str
    seconds: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Moment:
    """Something that happened on the way: when, and what."""

    time: str
    says: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Found:
    """What an affirmed verdict said, and the title of its procedure."""

    procedure: str
    says: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class PartLine:
    """A part line of the repair order; "" is left for the shop to fill in."""

    part: str
    quantity: str
    price: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class LabourLine:
    """A labour line of the repair order; "" is left for the shop to fill in."""

    work: str
    hours: str
    price: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Said:
    """One thing that a review says.

    Attributes:
        about: What it is about: "Done", "Found", "Part", "Labour", "Remarks".
        words: What it says.
        amended: Which later review says something else about it; "" when none does.
    """

    about: str
    words: str
    amended: str


@dataclass(frozen=True)
class Reviewed:
    """A review: who, when, what was done and found, and the signature.

    Attributes:
        number: Number of the review.
        time: When it was written.
        reviewer: Who reviewed; "" when no name was given.
        says: What it says.
        signed: "Signed" with name, time and checksums, or "Not signed".
    """

    number: int
    time: str
    reviewer: str
    says: tuple[Said, ...]
    signed: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Draft:
    """Everything that the write-up says.

    Attributes:
        session: Name of the session.
        state: Whether it was reviewed and signed, by whom and when.
        record: SHA-256 of what stands for the whole record: of the seal, or of the log while there is none; "" for
            a session in memory.
        facts: Boxes at the head of the form.
        concern: The complaint in the customer's words.
        findings: The tests that decided the verdict, in sentences, and whether readings or an eye carry it.
        cause: The words of the verdict; nothing when none counts.
        customer: The cause for the car's owner, where the verdict names one fault and no other.
        no_verdict: Why there is no cause: where the session stopped; nothing when there is one.
        found_before: Verdicts of earlier procedures of the session.
        found_after: Verdicts after the one that counts, such as that of proving the repair.
        part: Part that the verdict names; nothing when none is condemned.
        correction: The repair that the verdict recommends; nothing without one.
        done: What was really done, from the last signed review that says it.
        confirmed: What the shop found to be the fault, from the last signed review that says it.
        still_possible: What the verdict does not tell apart; nothing when all is told.
        model: What the results say together by the circuit model, a sentence each; empty where there is no model.
        conditions: What was asked for about the car and the work: lamp in use, temperatures and the like.
        specifications: Values of the vehicle maker that were asked for, given or left blank.
        tests: Every result in order, also those that were taken back.
        time: How long it took in all.
        skipped: Tests that were not done.
        not_judged: Readings that could not be judged, and why; drops whose pieces do not add up.
        not_reached: Tests of these procedures that the answers did not lead to.
        ruled_out: Faults that the results exclude.
        not_ruled_out: Faults of these procedures that no result excludes and the verdict does not name.
        verify: What to verify after the repair.
        parts: Part lines; empty: blank lines for the shop.
        labour: Labour lines; empty: blank lines for the shop.
        cautions: Cautions that were given.
        cranking: Sentences about the time of cranking.
        notes: Voice notes.
        moments: Interruptions, stops, noise, remarks, in order.
        reviews: Every review, in order.
        integrity: Sentences about the record itself.
        closing: What has to be said below every write-up.
    """

    session: str
    state: Statement
    record: str
    facts: tuple[Fact, ...]
    concern: Statement
    findings: tuple[Statement, ...]
    cause: Statement
    customer: Statement
    no_verdict: Statement
    found_before: tuple[Found, ...]
    found_after: tuple[Found, ...]
    part: Statement
    correction: Statement
    done: Statement
    confirmed: Statement
    still_possible: Statement
    model: tuple[Statement, ...]
    conditions: tuple[Asked, ...]
    specifications: tuple[Asked, ...]
    tests: tuple[Measured, ...]
    time: Statement
    skipped: tuple[Skipped, ...]
    not_judged: tuple[Statement, ...]
    not_reached: tuple[Statement, ...]
    ruled_out: tuple[RuledOut, ...]
    not_ruled_out: tuple[Statement, ...]
    verify: tuple[Statement, ...]
    parts: tuple[PartLine, ...]
    labour: tuple[LabourLine, ...]
    cautions: tuple[CautionLine, ...]
    cranking: tuple[Statement, ...]
    notes: tuple[VoiceNote, ...]
    moments: tuple[Moment, ...]
    reviews: tuple[Reviewed, ...]
    integrity: tuple[Statement, ...]
    closing: tuple[str, ...]

    @property
    def signed(self) -> bool:
        """Whether a signed review stands under it."""
        return self.state.text != UNSIGNED

    def order(self) -> str:
        """Number of the repair order; "" when none was given."""
        return next((fact.value for fact in self.facts if fact.label == "Repair order"), "")

    def statements(self) -> Iterator[Statement]:
        """Everything it says about the session, one statement each; a row of a table is one."""
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            for item in value if isinstance(value, tuple) else (value,):
                if isinstance(item, Statement):
                    if item:
                        yield item
                elif hasattr(item, "sources") and getattr(item, "value", item):
                    yield Statement(" | ".join(_cells(item)), item.sources)


def _cells(item: Any) -> Iterator[str]:
    for field in dataclasses.fields(item):
        value = getattr(item, field.name)
        if field.name == "sources" or isinstance(value, bool):
            continue
        for part in value if isinstance(value, tuple) else (value,):
            if dataclasses.is_dataclass(part):
                yield from _cells(part)
            elif part != "":
                yield str(part)
