"""Sentences that are made from the terms."""

from __future__ import annotations

from assistant import resources
from assistant.core.words import remarking
from assistant.loading.folder import load_library


def test_a_procedure_that_is_started_alone_says_what_it_presumes_to_be_good() -> None:
    """A test of coil and driver with a weak battery condemns good parts; who starts with it is told once."""
    library = load_library(resources.directory("procedures"))
    control = library.procedures["coil-and-driver"]
    alone = remarking.procedure_intro(library.terms, control, control.presumes_no)
    assert alone == f"{control.title}. Presumed good: battery and cables."
    assert remarking.procedure_intro(library.terms, control) == f"{control.title}."
    battery = library.procedures["battery-and-cranking"]
    assert remarking.procedure_intro(library.terms, battery, battery.presumes_no) == f"{battery.title}."
