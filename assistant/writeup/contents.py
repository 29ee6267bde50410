"""The contents of a write-up: plain values, each with its sources in the session folder."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.writeup.ramp import CapturedRamp
from assistant.writeup.statement import Source, Statement
from assistant.writeup.voice_notes import VoiceNote

if TYPE_CHECKING:
    from collections.abc import Iterator

MAKER_FIRST = (
    "The vehicle maker's instructions, local codes and licensed practice come first. "
    "This is a draft made from a recorded session; it counts once it has been reviewed and signed."
)
MAKER_FIRST_SIGNED = (
    "The vehicle maker's instructions, local codes and licensed practice come first. "
    "This was made from a recorded session. A signature in it is a typed name, as on a repair order; "
    "it does not prove who typed it."
)
BY_THE_MODEL = "By the circuit model (no bench measurement behind it)"
"""Title of the section about all results together."""

NO_LIMIT_OF_OURS = "Model figures and common-practice limits named here are not the vehicle maker's."

UNSIGNED = "Draft, to be reviewed and signed"


@dataclass(frozen=True)
class Fact:
    """A box of the form: its label and its value; "" leaves a line to fill in by hand."""

    label: str
    value: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Asked:
    """A fact that the dialogue asked for.

    Attributes:
        label: Its name.
        value: The answer; "left blank"; "" if it was taken back and not given again.
        captured: Time and way of the answer.
        clip: File of the sound; "" if it was not spoken.
        taken_back: Earlier answers, each with the time and way in which it was taken back.
    """

    label: str
    value: str
    captured: str
    clip: str
    taken_back: tuple[str, ...]
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Measured:
    """A result in the write-up.

    It is one row of a table, with a field for each thing that the row says, and as flat as its published JSON.

    Attributes:
        number: Number of the result in the session.
        time: Time of day.
        took: Duration of the test, from the answer before it; "" if the log does not tell.
        procedure: Title of the procedure.
        connection: The connections of the test.
        engine: State of key and engine.
        expected: Outcome of a good system; "" if no single outcome is good.
        seen: The outcome, or the reading with its unit.
        judged: The judged value, if leads were subtracted or temperature was allowed for; "" for the reading itself.
        limit: Limits of the band of the reading; "" without a reading.
        source: Source of that limit; "" without a reading.
        captured: How it was captured and confirmed.
        clip: File of the sound; "" if it was keyed.
        taken_back: Time and way in which it was taken back; "" if it counts.
        decisive: Whether the cause tells this test.
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
class Compared:
    """A test that decided the cause: what it showed before the repair and after it, side by side.

    Attributes:
        test: The test in a few words, with the state of key and engine.
        before: The outcome or reading that led to the cause.
        before_test: Its number.
        before_judged: "failed", "passed", or "" where no one outcome is good.
        after: The same test after the repair; "" if it was not repeated.
        after_test: Its number; 0 if it was not repeated.
        after_judged: As `before_judged`.
        good: The limits, or the outcome of a good system; "" if no one outcome is good.
        source: Source of the limits; "" without a reading.
    """

    test: str
    before: str
    before_test: int
    before_judged: str
    after: str
    after_test: int
    after_judged: str
    good: str
    source: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Skipped:
    """A skipped test: its time, its name, the reason, and whether it was done after all."""

    time: str
    connection: str
    engine: str
    reason: str
    taken_back: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class RuledOut:
    """An excluded fault, with the numbers of the results that exclude it."""

    fault: str
    tests: tuple[int, ...]
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class CautionLine:
    """A caution: its signal word, its words, the number of times it was given, and the time of its
    acknowledgement.
    """

    signal: str
    words: str
    given: str
    acknowledged: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Moment:
    """Something that happened on the way, with its time."""

    time: str
    says: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Found:
    """The words of an affirmed verdict, and the title of its procedure."""

    procedure: str
    says: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class PartLine:
    """A part line of the repair order; the shop fills in empty fields."""

    part: str
    number: str
    quantity: str
    price: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class LabourLine:
    """A labor line of the repair order; the shop fills in empty fields."""

    work: str
    hours: str
    price: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class PhotoLine:
    """A photo of a review: its file in the session folder, what it shows, and its checksum."""

    file: str
    caption: str
    sha256: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Said:
    """One statement of a review.

    Attributes:
        about: Its subject: "Done", "Found", "VIN", "Failed at", "Codes", "Part", "Labor", "Photo", "Voice note",
            "Remarks".
        words: Its words.
        amended: The later review that says something else about it; "" if none does.
    """

    about: str
    words: str
    amended: str


@dataclass(frozen=True)
class Reviewed:
    """A review: its author, its time, the work done, the fault found, and the signature.

    Attributes:
        number: Number of the review.
        time: Time of writing.
        reviewer: The reviewer's name; "" if none was given.
        says: Its statements.
        signed: "Signed" with name, time and checksums, or "Not signed".
    """

    number: int
    time: str
    reviewer: str
    says: tuple[Said, ...]
    signed: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class FirstPage:
    """The parts of the first page that say what failed and what was done about it.

    Attributes:
        shop: The shop's name, address and telephone number at the head; empty where its settings did not tell.
        deciding: The tests that decided the verdict, before the repair and after it, those that failed first.
        open_faults: Faults that the verdict names and its own tests do not tell apart; empty if it names only one.
        next_check: The next safe check, if the verdict names one.
        done: The work that was done, from the last signed review that states it.
        confirmed: The fault that the shop found, from the last signed review that states it.
        codes: Trouble codes, from the last signed review that has any, or else what was read in the session.
        location: The place of the failure, from the last signed review that states it.
        verify: Checks after the repair.
        parts: Part lines; if empty, blank lines for the shop.
        labour: Labor lines; if empty, blank lines for the shop.
        photos: Photos of all reviews.
    """

    shop: tuple[Statement, ...]
    deciding: tuple[Compared, ...]
    open_faults: Statement
    next_check: Statement
    done: Statement
    confirmed: Statement
    codes: Statement
    location: Statement
    verify: tuple[Statement, ...]
    parts: tuple[PartLine, ...]
    labour: tuple[LabourLine, ...]
    photos: tuple[PhotoLine, ...]


@dataclass(frozen=True)
class WithRamps(FirstPage):
    """The first page, and the captures of instruments that the appendix draws.

    Attributes:
        ramps: Current ramps that a clamp captured.
    """

    ramps: tuple[CapturedRamp, ...]


@dataclass(frozen=True)
class Draft(WithRamps):
    """Everything in the write-up.

    It is as flat as its JSON, whose schema is published: a field for each part of the form, however many there are.

    Attributes:
        session: Name of the session.
        state: Whether it was reviewed and signed, by whom and when.
        record: SHA-256 of the seal, or of the log if there is no seal; "" for a session in memory.
        facts: Boxes at the head of the form.
        concern: The complaint in the customer's words.
        findings: The same tests in sentences, and whether readings or an eye support the verdict.
        cause: The words of the verdict; empty if none counts.
        customer: The cause for the car's owner, if the shop found, or else the verdict names, only one fault.
        no_verdict: The reason why there is no cause, with the place where the session stopped; empty if there is one.
        found_before: Verdicts of earlier procedures of the session.
        found_after: Verdicts after the one that counts, such as that of proving the repair.
        part: Part that the verdict names; empty if none is condemned.
        correction: The repair that the verdict recommends; empty without one.
        still_possible: The verdict's own words about what it does not tell apart; empty if it tells all apart.
        model: The circuit model's view of all results, a sentence each; empty if there is no model.
        conditions: Facts about the car and the work: lamp in use, temperatures and the like.
        specifications: Values of the vehicle maker, given or left blank.
        tests: Every result in order, including those taken back.
        time: Time that the session took in all.
        skipped: Skipped tests.
        not_judged: Readings that could not be judged, with the reason; drops whose pieces do not add up.
        not_reached: Tests of these procedures that the answers did not lead to.
        ruled_out: Faults that the results exclude.
        not_ruled_out: Faults of these procedures that no result excludes and the verdict does not name.
        cautions: Cautions that were given.
        cranking: Sentences about the time of cranking.
        notes: Voice notes.
        moments: Interruptions, stops, noise, remarks, in order.
        reviews: Every review, in order.
        integrity: Sentences about the record itself.
        closing: The notice below every write-up.
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
    cautions: tuple[CautionLine, ...]
    cranking: tuple[Statement, ...]
    notes: tuple[VoiceNote, ...]
    moments: tuple[Moment, ...]
    reviews: tuple[Reviewed, ...]
    integrity: tuple[Statement, ...]
    closing: tuple[str, ...]

    @property
    def signed(self) -> bool:
        """Whether it has a signed review."""
        return self.state.text != UNSIGNED

    def box(self, label: str) -> str:
        """Value of a box at the head, such as "Repair order"; "" if none was given."""
        return next((fact.value for fact in self.facts if fact.label == label), "")

    def statements(self) -> Iterator[Statement]:
        """Everything it says about the session, one statement each; a table row is one statement."""
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
            elif part not in ("", 0):
                yield str(part)
