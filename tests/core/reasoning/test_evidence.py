"""Weighing the faults by results: Bayes' rule, slips, reasons, and what would tell."""

from __future__ import annotations

import itertools
import json
import math
import pickle
from dataclasses import replace

import pytest
from hypothesis import given, settings, strategies as st
from sample_knowledge import CIRCUIT, MATRIX, knowing
from sample_library import sample_library

from assistant.core.reasoning.evidence import Assessment, assess
from assistant.core.reasoning.knowledge import FORMAT, FULL, Hypotheses, key_of, measurement_key, parse_table
from assistant.core.reasoning.posterior import WeighedResult, sureness
from assistant.core.reasoning.scales import Memo
from assistant.errors import FileProblem
from assistant.loading.folder import load_folder
from assistant.measured import DEFAULT_THRESHOLDS as LIMITS
from assistant.resources import directory

LIBRARY = sample_library()
KNOWLEDGE = knowing(LIBRARY)
STEPS = [
    (procedure.name, step)
    for procedure in LIBRARY.procedures.values()
    if procedure.circuit == CIRCUIT
    for step in procedure.steps.values()
]


def facts(*results: tuple[str, str], sure: float = 0.99) -> tuple[WeighedResult, ...]:
    return tuple(WeighedResult("coil-control", step, outcome, sure) for step, outcome in results)


def weighed(*given_facts: WeighedResult) -> Assessment:
    found = assess(LIBRARY, KNOWLEDGE, CIRCUIT, given_facts, LIMITS)
    assert found is not None
    return found


FEED_LIT = ("feed-while-cranking", "lit")
STEADY = ("switched-while-cranking", "steady")
END_DARK = ("driver-end-while-cranking", "dark")


# --- the posterior --------------------------------------------------------------------------------


def test_without_results_the_posterior_is_the_prior() -> None:
    """Nothing measured, nothing learned; the odds are those of odds.yaml among the faults of the table."""
    prior = KNOWLEDGE.odds.prior
    whole = sum(prior[fault] for fault in MATRIX)
    assert {fault: prior[fault] / whole for fault in MATRIX} == pytest.approx(weighed().posterior)


def test_the_posterior_is_bayes_rule_by_hand() -> None:
    """Outside check: two faults and one result, worked out with the formula on paper."""
    share = {"driver-dead": 0.99, "coil-secondary": 0.01 / 4}  # steady, of five answers
    right = 0.9 * 0.97 + 0.1 * 0.03 / 4
    wrong = (1 - right) / 4
    prior = KNOWLEDGE.odds.prior
    by_hand = {fault: prior[fault] * (part * right + (1 - part) * wrong) for fault, part in share.items()}
    posterior = weighed(*facts(STEADY, sure=0.9)).posterior
    ratio = posterior["driver-dead"] / posterior["coil-secondary"]
    assert by_hand["driver-dead"] / by_hand["coil-secondary"] == pytest.approx(ratio)


def test_the_results_of_a_fault_lead_to_that_fault() -> None:
    """Outside check: each row of the trade's outcome matrix makes its own fault the likeliest, or an equal one."""
    for fault, row in MATRIX.items():
        outcomes = zip(
            ("feed-while-cranking", "switched-while-cranking", "driver-end-while-cranking"),
            row[:3],
            strict=True,
        )
        found = weighed(*facts(*((step, outcome) for step, outcome in outcomes)))
        best = max(found.posterior.values())
        same = [other for other, cells in MATRIX.items() if cells[:3] == row[:3]]
        assert fault in same
        assert next(iter(found.posterior)) in same
        assert best > 0.3


def test_hundreds_of_results_do_not_make_the_odds_vanish() -> None:
    """However small the odds become on the way, they are odds in the end: the posterior sums to one."""
    many = facts(*[FEED_LIT, STEADY, END_DARK, ("switched-while-cranking", "blinks")] * 150)
    found = assess(LIBRARY, KNOWLEDGE, CIRCUIT, many, replace(LIMITS, weighed_results=len(many)))
    assert found is not None
    assert sum(found.posterior.values()) == pytest.approx(1.0)
    assert assess(LIBRARY, KNOWLEDGE, CIRCUIT, many, LIMITS) is None


def test_what_is_remembered_changes_no_figure() -> None:
    """An assessment with the memo of others gives the very same numbers as one that starts afresh."""
    memo = Memo()
    for results in ((FEED_LIT,), (FEED_LIT, STEADY), (FEED_LIT, STEADY, END_DARK), (STEADY, END_DARK)):
        fresh = weighed(*facts(*results))
        again = assess(LIBRARY, KNOWLEDGE, CIRCUIT, facts(*results), LIMITS, memo)
        assert again is not None
        assert (fresh.posterior, fresh.slip, fresh.doubt()) == (again.posterior, again.slip, again.doubt())


def test_a_doubtful_hearing_says_less() -> None:
    """The recogniser's confidence is folded in: the surer the word, the further the posterior moves."""
    moved = [weighed(*facts(END_DARK, sure=sure)).posterior["control-wire-open"] for sure in (0.6, 0.8, 0.99)]
    assert moved == sorted(moved)
    assert moved[0] < moved[2]


def test_a_result_kept_from_an_earlier_step_counts_once() -> None:
    """The same measurement taken over is no second evidence; measured anew it is."""
    first = WeighedResult("coil-control", *FEED_LIT, 0.99)
    kept = WeighedResult("driver-supply-and-inputs", *FEED_LIT, 0.99, kept=True)
    anew = WeighedResult("driver-supply-and-inputs", *FEED_LIT, 0.99)
    assert weighed(first).posterior == weighed(first, kept).posterior
    assert weighed(first).posterior != weighed(first, anew).posterior
    assert weighed(kept).posterior == weighed(first).posterior


def test_what_is_not_known_says_nothing() -> None:
    """A result of another circuit, of an unknown test, or no table at all: nothing is claimed."""
    other = WeighedResult("battery-and-cranking", "battery-at-rest", "flat", 0.99)
    unknown = WeighedResult("driver-supply-and-inputs", "security-lamp", "lamp-on", 0.99)
    assert weighed(other, unknown).posterior == weighed().posterior
    assert weighed(other, unknown).used == ()
    assert assess(LIBRARY, KNOWLEDGE, "battery-and-starter", (other,), LIMITS) is None
    assert assess(LIBRARY, None, CIRCUIT, (other,), LIMITS) is None


_FACT = st.sampled_from(STEPS).flatmap(
    lambda named: st.builds(
        WeighedResult,
        procedure=st.just(named[0]),
        step=st.just(named[1].name),
        outcome=st.sampled_from([answer.outcome for answer in named[1].choices()]),
        sure=st.floats(0.5, 1.0),
        kept=st.booleans(),
        times=st.integers(1, 2),
    )
)


@settings(max_examples=80)
@given(st.lists(_FACT, max_size=7))
def test_whatever_is_found_the_figures_are_probabilities(found: list[WeighedResult]) -> None:
    """Any results: the posterior sums to 1, no order matters, doubts lie between 0 and 1, nothing is raised."""
    one = weighed(*found)
    assert sum(one.posterior.values()) == pytest.approx(1.0)
    assert 0.0 <= one.slip <= 1.0
    assert all(-1e-9 <= one.slip_of(place) <= one.slip + 1e-9 for place in one.used)
    if not any(fact.kept for fact in found):
        assert weighed(*reversed(found)).posterior == pytest.approx(one.posterior)
    doubt = one.doubt()
    assert doubt is None or doubt.against != doubt.doubtful
    assert all(reason.weight > 0 for reason in one.reasons())


# --- contradictions -------------------------------------------------------------------------------


def test_results_that_fit_are_not_doubted() -> None:
    """Every row of the matrix, as one car shows it, is believed."""
    for row in MATRIX.values():
        steps = ("feed-while-cranking", "switched-while-cranking", "driver-end-while-cranking")
        assert weighed(*facts(*zip(steps, row[:3], strict=True))).doubt() is None


def test_a_contradiction_is_noticed_and_both_results_are_named() -> None:
    """A blinking switched side and a dark driver end cannot both be: no current passes an open wire."""
    found = weighed(*facts(FEED_LIT, ("switched-while-cranking", "blinking"), END_DARK))
    doubt = found.doubt()
    assert doubt is not None
    assert doubt.slip > 0.5
    assert {doubt.doubtful, doubt.against} == {1, 2}


def test_the_less_sure_of_two_is_the_doubtful_one() -> None:
    """A word that was hardly understood is asked again before one that was keyed."""
    steps = (("switched-while-cranking", "blinking"), END_DARK)
    for sure, doubtful in (((0.6, 0.999), 1), ((0.999, 0.6), 2)):
        pair = [
            WeighedResult("coil-control", *steps[0], sure[0]),
            WeighedResult("coil-control", *steps[1], sure[1]),
        ]
        doubt = weighed(*facts(FEED_LIT), *pair).doubt()
        assert doubt is not None
        assert doubt.doubtful == doubtful


def test_what_was_asked_again_is_not_doubted_twice() -> None:
    """With both measurements asked already, nothing is left to ask, however little they fit."""
    given_facts = facts(("switched-while-cranking", "blinking"), END_DARK)
    asked: frozenset[str] = frozenset()
    for _ in range(2):
        doubt = weighed(*given_facts).doubt(asked)
        assert doubt is not None
        step = LIBRARY.step("coil-control", given_facts[doubt.doubtful].step)
        asked |= {measurement_key(step.measure)}
    assert weighed(*given_facts).doubt(asked) is None


def test_a_confirmed_result_is_surer() -> None:
    """The same answer twice: it is less likely a slip than before, and the other one more."""
    once = weighed(*facts(("switched-while-cranking", "blinking"), END_DARK))
    twice = weighed(
        WeighedResult("coil-control", "switched-while-cranking", "blinking", 0.99, times=2), *facts(END_DARK)
    )
    assert twice.slip_of(0) < once.slip_of(0)
    assert twice.slip_of(1) > once.slip_of(1)


# --- reasons and tests ----------------------------------------------------------------------------


def test_the_two_strongest_reasons_are_those_that_move_the_odds_most() -> None:
    """Of three results, the driver end is the strongest for an open control wire; its rivals are what it hurts."""
    reasons = weighed(*facts(FEED_LIT, STEADY, END_DARK)).reasons()
    assert reasons[0].fact == 2
    assert len(reasons) <= 2
    assert reasons[0].against in ("driver-dead", "no-inputs")
    assert reasons[0].weight > math.log(10)


def test_the_best_test_tells_what_is_left() -> None:
    """A steady switched side leaves wire, driver, inputs and a shorted primary: one that was done is not named."""
    found = weighed(*facts(FEED_LIT, STEADY)).best_test()
    assert found is not None
    step, gain = found
    assert step.name not in ("feed-while-cranking", "switched-while-cranking")
    assert gain >= 0.1
    done = [(name, step) for name, step in STEPS if key_of(step) in KNOWLEDGE.circuits[CIRCUIT].shares]  # type: ignore[union-attr]
    tests = [WeighedResult(name, step.name, step.choices()[0].outcome, 0.99) for name, step in done]
    assert weighed(*tests).best_test() is None


def test_a_test_is_said_to_tell_apart_what_it_does() -> None:
    """The driver end parts an open control wire from what leaves it lit; a test that tells nothing is not praised."""
    found = weighed(*facts(FEED_LIT, STEADY))
    pair = found.told_apart(LIBRARY.step("coil-control", "driver-end-while-cranking"))
    assert pair is not None
    assert "control-wire-open" in pair
    assert found.told_apart(LIBRARY.step("driver-supply-and-inputs", "security-lamp")) is None


@pytest.mark.parametrize(
    ("how", "confidence", "confirmed", "sure"),
    [
        ("voice", 0.9, "taken", 0.9),
        ("voice", 0.9, "read back", 0.95),
        ("voice", 0.9, "affirmed", 0.99),
        ("keypad", 1.0, "taken", 0.995),
        ("voice", 0.0, "taken", 0.5),
        ("meter", 1.0, "affirmed", 1.0),
        ("ear", 0.8, "affirmed", 0.98),
    ],
)
def test_how_sure_a_record_is(how: str, confidence: float, confirmed: str, sure: float) -> None:
    """Confidence is a probability; a read-back takes errors away; a key slips now and then, a meter's number never."""
    assert sureness(how, confidence, confirmed, LIMITS) == pytest.approx(sure)


# --- the file -------------------------------------------------------------------------------------

GOOD = {
    "format": FORMAT,
    "version": "abc",
    "circuits": {
        "c": {
            "systems": 2,
            "mechanisms": [["open-feed", "fuse-blown"], ["open-primary", "winding-open"]],
            "tests": {"t": {"lit": "00006464", "dark": "c8c86464"}},
        }
    },
}


def test_a_table_is_read() -> None:
    """Two digits for each hypothesis, those of one mechanism side by side; shares sum to 1."""
    version, circuits = parse_table(json.dumps(GOOD).encode(), "likelihoods.json")
    assert version == "abc"
    wanted = ("open-feed", "open-feed", "open-primary", "open-primary")
    half = 0x64 / FULL
    assert circuits["c"] == Hypotheses(
        wanted, {"t": {"lit": (0.0, 0.0, half, half), "dark": (1.0, 1.0, half, half)}}
    )


def _without(*path: str) -> dict[str, object]:
    body = json.loads(json.dumps(GOOD))
    part = body
    for name in path[:-1]:
        part = part[name]
    del part[path[-1]]
    return body  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    "body",
    [
        b"{",
        b"[]",
        b'{"format": "something else"}',
        *(json.dumps(_without(name)).encode() for name in GOOD),
        *(
            json.dumps(_without("circuits", "c", name)).encode()
            for name in ("systems", "mechanisms", "tests")
        ),
        json.dumps(GOOD).replace("00006464", "000064").encode(),
        json.dumps(GOOD).replace("00006464", "nonsense").encode(),
        json.dumps(GOOD).replace("00006464", "00000000").replace("c8c86464", "00000000").encode(),
    ],
)
def test_a_damaged_table_is_refused_with_its_remedy(body: bytes) -> None:
    """For any damage, a sentence names the file and how to write it again."""
    with pytest.raises(FileProblem, match=r"likelihoods\.json.*lint --write-likelihoods"):
        parse_table(body, "likelihoods.json")


def test_a_test_is_named_by_all_that_makes_its_result() -> None:
    """Another limit, place, engine state or unplugged part is another test; the same one in two procedures is one."""
    keys = [key_of(step) for _, step in STEPS]
    by_key = {key: step for key, (_, step) in zip(keys, STEPS, strict=True)}
    for (key, step), (other_key, other) in itertools.combinations(by_key.items(), 2):
        same = (step.measure, [answer.outcome for answer in step.choices()]) == (
            other.measure,
            [answer.outcome for answer in other.choices()],
        )
        assert key != other_key
        assert not same or step.reading != other.reading
    assert len(by_key) < len(keys)


def test_what_is_known_can_go_to_another_process() -> None:
    """A library with its likelihoods and odds survives pickling, as the proof of procedures needs it."""
    loaded = load_folder(directory("procedures"))
    assert pickle.loads(pickle.dumps(loaded)) == loaded  # noqa: S301  our own bytes
