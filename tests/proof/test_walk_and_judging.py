"""The walk through procedures: shares are carried exactly, ends are judged by the fault, stories are the likeliest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.circuit.looks import Key, Shares
from assistant.core.library.library import Library
from assistant.core.library.procedure import (
    Answer,
    Engine,
    Leads,
    Measurement,
    Procedure,
    Step,
    Target,
    Verdict,
)
from assistant.core.library.terms import Fault, Terms
from assistant.proof.judging import Case, Worth, condemns, counters, judge, never_reached, row
from assistant.proof.walk import End, followed, walk
from assistant.proof.way import story

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.circuit.looks import Shares

LAMP = Measurement("test-lamp", "battery-negative", "feed", Engine.KEY_ON)


def to(text: str) -> Target:
    """A target written as "step:name"."""
    leads, _, name = text.partition(":")
    return Target(Leads(leads), name)


def step(name: str, answers: Mapping[str, str], skipped: str = "", rules_out: tuple[str, ...] = ()) -> Step:
    """A step with its answers; the first answer rules something out."""
    given = tuple(
        Answer(outcome, to(target), rules_out if number == 0 else ())
        for number, (outcome, target) in enumerate(answers.items())
    )
    return Step(name, LAMP, (), given, if_skipped=to(skipped) if skipped else None)


def verdict(name: str, faults: str, part: str = "", then: str | None = None) -> Verdict:
    """A verdict that covers these faults."""
    return Verdict(name, "", tuple(faults.split()), part, "", (), continue_with=then)


def procedure(name: str, steps: list[Step], verdicts: list[Verdict]) -> Procedure:
    """A procedure that starts with its first step."""
    return Procedure(
        name,
        name,
        "",
        "",
        (),
        (),
        steps[0].name,
        {one.name: one for one in steps},
        {one.name: one for one in verdicts},
    )


FEED = procedure(
    "feed",
    [
        step("look", {"lit": "step:again", "dark": "verdict:open"}, rules_out=("open-feed",)),
        step("again", {"lit": "procedure:coil", "dark": "verdict:open"}, skipped="verdict:unknown"),
    ],
    [
        verdict("open", "open-feed", "feed circuit"),
        verdict("exactly", "open-feed", "feed wire"),
        verdict("unknown", ""),
    ],
)
COIL = procedure(
    "coil",
    [
        step("blink", {"blinking": "verdict:coil", "steady": "verdict:no-control"}),
        step("never", {"lit": "verdict:coil", "dark": "verdict:coil"}),
    ],
    [
        verdict("coil", "coil-secondary", "ignition coil"),
        verdict("no-control", "driver-dead", then="driver"),
    ],
)
DRIVER = procedure(
    "driver",
    [step("supply", {"lit": "verdict:driver", "dark": "procedure:feed"})],
    [
        verdict("driver", "driver-dead", "driver module and ignition coil"),
        verdict("both", "driver-dead coil-secondary", "driver module and ignition coil"),
        verdict("apart", "driver-dead coil-secondary"),
    ],
)
FAULTS = (
    Fault("open-feed", "", "feed circuit"),
    Fault("coil-secondary", "", "ignition coil"),
    Fault("shorted-primary", "", "ignition coil"),
    Fault("driver-dead", "", "driver module"),
)
LIBRARY = Library(
    Terms({}, {}, {}, {one.name: one for one in FAULTS}), {}, {p.name: p for p in (FEED, COIL, DRIVER)}
)


def fixed(table: Mapping[Key, list[list[list[float]]]]) -> Shares:
    """Shares from a table; a step that is not in it is not asked for."""
    return lambda key: np.array(table[key])


def test_shares_are_carried_exactly() -> None:
    """Each end gets the product of the shares on the way to it, and all ends together get everything."""
    walked = walk(
        LIBRARY,
        "feed",
        fixed(
            {
                ("feed", "look"): [[[0.75, 0.25]]],
                ("feed", "again"): [[[0.5, 0.5]]],
                ("coil", "blink"): [[[1, 0]]],
            }
        ),
        (1, 1),
    )
    shares = {str(end): float(flow.share[0]) for end, flow in walked.ends.items()}
    assert shares == {"feed: open": 0.25 + 0.75 * 0.5, "coil: coil": 0.375}


def test_a_step_that_nobody_comes_to_is_not_looked_at() -> None:
    """Nothing is simulated for a step without a share: the table has no row for it."""
    walked = walk(LIBRARY, "feed", fixed({("feed", "look"): [[[0, 1]]]}), (1, 1))
    assert [str(end) for end in walked.ends] == ["feed: open"]
    assert never_reached(LIBRARY, ["feed"], [walked], [0]) == [("feed", "again")]


def test_a_verdict_that_goes_on_is_followed() -> None:
    """A verdict with a procedure to go on with is passed through; what counts is where the way ends."""
    table = {("coil", "blink"): [[[0.0, 1.0]]], ("driver", "supply"): [[[1.0, 0.0]]]}
    walked = walk(LIBRARY, "coil", fixed(table), (1, 1))
    assert [str(end) for end in walked.passed] == ["coil: no-control"]
    assert [str(end) for end in walked.ends] == ["driver: driver"]
    assert followed(LIBRARY, "feed") == ("feed", "coil", "driver")


def test_a_circle_is_undecided() -> None:
    """A procedure that would be entered a second time on one way ends the way without a verdict."""
    table = {
        ("coil", "blink"): [[[0.0, 1.0]]],
        ("driver", "supply"): [[[0.0, 1.0]]],
        ("feed", "look"): [[[1.0, 0.0]]],
        ("feed", "again"): [[[1.0, 0.0]]],
    }
    walked = walk(LIBRARY, "coil", fixed(table), (1, 1))
    assert list(walked.ends) == [End("coil", "")]
    assert row(LIBRARY, walked, 0, Case("driver-dead", "x"), 1).undecided == 1
    assert row(LIBRARY, walked, 0, Case("driver-dead", "x"), 1).clear_undecided == 1


def test_steps_that_lead_back_to_each_other_end() -> None:
    """A way that never leaves a procedure ends as a circle."""
    round_and_round = procedure(
        "round",
        [
            step("one", {"lit": "step:two", "dark": "verdict:x"}),
            step("two", {"lit": "step:one", "dark": "verdict:x"}),
        ],
        [verdict("x", "open-feed")],
    )
    library = Library(LIBRARY.terms, {}, {"round": round_and_round})
    walked = walk(
        library,
        "round",
        fixed({("round", "one"): [[[1.0, 0.0]]], ("round", "two"): [[[1.0, 0.0]]]}),
        (1, 1),
    )
    assert list(walked.ends) == [End("round", "")]


def test_clear_answers_are_told_from_doubtful_ones() -> None:
    """A car counts as clear only where every answer on its way was."""
    table = {
        ("feed", "look"): [[[1.0, 0.0], [1.0, 0.0], [0.4, 0.6]]],
        ("feed", "again"): [[[1.0, 0.0], [0.9, 0.1], [1.0, 0.0]]],
        ("coil", "blink"): [[[1.0, 0.0], [1.0, 0.0], [1.0, 0.0]]],
    }
    walked = walk(LIBRARY, "feed", fixed(table), (1, 3), first_system=10)
    flow = walked.ends[End("coil", "coil")]
    assert float(flow.share[0]) == pytest.approx(1 + 0.9 + 0.4)
    assert float(flow.clear[0]) == 1
    assert int(flow.first_clear[0]) == 10
    assert row(LIBRARY, walked, 0, Case("driver-dead", "x"), 3).clear_wrong == pytest.approx(1 / 3)


def test_the_parts_of_the_work_add_up_to_the_whole() -> None:
    """Systems and mechanisms in pieces give what they give at once."""
    rng = np.random.default_rng(5)
    table = {}
    for key in [("feed", "look"), ("feed", "again"), ("coil", "blink"), ("driver", "supply")]:
        lit = rng.choice([0.0, 0.25, 1.0], size=(3, 8))
        table[key] = np.stack([lit, 1 - lit], axis=-1)
    whole = walk(LIBRARY, "feed", lambda key: table[key], (3, 8))
    for mechanism in range(3):
        cut = slice(mechanism, mechanism + 1)
        pieces = walk(LIBRARY, "feed", lambda key, cut=cut: table[key][cut, :3], (1, 3))
        pieces.add(walk(LIBRARY, "feed", lambda key, cut=cut: table[key][cut, 3:], (1, 5), first_system=3))
        for end, flow in whole.part(mechanism, mechanism + 1).ends.items():
            if not flow.share[0]:
                continue
            assert pieces.ends[end].share == pytest.approx(flow.share)
            assert pieces.ends[end].clear.tolist() == flow.clear.tolist()
            assert pieces.ends[end].first_clear.tolist() == flow.first_clear.tolist()
            assert pieces.ends[end].largest_at.tolist() == flow.largest_at.tolist()


@pytest.mark.parametrize(
    ("end", "faults", "bad", "expected"),
    [
        (End("coil", "coil"), "coil-secondary", "ignition coil", Worth.RIGHT),
        (End("coil", "coil"), "shorted-primary", "ignition coil", Worth.WRONG_PATH),
        (End("coil", "coil"), "coil-secondary", "plug lead", Worth.WRONG_PART),
        (End("coil", "coil"), "driver-dead", "driver module", Worth.WRONG_PART),
        (End("driver", "driver"), "driver-dead", "driver module", Worth.WRONG_PART),
        (End("driver", "driver"), "driver-dead", "driver module,ignition coil", Worth.RIGHT),
        (End("feed", "unknown"), "open-feed", "feed wire", Worth.UNDECIDED),
        (End("feed", ""), "open-feed", "feed wire", Worth.UNDECIDED),
        (End("coil", "coil"), "none", "", Worth.WRONG_PART),
        (End("feed", "exactly"), "open-feed", "feed wire", Worth.RIGHT),
        (End("feed", "exactly"), "open-feed", "ignition fuse", Worth.WRONG_PART),
        (End("feed", "exactly"), "driver-dead", "driver module", Worth.WRONG_PART),
        (
            End("driver", "both"),
            "driver-dead coil-secondary",
            "driver module,ignition coil",
            Worth.RIGHT,
        ),
        (End("driver", "both"), "driver-dead", "driver module", Worth.WRONG_PART),
        # One of two bad parts is named: that one is bad, and the other is found in the next round.
        (
            End("coil", "coil"),
            "coil-secondary driver-dead",
            "ignition coil,driver module",
            Worth.RIGHT,
        ),
        (End("coil", "no-control"), "driver-dead coil-secondary", "", Worth.WRONG_PATH),
        (End("driver", "apart"), "driver-dead", "driver module", Worth.UNDECIDED),
        (End("driver", "apart"), "open-feed", "feed wire", Worth.WRONG_PATH),
        (End("driver", "", left=True), "driver-dead", "driver module", Worth.HANDED_OVER),
    ],
)
def test_a_wrong_part_is_told_from_a_wrong_path(end: End, faults: str, bad: str, expected: Worth) -> None:
    """Naming a bad part for another reason costs a test; naming a good part, also beside the bad one, a part.

    A part is good or bad by what is truly wrong with the car, not by the group that its fault belongs to.
    """
    fault, *also = faults.split()
    case = Case(fault, "x", tuple(also), tuple(bad.split(",")))
    assert judge(LIBRARY, end, case) is expected


def test_a_part_that_is_named_on_the_way_is_judged_like_one_at_the_end() -> None:
    """A verdict that goes on with another procedure and names a good part has condemned it, whatever comes after."""
    on_the_way = procedure(
        "coil",
        list(COIL.steps.values()),
        [
            verdict("coil", "coil-secondary", "ignition coil"),
            verdict("no-control", "driver-dead", "ignition coil", then="driver"),
        ],
    )
    library = Library(LIBRARY.terms, {}, {**LIBRARY.procedures, "coil": on_the_way})
    table = {
        ("coil", "blink"): [[[0.25, 0.75]]],
        ("driver", "supply"): [[[0.0, 1.0]]],
        ("feed", "look"): [[[0.0, 1.0]]],
    }
    walked = walk(library, "coil", fixed(table), (1, 1))
    case = Case("driver-dead", "x", ("open-feed",), ("driver module", "feed circuit"))
    assert condemns(library, End("coil", "no-control"), case)
    # A quarter is told of the coil at the end, three quarters on the way to a right verdict.
    assert row(library, walked, 0, case, 1).wrong_part == pytest.approx(0.25 + 0.75)
    assert row(library, walked, 0, case, 1).right == pytest.approx(0.75)
    found = counters(library, "coil", walked, {0: case})
    assert ("coil: no-control", Worth.WRONG_PART) in {(str(one.end), one.worth) for one in found}
    bad = Case("driver-dead", "x", ("open-feed",), ("driver module", "feed circuit", "ignition coil"))
    assert row(library, walked, 0, bad, 1).wrong_part == 0


def test_cars_whose_spark_is_good_do_not_count() -> None:
    """A car that does not count takes no share of any end, and the shares are those of the cars that do."""
    table = {
        ("coil", "blink"): [[[1.0, 0.0], [0.0, 1.0], [1.0, 0.0]]],
        ("driver", "supply"): [[[1.0, 0.0]] * 3],
    }
    present = np.array([[1.0, 1.0, 0.0]])
    walked = walk(LIBRARY, "coil", fixed(table), (1, 3), present=present)
    assert {str(end): float(flow.share[0]) for end, flow in walked.ends.items()} == {
        "coil: coil": 1,
        "driver: driver": 1,
    }
    case = Case("coil-secondary", "x", (), ("ignition coil",))
    figures = row(LIBRARY, walked, 0, case, float(present.sum()))
    assert (figures.right, figures.wrong_part) == (0.5, 0.5)
    assert row(LIBRARY, walked, 0, case, 0).right == 1  # no car counts: nothing can go wrong


def test_one_who_skips_goes_where_the_step_says() -> None:
    """A test that may be skipped is skipped without looking; others are made."""
    table = {("feed", "look"): [[[1.0, 0.0]]]}
    walked = walk(LIBRARY, "feed", fixed(table), (1, 1), skips=lambda step: step.name == "again")
    assert [str(end) for end in walked.ends] == ["feed: unknown"]
    table[("feed", "again")] = [[[0.0, 1.0]]]
    walked = walk(LIBRARY, "feed", fixed(table), (1, 1), skips=lambda step: step.name == "look")
    assert [str(end) for end in walked.ends] == ["feed: open"]


def test_an_answer_that_rules_out_is_counted() -> None:
    """The answer that rules faults out is kept, so that a fault that is there can be looked for in it."""
    walked = walk(
        LIBRARY, "feed", fixed({("feed", "look"): [[[0.25, 0.75]]], ("feed", "again"): [[[0, 1]]]}), (1, 1)
    )
    assert {key: float(flow.share[0]) for key, flow in walked.ruled_out.items()} == {
        ("feed", "look", "lit"): 0.25
    }


def test_a_counter_example_is_the_first_clear_car_or_the_likeliest() -> None:
    """A clear car is shown before a doubtful one; without a clear one, the car most likely to go wrong."""
    doubtful = {
        ("coil", "blink"): [[[0.2, 0.8], [0.7, 0.3]]],
        ("driver", "supply"): [[[1.0, 0.0], [1.0, 0.0]]],
    }
    found = counters(
        LIBRARY, "coil", walk(LIBRARY, "coil", fixed(doubtful), (1, 2)), {0: Case("driver-dead", "x")}
    )
    by_end = {str(one.end): one for one in found}
    assert (by_end["coil: coil"].system, by_end["coil: coil"].clear, by_end["coil: coil"].share) == (
        1,
        False,
        0.7,
    )
    clear = {("coil", "blink"): [[[0.6, 0.4], [1.0, 0.0]]], ("driver", "supply"): [[[1.0, 0.0], [1.0, 0.0]]]}
    found = counters(
        LIBRARY, "coil", walk(LIBRARY, "coil", fixed(clear), (1, 2)), {0: Case("driver-dead", "x")}
    )
    by_end = {str(one.end): one for one in found}
    assert (by_end["coil: coil"].system, by_end["coil: coil"].clear) == (1, True)


def test_a_story_is_the_likeliest_way_to_its_end() -> None:
    """Of two ways to one verdict, the likelier is told, with each answer's share."""
    table = {
        ("feed", "look"): [[[0.75, 0.25]]],
        ("feed", "again"): [[[0.5, 0.5]]],
        ("coil", "blink"): [[[1, 0]]],
    }
    told = story(LIBRARY, "feed", End("feed", "open"), fixed(table))
    assert [(one.step.name, one.answer.outcome if one.answer else "", one.share) for one in told] == [
        ("look", "lit", 0.75),
        ("again", "dark", 0.5),
    ]
    assert story(LIBRARY, "feed", End("driver", "driver"), fixed(table)) == ()
