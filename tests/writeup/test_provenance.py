"""Every sentence of the write-up is derived again from the places that it names; nothing else may stand in it.

The check here shares no code with the draft: it reads the log as JSON, the copied procedures as YAML, and computes
times and sums by itself.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from hypothesis import given, settings, strategies as st
from recorded import (
    BAD_COIL,
    FACTS,
    OPEN_CONTROL_WIRE,
    START,
    folder,
    knowledge,
    library,
    perceiving,
    scripted,
    session as recorded_session,
    wandering,
)

from assistant.core.values.codec import to_json
from assistant.core.values.entries import ModeChanged, ResultRepeated, ResultTaken
from assistant.core.values.events import Note
from assistant.core.values.result import Control
from assistant.record import Labour, Part, Review, Signature
from assistant.record.header import Shop
from assistant.rehearsal.dialogue import Dialogue
from assistant.resources import directory
from assistant.writeup import Source, Statement, draft, drafted

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from assistant.record import RecordedSession

REVIEWS = (
    Review(1, START + timedelta(hours=2), "J. Okoye", "Mended the control wire.", ("control-wire-open",),
           (Part("splice", "2"),), (Labour("diagnosis", "0.5", "45.00"),), "Road test 12 miles.",
           Signature("J. Okoye", START + timedelta(hours=2), "1f" * 32, "2e" * 32), "3d" * 32),
    Review(2, START + timedelta(hours=3), "J. Okoye", "Replaced the control wire.", previous="4c" * 32),
)  # fmt: skip


def tokens(words: str) -> set[str]:
    """Words in small letters and numbers, a number in its shortest form, so that 10 and 10.0 are one.

    The unit A is not taken for the article.
    """
    words = re.sub(r'(?<=[0-9] )A\b|(?<=")A(?=")', "ampere", words)
    found = re.findall(r"[a-z]+|[0-9]+(?:\.[0-9]+)?", words.lower())
    return {
        re.sub(r"\.?0+$", "", one) if re.fullmatch(r"[0-9]+\.[0-9]+", one) else one.lstrip("0") or "0"
        if one[0].isdecimal() else one
        for one in found
    }  # fmt: skip


# Words that only hold a sentence together: no outcome, place, part, fault, number or unit is among them.
FRAME = tokens(
    "with the engine and key not turning good read around from to moved between on it clipped probe test "
    "looked at compared above below or more a system taken back by voice keypad recognition confidence speech db "
    "noise as heard keyed was were skipped is no verdict reached session stopped in before this answered what led "
    "read out affirmed begun repair order date vehicle vin technician measured first question last answer min "
    "standing interruptions of are left cranked clock all without timer because nobody said that began assumed for "
    "starter's rest given form once twice times acknowledged acknowledgement asked resumed nothing recorded phrase "
    "phrases understood had meaning moment keys made withdrawn when an under made bay assistant lines line log sha "
    "sealed still can go an unfinished bytes reviewed signed not amended record write up among faults catalogue one "
    "time speaks these most against slip eye ear finger has probability would tell its likelihoods odds any "
    "than other h s typed session left blank given anew judged less leads that set aside back not ; limits "
    "contradict each other maker's limit decided pieces do add up whole rests on tests readings "
    "meter range samples spread about rpm beside after its "
    "judgment blink should confirm be carries passed failed cause yet tests confirmed labor codes at shop settings"
)
"""`h` and `s` are the units of times, which the check computes by itself."""


@cache
def procedures() -> dict[str, Any]:
    """The shipped YAML files, read by an ordinary YAML reader."""
    return {
        path.name: yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader)  # noqa: S506  texts only
        for path in directory("procedures").glob("*.yaml")
    }


def log_of(session: RecordedSession, number: int) -> dict[str, Any]:
    """One line of the log as the program writes it."""
    line = session.lines[number - 1]
    assert line.number == number
    return {
        "event": to_json(line.event),
        "actions": [to_json(act) for act in line.actions if isinstance(act, Note)],
    }


def at(body: Any, key: str) -> Any:
    """Return what stands at a key of a file."""
    for part in filter(None, key.split(".")):
        body = body[part]
    return body


def held(source: Source, session: RecordedSession) -> set[str]:
    """Words and numbers that a source holds."""
    if source.file == "log" and not source.at:
        return {str(len(session.lines)), str(session.torn)}
    if source.file == "log":
        line = session.lines[int(source.at) - 1]
        held_here = log_of(session, int(source.at))
        times = f"{line.time:%H} {line.time:%M}"
        if any(act["entry"]["type"] == "ChangeSeen" for act in held_here["actions"]):
            times += f" {line.time:%S}"
        return tokens(json.dumps(held_here)) | tokens(times)
    if source.file == "session.json":
        body = json.loads(session.header.to_bytes())
        value = at(body, source.at)
        times = f"{session.header.started:%Y %m %d %H %M}" if source.at == "started" else ""
        words = value if isinstance(value, str) else json.dumps(value)
        return tokens(f"{words} {times}")
    if source.file == "seal.json":
        assert session.sealed
        return tokens(f"{session.sealed.sealed:%Y %m %d %H %M}")
    if source.file == "reviews.jsonl":
        review = REVIEWS[int(source.at) - 1]
        times = f"{review.time:%Y %m %d %H %M}"
        return tokens(f"{json.dumps(review.to_json())} {times} sha 256 seal found review")
    if source.file == "log.jsonl":
        return tokens("log jsonl 256 " + "ab" * 32)
    name = source.file.removeprefix("procedures/")
    if not name.endswith(".yaml"):
        return set()
    body = json.dumps(at(procedures()[name], source.at))
    return tokens(f"{body} {source.at} {'comparison' if 'compared_with' in body else ''}")


def computed(statement: Statement, session: RecordedSession) -> set[str]:
    """Numbers that are not written in the sources and follow from them: times, sums, counts, rounded levels."""
    numbers = sorted({int(source.at) for source in statement.sources if source.file == "log" and source.at})
    entries = [
        (number, act["entry"])
        for number in numbers
        for act in log_of(session, number)["actions"]
    ]  # fmt: skip
    found: set[str] = set()
    moments = {number: session.lines[number - 1].time for number in numbers}
    modes = {number: entry["mode"] for number, entry in entries if entry["type"] == "ModeChanged"}
    for first in numbers:
        for last in (number for number in numbers if number > first):
            gap = paused([number for number in numbers if first <= number <= last], moments, modes)
            whole = (moments[last] - moments[first]).total_seconds()
            found |= tokens(spoken(whole - gap)) | tokens(spoken(gap))
    found.add(str(sum(entry["type"] == "ChangeSeen" for _, entry in entries)))
    cranked = [entry for _, entry in entries if entry["type"] == "Cranked"]
    found |= tokens(f"{sum(float(entry['seconds']) for entry in cranked):.1f} {len(cranked)}")
    for what in ("step", "unasked", "longer"):
        of_kind = [float(entry["seconds"]) for _, entry in entries if entry.get("what") == what]
        found |= tokens(f"{sum(of_kind):.1f} {len(of_kind)}")
    for kind in ("CautionGiven", "Remark"):
        forms = [(entry.get("caution"), entry.get("form")) for _, entry in entries if entry["type"] == kind]
        found |= {str(forms.count(form)) for form in forms}
    reached = [(one["procedure"], one["verdict"]) for _, one in entries if one["type"] == "VerdictReached"]
    found |= {str(reached.count(one)) for one in reached}
    for _, entry in entries:
        if entry["type"] == "ResultTaken":
            found |= tokens(f"{float(entry['confidence']):.2f}")
            if entry["snr_db"] is not None:
                found |= tokens(f"{entry['snr_db']:.0f}")
        if entry["type"] == "ResultPerceived":
            found |= tokens(f"{float(entry['confidence']):.2f} {float(entry['spread']):.3g}")
        if entry["type"] == "VoiceNoteTaken":
            found |= tokens(f"{entry['duration_s']:.1f}")
    return found


def paused(numbers: list[int], moments: dict[int, datetime], modes: dict[int, str]) -> float:
    """Seconds between standing by and going on, and between a line and the resumption right after it."""
    total = 0.0
    standing = None
    for before, number in zip([0, *numbers], numbers, strict=False):
        mode = modes.get(number, "")
        if standing and mode in ("go ahead", "resumed", "closed"):
            total += (moments[number] - moments[standing]).total_seconds()
            standing = None
        elif mode == "resumed" and before == number - 1:
            total += (moments[number] - moments[before]).total_seconds()
        if standing is None and mode in ("stand by", "stop"):
            standing = number
    return total


def spoken(seconds: float) -> str:
    """A time in hours, minutes and seconds, computed here."""
    whole = round(seconds)
    if whole >= 3600:
        minutes = round(whole / 60)
        return f"{minutes // 60} h {minutes % 60} min"
    return f"{whole // 60} min {whole % 60} s"


def unsupported(statement: Statement, session: RecordedSession) -> set[str]:
    """Words and numbers of a statement that its sources do not hold."""
    known = FRAME | computed(statement, session)
    for source in statement.sources:
        known |= held(source, session)
    return tokens(statement.text) - known


def check(session: RecordedSession, reviews: tuple[Review, ...] = (), *, weighing: bool = False) -> int:
    """Check every statement of a session; how many there were."""
    made = draft(session, library(), reviews, knowledge=knowledge() if weighing else None)
    statements = list(made.statements())
    for statement in statements:
        if statement == made.state and not reviews:
            continue
        assert statement.sources, statement.text
        left = unsupported(statement, session)
        if weighing and "procedures/likelihoods.json" in {source.file for source in statement.sources}:
            left = {one for one in left if f"{one}%" not in statement.text}
        assert set() == left, (statement.text, left, list(map(str, statement.sources)))
    return len(statements)


def test_the_words_between_hold_no_fact() -> None:
    """No outcome, unit or name of a place, a part or a fault could slip in as a mere joining word."""
    terms = procedures()["terms.yaml"]
    facts = {name for kind in ("outcomes", "faults") for name in terms[kind]} - {"good"}
    facts |= {
        unit.lower().replace("a", "ampere")
        for one in terms["instruments"].values()
        for unit in one.get("units", ())
    }
    facts |= {
        word
        for one in terms["places"].values()
        if one["kind"] in ("node", "part")
        for word in tokens(one["short"])
    }
    facts -= tokens("engine s starter")  # of "engine block", "coil's plug" and "starter cable"
    assert set() == FRAME & facts


@pytest.mark.parametrize(
    ("answers", "procedure"),
    [
        (OPEN_CONTROL_WIRE, "coil-control"),
        (BAD_COIL, "coil-control"),
        (("10.50 V", "lamp-off", "present", "lit", "blinking", "sharper", "0.70 V"), "coil-control"),
        (("12.4 V", "10.40 V"), "battery-and-cranking"),
        ((), "coil-control"),
    ],
)
def test_each_sentence_of_a_straight_session(answers: tuple[str, ...], procedure: str) -> None:
    """Sessions as they ought to go, to their verdict."""
    assert check(recorded_session(scripted(*answers, procedure=procedure))) > 10


def test_each_sentence_with_the_circuit_model_and_reviews() -> None:
    """Sources of what the results say together, and of what the shop did and signed."""
    session = recorded_session(scripted(*OPEN_CONTROL_WIRE))
    weighing = replace(session, header=replace(session.header, likelihoods=knowledge().version))
    assert check(weighing, REVIEWS, weighing=True) > 30


SHOP = Shop("Elm Street Garage", "12 Elm Street\nSpringfield", "555 0100", "DC clamp to 40 A")


def test_each_sentence_with_a_shop_that_was_set() -> None:
    """Name, address, telephone and clamp come from the header, and a session says all of them or none."""
    session = recorded_session(scripted("12.5 V", "8.5 V", "180 A", procedure="battery-and-cranking"))
    before = draft(session, library())
    session = replace(session, header=replace(session.header, shop=SHOP))
    made = draft(session, library())
    assert [SHOP.name, SHOP.address, SHOP.telephone] == [one.text for one in made.shop]
    assert ["Clamp"] == [one.label for one in made.conditions if one.value == SHOP.clamp]
    assert check(session) > 10
    known = set(before.statements())
    assert 4 == sum(one not in known for one in made.statements())


def test_each_sentence_about_changes_that_were_told() -> None:
    """Their number, their times to the second, and the one that was taken back."""
    talk = Dialogue(library())
    talk.begin("intermittent")
    talk.ready()
    talk.hear("done")
    talk.ready()
    for outcome in ("went-out", "came-back", "dim", "went-out"):
        talk.hear(outcome)
    talk.hear(control=Control.CORRECTION)
    talk.hear(control=Control.THAT_IS_ALL)
    talk.hear(control=Control.AFFIRM)
    made = recorded_session(talk)
    assert "changed 3 times: went out at 0" in draft(made, library()).tests[-1].seen
    assert check(made) > 10


def test_each_sentence_about_what_was_perceived() -> None:
    """By what each value came: the meter's range, samples and spread, the ear's speed, error and confidence."""
    made = recorded_session(perceiving())
    captured = [test.captured for test in draft(made, library()).tests]
    assert captured[0] == ("By meter, range 20 V, samples 8, spread 0.01 V, taken by voice; read back")
    assert "taken by keypad" in captured[1]
    assert captured[-1] == (
        "By ear, about 104 rpm ± 6.5, compressions 9, confidence 0.87; read back and affirmed"
    )
    assert check(made) > 10


@given(st.integers(0, 100_000), st.booleans())
@settings(max_examples=25)
def test_each_sentence_of_any_session(seed: int, sealed: bool) -> None:
    """It holds for anything answered, corrected, skipped, paused or broken off."""
    check(recorded_session(wandering(seed), sealed=sealed))


def test_a_sentence_with_a_number_that_its_sources_do_not_hold_is_found() -> None:
    """The check itself is checked: a wrong number, unit, place, outcome, time or name does not pass."""
    session = recorded_session(scripted(*OPEN_CONTROL_WIRE))
    made = draft(session, library())
    (told,) = (one for one in made.findings if "40 ohm" in one.text)
    carried = made.findings[-1]
    assert unsupported(Statement(carried.text.replace("5", "99"), carried.sources), session)
    assert unsupported(Statement(carried.text.replace("LED light", "clamp"), carried.sources), session)
    for wrong in (
        told.text.replace("40", "50"),
        told.text.replace("40 ohm", "40 volt"),
        told.text.replace("the driver end", "the battery end"),
        told.text.replace("key off", "key off, running"),
        f"{told.text} It took 17 min.",
        f"{told.text} R. Alvarez saw it.",
    ):
        assert wrong != told.text
        assert unsupported(Statement(wrong, told.sources), session), wrong


# --- the log decides ------------------------------------------------------------------------------


def changed(session: RecordedSession, number: int, result: ResultTaken, **parts: Any) -> RecordedSession:
    """The session with another outcome or value of a result in a line of its log."""
    lines = list(session.lines)
    line = lines[number - 1]
    lines[number - 1] = replace(
        line,
        actions=tuple(
            replace(act, entry=replace(act.entry, **parts))
            if isinstance(act, Note) and act.entry == result
            else act
            for act in line.actions
        ),
    )
    return replace(session, lines=tuple(lines))


@given(st.integers(0, 100_000))
@settings(max_examples=20)
def test_another_result_in_the_log_is_another_sentence(seed: int) -> None:
    """Each result: changed in the log, every statement that showed it is gone or says the other thing."""
    session = recorded_session(wandering(seed))
    before = list(draft(session, library()).statements())
    for line in session.lines:
        for act in line.actions:
            if not isinstance(act, Note) or not isinstance(act.entry, ResultTaken):
                continue
            result = act.entry
            if isinstance(result, ResultRepeated):
                continue  # it is the outcome of another step; tests/core/dialogue/test_repeating.py
            step = library().step(result.procedure, result.step)
            others = [answer.outcome for answer in step.choices() if answer.outcome != result.outcome]
            if result.value is not None:
                # another reading in the same band
                after = changed(session, line.number, result, value=result.value + Decimal("0.000123"))
                shows = f"{result.value} {result.unit}"
            else:
                after = changed(session, line.number, result, outcome=others[0])
                shows = f"| {library().terms.outcomes[result.outcome].seen}" if not step.reading else ""
            here = str(line.number)
            told = {
                one for one in before if Source("log", here) in one.sources and shows and shows in one.text
                and f"{result.number} | " in one.text[:5]
            }  # fmt: skip
            assert not shows or told
            assert not told & set(draft(after, library()).statements())


@given(st.integers(0, 100_000))
@settings(max_examples=15)
def test_what_is_taken_out_of_the_log_is_not_written_up(seed: int) -> None:
    """A line without its entries supports no statement any more."""
    session = recorded_session(wandering(seed))
    before = set(draft(session, library()).statements())
    numbers = [line.number for line in session.lines if any(isinstance(act, Note) for act in line.actions)]
    for number in numbers[1:]:
        lines = list(session.lines)
        if any(
            isinstance(act, Note) and isinstance(act.entry, ModeChanged) for act in lines[number - 1].actions
        ):
            continue  # where a pause is taken out, the times before and after it stay what they are
        lines[number - 1] = replace(lines[number - 1], actions=())
        after = set(draft(replace(session, lines=tuple(lines)), library()).statements())
        rest = {
            one for one in before & after
            if Source("log", str(number)) in one.sources and not one.text.startswith(("No verdict", "Made from"))
        }  # fmt: skip
        assert set() == rest, number


def test_other_times_in_the_log_are_other_times_in_the_write_up() -> None:
    """Each test is dated, and its length measured, by the log."""
    talk = scripted(*OPEN_CONTROL_WIRE)
    session = recorded_session(talk)
    tests = draft(session, library()).tests
    results = [
        line.number
        for line in session.lines
        if any(isinstance(act, Note) and isinstance(act.entry, ResultTaken) for act in line.actions)
    ]
    later = replace(
        session,
        lines=tuple(
            replace(line, time=line.time + timedelta(seconds=671)) if line.number >= results[1] else line
            for line in session.lines
        ),
    )
    after = draft(later, library()).tests
    assert tests[0] == after[0]
    took = [(session.lines[two - 1].time - session.lines[one - 1].time).total_seconds()
            for one, two in pairwise(results)]  # fmt: skip
    short = f"{round(took[0]) % 60} s"
    assert tests[1].took == (f"{round(took[0]) // 60} min {short}" if took[0] >= 60 else short)
    assert f"{round(took[0] + 671) // 60} min {round(took[0] + 671) % 60} s" == after[1].took
    assert tests[2].took == after[2].took


def test_from_the_disk_the_sources_are_places_in_the_folder(tmp_path: Path) -> None:
    """Every source leads to a file, and to the key in it."""
    place = folder(tmp_path, scripted(*OPEN_CONTROL_WIRE))
    made, session, _ = drafted(place)

    @cache
    def copied(path: Path) -> Any:
        return yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader)  # noqa: S506

    assert made.concern.text == FACTS.complaint
    for statement in made.statements():
        for source in statement.sources:
            if source.file == "log":
                assert not source.at or 1 <= int(source.at) <= len(session.lines)
                continue
            path = place / source.file
            assert path.is_file()
            if source.at and path.suffix == ".yaml":
                at(copied(path), source.at)
