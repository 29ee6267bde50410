"""The stage of a demonstration: a whole session with only its two ends replaced, on a clock that jumps."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from assistant.core.dialogue.runner import Runner
from assistant.demo.person import PlayedPerson
from assistant.hearing.ear import Ear, Reports
from assistant.loading.folder import load_folder
from assistant.rehearsal.player import MadeClock, SessionPlayer
from assistant.session.loop import Session
from assistant.speaking.output import NullPlayer
from assistant.speaking.track import SoundTrack

if TYPE_CHECKING:
    from assistant.core.values.witness import Witness
    from assistant.demo.scenario import Scenario
    from assistant.grammar.grammar_set import GrammarSet
    from assistant.hearing.recogniser import Recogniser
    from assistant.record import SessionLog
    from assistant.screen.terminal import Screen
    from assistant.speaking.voice import Voice


class Stage:
    """A session with the played person in the place of microphone and keys, and a sound track for a loudspeaker.

    Args:
        scenario: The job and the person's turns.
        log: The record.
        recogniser: The recogniser.
        grammars: All grammars.
        clock: The clock.
        voice: Renders what the assistant says.
        screen: Shows the dialogue.
        person_class: Class of the person; another one can decide its turns as it goes along.
    """

    def __init__(
        self,
        scenario: Scenario,
        log: SessionLog,
        recogniser: Recogniser,
        grammars: GrammarSet,
        clock: MadeClock,
        voice: Voice,
        screen: Screen,
        person_class: type[PlayedPerson] = PlayedPerson,
    ) -> None:
        self.clock = clock
        self.track = SoundTrack()
        self.player = NullPlayer(clock, self.track)
        runner = Runner(*load_folder(log.procedures), log.header.thresholds)
        self.session = Session(
            runner=runner, log=log, voice=voice, output=self.player, screen=screen, now=clock
        )
        self.person = person_class(
            deque(scenario.turns), clock, self.track, lambda: runner.state, self.session.press
        )
        reports = Reports(
            happened=self.session.happened,
            keep_clip=log.keep_clip,
            speech_began=self.session.speech_began,
            speech_ended=self.session.speech_ended,
        )
        self.person.ear = Ear(recogniser, grammars.request, reports, thresholds=log.header.thresholds)
        self.session.ears = self.person
        self._procedure = scenario.procedure
        self._playing = SessionPlayer(self.session, clock, self.player, self.person)

    def play(self, witnesses: tuple[Witness, ...] = ()) -> None:
        """Let everything happen in its order until the session is over or nothing more can come.

        Args:
            witnesses: What perceives in place of the person; somebody else posts what they perceive.
        """
        self.session.begin(self._procedure, witnesses=witnesses)
        silent = 0
        while not self.session.finished and not self.session.left():
            if self.session.drain():
                continue
            silent = silent + 1 if self._playing.idle else 0
            due = self._playing.next_due()
            if due is None or silent > 8:  # only silence is left: the scenario is over
                self.session.close("the scenario is over")
                self.session.drain()
                return
            self._playing.reach(due)
