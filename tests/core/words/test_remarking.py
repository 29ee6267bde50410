"""Sentences that are made from the terms."""

from __future__ import annotations

from assistant import resources
from assistant.core.words import remarking
from assistant.loading.folder import load_library

LIBRARY = load_library(resources.directory("procedures"))


def test_a_procedure_that_is_started_alone_says_what_it_presumes_to_be_good() -> None:
    """A test of coil and driver with a weak battery condemns good parts; who starts with it is told once."""
    library = LIBRARY
    control = library.procedures["coil-and-driver"]
    alone = remarking.procedure_intro(library.terms, control, control.presumes_no)
    assert alone == f"{control.title}. Assumed good: battery and cables."
    assert remarking.procedure_intro(library.terms, control) == f"{control.title}."
    battery = library.procedures["battery-and-cranking"]
    assert remarking.procedure_intro(library.terms, battery, battery.presumes_no) == f"{battery.title}."


def test_every_shipped_stop_speaks_its_next_check_and_shows_value_source_and_way_back() -> None:
    """Where the tests end without a part, the technician hears what to do and reads what is good and where to go on."""
    for name, procedure in LIBRARY.procedures.items():
        for verdict in procedure.verdicts.values():
            if verdict.part or verdict.continue_with:
                continue
            check = verdict.next_check
            assert check is not None, f"{name}: {verdict.name}"
            assert remarking.verdict_text(verdict).endswith(f" {check.do}")
            shown = remarking.check_written(LIBRARY, check)
            assert check.do in shown
            assert f"Good: {check.value} ({check.source})." in shown
            title = LIBRARY.procedures[check.come_back].title if check.come_back in LIBRARY.procedures else ""
            assert not check.come_back or (f"'{title}'" if title else check.come_back) in shown


def test_a_verdict_without_a_next_check_says_nothing_of_one() -> None:
    """A verdict that names a part ends with its own words."""
    verdict = LIBRARY.procedures["spark-check"].verdicts["coil-fails-swapped"]
    assert verdict.next_check is None
    assert remarking.verdict_text(verdict) == f"Result. {verdict.says}"
