"""Pairs of faults led through: which there are, that they come out the same, and what is counted."""

from __future__ import annotations

import pytest
from leading import COIL
from shipped import shipped_library

from assistant.circuit.catalogue import NONE, mechanisms
from assistant.errors import UsageProblem
from assistant.proof import pairs as proof_pairs
from assistant.proof.pairs import Pair, holds, mean_of, pairs_of, prove_pairs

LIBRARY = shipped_library()


def test_every_two_ways_of_different_faults_are_a_pair_once() -> None:
    """Not two ways of one fault, none with a sound car, and none where both change the same thing."""
    pairs = pairs_of(COIL)
    names = [frozenset(((one.fault, one.name), (other.fault, other.name))) for one, other in pairs]
    assert len(set(names)) == len(names)
    for one, other in pairs:
        assert NONE not in (one.fault, other.fault)
        assert one.fault != other.fault
        assert not {each.name for each in one.changes} & {each.name for each in other.changes}
    ways = [one for one in mechanisms(COIL) if one.fault != NONE]
    assert len(pairs) > 0.8 * len(ways) * (len(ways) - 1) / 2


def test_pairs_come_out_the_same_with_one_process_and_two(monkeypatch: pytest.MonkeyPatch) -> None:
    """To the last digit: what is drawn belongs to car and fault, not to the piece of the work."""
    some = pairs_of(COIL)[:80]
    monkeypatch.setattr(proof_pairs, "pairs_of", lambda _circuit: some)
    one = prove_pairs(LIBRARY, "feed-dead", cars=2, processes=1)
    two = prove_pairs(LIBRARY, "feed-dead", cars=2, processes=2)
    assert one == two
    assert len(one) == 80
    assert all(0 <= pair.part <= 1.0001 and 0 <= pair.found <= 1.0001 for pair in one)
    assert any(pair.cars for pair in one)


def test_the_limits_are_one_for_each_pair_and_one_for_their_mean() -> None:
    """One bad pair fails, many that are a little bad fail, and a pair that no car counts for says nothing."""
    good, bad = Pair("a", "b", 10, 0.0, 1.0), Pair("a", "c", 10, 0.06, 0.9)
    slight, empty = Pair("a", "d", 10, 0.01, 0.9), Pair("a", "e", 0, 0.0, 0.0)
    assert holds([good] * 100)
    assert not holds([good] * 100 + [bad])
    assert not holds([slight] * 10)
    assert mean_of([slight, empty]) == pytest.approx(0.01)
    assert mean_of([empty]) == 0


def test_an_unknown_procedure_is_refused() -> None:
    """Before anything is simulated."""
    with pytest.raises(UsageProblem, match="There is no procedure 'no-such'"):
        prove_pairs(LIBRARY, "no-such")
