"""The statements of the write-up: everything from the record, nothing else."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st
from small_shop import FACTS, Story, lamp, reading, skipped_story, small_library, whole_story

from assistant.core.values.entries import (
    CautionAcknowledged,
    CautionGiven,
    Cranked,
    Entry,
    ModeChanged,
    ProcedureEntered,
    Remark,
    ResultTaken,
    ResultUndone,
    StepSkipped,
    VerdictReached,
    VoiceNoteTaken,
)
from assistant.core.values.events import Note
from assistant.core.words import reporting
from assistant.errors import RecordBroken
from assistant.record import Facts, RecordedSession
from assistant.writeup import Draft, draft, text

if TYPE_CHECKING:
    from decimal import Decimal

LIBRARY = small_library()
WHOLE = whole_story().session()


def entries_of(session: RecordedSession) -> list[Entry]:
    """Every entry of a session in order."""
    return [act.entry for line in session.lines for act in line.actions if isinstance(act, Note)]


def drafted(story: Story, facts: Facts = FACTS) -> Draft:
    """The draft of a story in the small shop."""
    return draft(story.session(facts), LIBRARY)


def test_concern_cause_and_correction() -> None:
    """The complaint is the customer's, the cause the affirmed verdict's, the repair its recommendation."""
    made = draft(WHOLE, LIBRARY)
    verdict = LIBRARY.procedures["coil"].verdicts["coil-shorted"]
    assert FACTS.complaint == made.concern.text
    assert verdict.says == made.cause.text
    assert not made.no_verdict
    assert (verdict.repair, verdict.part) == (made.correction.text, made.part.text)
    assert list(verdict.verify) == [one.text for one in made.verify]
    assert [("Battery while cranking", "The battery holds up.")] == [
        (f.procedure, f.says) for f in made.found_before
    ]


def test_what_was_not_given_stays_blank() -> None:
    """No fact of the head is invented."""
    made = drafted(whole_story(), Facts())
    assert ["Date", "Begun"] == [fact.label for fact in made.facts if fact.value]
    assert not made.concern


def test_tests_stand_in_order_with_all_that_was_recorded() -> None:
    """Connection, engine, expectation, reading with unit, limits and their source, and how it was captured."""
    first, _, third, fourth, _ = draft(WHOLE, LIBRARY).tests
    assert "Voltmeter from the battery negative post to the battery positive post" == first.connection
    assert ("Cranking", "9.6 V or more", "10.40 V, above the floor") == (
        first.engine,
        first.expected,
        first.seen,
    )
    assert ("9.6 V or more", "cranking floor of the test") == (first.limit, first.source)
    assert (
        'By voice, "10.40 spoken"; recognition confidence 0.88, speech 10 dB above the noise; read back and affirmed'
        == first.captured
    )
    assert ("lamp blinking", "taken back 14:38 by voice") == (third.seen, third.taken_back)
    assert ('By keypad, "1"; read back', "", "") == (fourth.captured, fourth.clip, fourth.taken_back)


def test_a_result_that_was_taken_back_rules_nothing_out() -> None:
    """'Blinking' would rule out the driver; it was taken back, so the driver stays possible."""
    made = draft(WHOLE, LIBRARY)
    assert {"weak battery": (1,), "open feed": (2,)} == {one.fault: one.tests for one in made.ruled_out}
    assert ("coil secondary, lead or plug", "driver does not switch") == tuple(
        one.text for one in made.not_ruled_out
    )


def test_without_an_affirmed_verdict_there_is_no_cause() -> None:
    """A verdict that was only read out gives neither cause nor part nor repair."""
    made = draft(skipped_story().session(), LIBRARY)
    assert not any((made.cause, made.part, made.correction, made.verify, made.findings))
    assert "read out and not confirmed" in made.no_verdict.text
    (skip,) = made.skipped
    assert ("no tool", "Key off") == (skip.reason, skip.engine)


def test_it_says_where_it_stopped() -> None:
    """An unfinished session names the test that was not answered, also right at the start."""
    open_story = Story().add(0, ProcedureEntered("coil")).add(1, lamp(1, "feed", "lit", "step:switched"))
    assert "before this one was answered: test lamp clipped" in drafted(open_story).no_verdict.text
    assert "switched side of the coil; cranking" in drafted(open_story).no_verdict.text
    assert "feed side" in drafted(Story().add(0, ProcedureEntered("coil"))).no_verdict.text
    assert "No cause yet. No test was begun." == drafted(Story()).no_verdict.text


def test_a_verdict_before_further_work_is_not_the_cause() -> None:
    """'The battery holds up' is no cause of a no-start when the coil test after it was left unfinished."""
    story = (
        Story()
        .add(0, ProcedureEntered("battery"))
        .add(1, reading(1, "battery", "volts", "holds", "10.4", "V", "verdict:able"))
        .add(1, VerdictReached("battery", "able", affirmed=True))
        .add(2, ProcedureEntered("coil", "battery"))
    )
    made = drafted(story)
    assert not made.cause
    assert "Control test at the coil" in made.no_verdict.text
    assert ["The battery holds up."] == [found.says for found in made.found_before]


def test_a_withdrawn_verdict_is_told_but_does_not_count() -> None:
    """A correction after the verdict takes the cause away and says so."""
    story = (
        Story()
        .add(0, ProcedureEntered("coil"))
        .add(1, lamp(1, "feed", "dark", "verdict:feed-open"))
        .add(1, VerdictReached("coil", "feed-open", affirmed=True))
        .add(2, ResultUndone(1, "coil", "feed", "keypad"))
    )
    made = drafted(story)
    assert not any((made.cause, made.correction, made.found_before))
    assert any("confirmed, and withdrawn" in moment.says for moment in made.moments)


def test_cautions_cranking_notes_and_moments() -> None:
    """Each caution with how often and when acknowledged; cranking added up; what happened on the way."""
    made = draft(WHOLE, LIBRARY)
    assert [
        ("WARNING", "given: full form once, short form twice", "acknowledged 14:32 by keypad"),
        ("CAUTION", "given: full form once", "no acknowledgement asked for"),
    ] == [(one.signal, one.given, one.acknowledged) for one in made.cautions]
    assert "Cranked twice by the clock, 10.1 s in all." == made.cranking[0].text
    assert "8.0 s in all were assumed" in made.cranking[1].text
    assert [("clips/0005.flac", "4.2 s")] == [(note.clip, note.seconds) for note in made.notes]
    says = [moment.says for moment in made.moments]
    assert "Keypad only: too loud to hear, noise -12 dB." in says
    assert "2 phrases were not understood and not taken." in says
    assert any("nothing was recorded between 14:41 and 14:57" in one for one in says)


def test_a_caution_nobody_acknowledged_is_not_called_acknowledged() -> None:
    """The write-up never claims an acknowledgement that is not in the log."""
    story = Story().add(0, ProcedureEntered("coil"), CautionGiven("cranking", "full", "coil", "feed"))
    assert ["not acknowledged"] == [one.acknowledged for one in drafted(story).cautions]


def test_the_record_is_named_with_its_checksum() -> None:
    """A reader who doubts the write-up can check the log that it was made from."""
    sealed, unsealed = draft(WHOLE, LIBRARY), draft(whole_story().session(sealed=False), LIBRARY)
    assert "25 lines of log" in sealed.integrity[0].text
    assert "SHA-256 of log.jsonl: " + "ab" * 32 == sealed.integrity[1].text
    assert "Sealed 2026-11-25 15:12." == sealed.integrity[2].text
    assert "Not sealed: the session can still go on." == unsealed.integrity[2].text
    torn = dataclasses.replace(WHOLE, torn=17)
    assert "17 bytes was left out" in draft(torn, LIBRARY).integrity[-1].text


def test_names_that_the_procedures_do_not_have_are_a_broken_record() -> None:
    """A log that does not fit its copied procedures gives a sentence, not a traceback."""
    for entry in (lamp(1, "nowhere", "lit", "step:x"), lamp(1, "feed", "green", "step:x"),
                  CautionGiven("none", "full", "coil", "feed")):  # fmt: skip
        with pytest.raises(RecordBroken, match="do not have"):
            drafted(Story().add(0, ProcedureEntered("coil"), entry))


# --- whatever the order of things ---------------------------------------------------------------


@st.composite
def stories(drawn: st.DrawFn) -> Story:
    """Sessions with any order of entries that fit the small shop."""
    story = Story().add(0, ProcedureEntered("coil"))
    count = 0
    for minute in range(1, drawn(st.integers(1, 14))):
        kind = drawn(
            st.sampled_from(["result", "result", "reading", "undo", "skip", "verdict", "enter", "other"])
        )
        if kind == "result":
            count += 1
            name = drawn(st.sampled_from(["feed", "switched"]))
            step = LIBRARY.step("coil", name)
            answer = drawn(st.sampled_from(step.answers))
            how = drawn(st.sampled_from(["voice", "keypad"]))
            story.add(minute, lamp(count, name, answer.outcome, str(answer.target), how=how))
        elif kind == "reading":
            count += 1
            asked = LIBRARY.step("coil", "primary").reading
            assert asked is not None
            value = drawn(st.decimals(0, 1000, places=2))
            band = asked.band(value)
            story.add(
                minute, reading(count, "coil", "primary", band.outcome, str(value), "ohm", str(band.target))
            )
        elif kind == "undo" and count:
            number = drawn(st.integers(1, count))
            result = next(
                e for e in entries_of(story.session()) if isinstance(e, ResultTaken) and e.number == number
            )
            story.add(minute, ResultUndone(number, result.procedure, result.step, "voice"))
        elif kind == "skip":
            story.add(minute, StepSkipped("coil", "primary", "no tool", "verdict:no-control"))
        elif kind == "verdict":
            name = drawn(st.sampled_from(sorted(LIBRARY.procedures["coil"].verdicts)))
            story.add(minute, VerdictReached("coil", name, drawn(st.booleans())))
        elif kind == "enter":
            story.add(minute, ProcedureEntered(drawn(st.sampled_from(["battery", "coil"])), "coil"))
        else:
            story.add(minute, drawn(OTHERS))
    return story


OTHERS: st.SearchStrategy[Entry] = st.one_of(
    st.builds(Cranked, st.floats(0, 30), st.booleans(), st.just("coil"), st.just("feed")),
    st.builds(Remark, st.text(), st.text(), st.sampled_from(["coil", ""]), st.sampled_from(["feed", ""])),
    st.builds(ModeChanged, st.sampled_from(["resumed", "stop", "x"]), st.text()),
    st.builds(VoiceNoteTaken, st.just("clips/0001.flac"), st.floats(0, 60), st.just("coil"), st.just("feed")),
    st.builds(
        CautionGiven, st.just("live"), st.sampled_from(["full", "short"]), st.just("coil"), st.just("feed")
    ),
    st.builds(CautionAcknowledged, st.just(("live",)), st.just("coil"), st.just("feed"), st.just("voice")),
)


@given(stories())
def test_every_result_is_shown_as_it_was_taken(story: Story) -> None:
    """Each result stands once, in order, in its own words, marked when taken back, whatever the order of things."""
    session = story.session()
    made = draft(session, LIBRARY)
    results = [entry for entry in entries_of(session) if isinstance(entry, ResultTaken)]
    undone = {entry.number for entry in entries_of(session) if isinstance(entry, ResultUndone)}
    expected = [
        (
            one.number,
            reporting.seen(LIBRARY, LIBRARY.step("coil", one.step), one.outcome, one.value, one.unit),
        )
        for one in results
    ]
    assert expected == [(test.number, test.seen) for test in made.tests]
    assert undone == {test.number for test in made.tests if test.taken_back}
    for one in made.ruled_out:
        assert not undone & set(one.tests)


@given(stories())
def test_no_verdict_is_claimed_that_was_not_affirmed(story: Story) -> None:
    """Words of a verdict are in the text only if it was affirmed; its repair only if it is the cause."""
    session = story.session()
    made = draft(session, LIBRARY)
    shown = " ".join(text(made).split())
    affirmed = {
        entry.verdict for entry in entries_of(session) if isinstance(entry, VerdictReached) and entry.affirmed
    }
    for name, verdict in LIBRARY.procedures["coil"].verdicts.items():
        if name not in affirmed:
            assert verdict.says not in shown
        if verdict.says != made.cause.text:
            assert verdict.repair not in shown
    assert bool(made.cause) != bool(made.no_verdict)
    if not made.cause:
        assert not any((made.part, made.correction, made.still_possible, made.verify))


@given(st.decimals(0, 18, places=3), st.sampled_from(["V", "mV"]))
def test_digits_of_a_reading_are_kept(value: Decimal, unit: str) -> None:
    """A reading is written with the digits and the unit in which it was given."""
    taken = reading(1, "battery", "volts", "drops", str(value), unit, "verdict:weak")
    (test,) = drafted(Story().add(0, ProcedureEntered("battery"), taken)).tests
    assert f"{value:f} {unit}, below the cranking floor" == test.seen
