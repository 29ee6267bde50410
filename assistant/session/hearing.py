"""What a session hears with: the recogniser, the grammars, and the technician's learnt voice."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.core.dialogue.sayable import requests_of
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.recogniser import Recogniser
from assistant.learning.hearer import Hearer
from assistant.record.header import HEADER_FILE, HeardBy, parse_header
from assistant.record.storage import read_file
from assistant.record.summaries import session_named

if TYPE_CHECKING:
    from contextlib import ExitStack

    from assistant.core.library.library import Library
    from assistant.core.values.thresholds import Thresholds
    from assistant.hearing.ear import Ear, Reports
    from assistant.hearing.own_voice import OwnVoice
    from assistant.session.settings import Settings


@dataclass(frozen=True)
class SessionEars:
    """What a session hears with.

    Attributes:
        recogniser: Turns sound into words.
        grammars: With the technician's own words.
        hearer: What is known of the technician.
        model: The model as it came, before it was fitted to a voice.
    """

    recogniser: Recogniser
    grammars: GrammarSet
    hearer: Hearer
    model: Path

    def heard_by(self) -> HeardBy:
        """What the record tells of it."""
        return self.hearer.heard_by(self.model)

    def ear(self, reports: Reports, thresholds: Thresholds, own_voice: OwnVoice | None = None) -> Ear:
        """An ear; arguments as for `Ear`."""
        from assistant.hearing.ear import Ear  # noqa: PLC0415

        voice = self.hearer.voice(self.model)
        return Ear(
            self.recogniser,
            self.grammars.request,
            reports,
            thresholds=thresholds,
            own_voice=own_voice,
            voice=voice,
        )


def hearing_of(settings: Settings, library: Library, grammars: GrammarSet, closing: ExitStack) -> SessionEars:
    """Open the model; every answer of every step is looked up in its vocabulary before the session starts.

    Args:
        settings: Of the session; one that is resumed keeps its technician and own words.
        library: The procedures.
        grammars: The grammars as they are in the files.
        closing: Removes what is needed meanwhile.

    Raises:
        BayAssistantError: Model, learnt voice or own words cannot be used.
    """
    from assistant.hearing.recogniser import find_model  # noqa: PLC0415
    from assistant.learning.hearer import hearer_again, hearer_of, with_own_words  # noqa: PLC0415

    model = find_model(settings.folders.model)
    if settings.resume is None:
        hearer = hearer_of(settings.facts.technician, settings.initials)
    else:
        header = resumed_folder(settings.sessions, settings.resume) / HEADER_FILE
        hearer = hearer_again(parse_header(read_file(header), HEADER_FILE).heard_by)
    recogniser = hearer.recogniser(model, closing)
    taught = grammars if hearer.learnt is None else with_own_words(grammars, hearer.learnt)
    for request in requests_of(library, witnesses=settings.gear.witnesses()):
        recogniser.fitting(taught.request(request))
    return SessionEars(recogniser, taught, hearer, model)


def hearing_remarks(hearing: SessionEars | None) -> tuple[str, ...]:
    """What the screen says first about the voice."""
    return () if hearing is None else hearing.hearer.remarks(hearing.model)


def resumed_folder(sessions: Path, named: str) -> Path:
    """The folder of the session to go on with, by its folder, its name, or ``last``.

    Raises:
        RecordProblem, UsageProblem: No session has this name.
    """
    path = Path(named)
    return path if named != "last" and path.is_dir() else session_named(sessions, named, unsealed=True)
