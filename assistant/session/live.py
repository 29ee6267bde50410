"""A session on real sound: puts the gear together, runs the loop, writes the session up."""

from __future__ import annotations

import shlex
import shutil
import sys
import time
from contextlib import ExitStack
from datetime import datetime
from typing import TYPE_CHECKING

from assistant.core.dialogue.runner import Runner
from assistant.errors import GearProblem, RecordBroken, RecordProblem
from assistant.loading.folder import load_folder
from assistant.places import sessions_folder
from assistant.record import SessionLog
from assistant.record.header import HeardBy, SpokenBy
from assistant.record.history import read_history
from assistant.record.recorded import repeated_sentence
from assistant.record.storage import write_file
from assistant.record.told import told_on
from assistant.screen.plain import Level
from assistant.screen.terminal import open_screen
from assistant.session.against_noise import AgainstNoise
from assistant.session.awake import Awake
from assistant.session.boarding import Boarding
from assistant.session.edges import GearNews, open_gear, open_voice
from assistant.session.ending import Ending
from assistant.session.hearing import hearing_of, hearing_remarks, resumed_folder
from assistant.session.keyed import open_keys, open_pad
from assistant.session.loop import Ears, Session
from assistant.session.procedures_used import folder_of, opened
from assistant.session.shop import counted_sentence, lamp_remarks, left_out_sentence
from assistant.session.silent import silent_remarks
from assistant.session.telephone import tell_of_telephones
from assistant.session.watching import open_devices, open_witnesses
from assistant.speaking.neural.pronouncing import use_lexicon

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.core.library.terms import Terms
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.reasoning.odds import Findings
    from assistant.record import RecordedSession
    from assistant.screen.terminal import Screen
    from assistant.session.edges import OpenedMicrophone
    from assistant.session.hearing import SessionEars
    from assistant.session.settings import Settings
    from assistant.speaking.voice import Voice

WRITE_UP = "write-up"
"""Name of the write-up's files in the session folder, without suffix."""

NO_HEADSET = "The microphone hears the loudspeaker loudly. Without a headset, start again without --headset."


def run(settings: Settings) -> int:
    """Run a live session to its end and write it up.

    The program refuses whatever it must refuse before it makes a session folder.
    From then on SIGINT, SIGTERM and SIGHUP close the session in good order: it is recorded as interrupted, written
    up, and can be resumed.

    Raises:
        BayAssistantError: Something that is needed is missing or wrong, or the record cannot be written.
    """
    with Ending() as ending, Boarding(settings.board) as board:
        return _run(settings, ending, board)


def _run(settings: Settings, ending: Ending, board: Boarding) -> int:
    using = opened(settings)
    use_lexicon(using.grammars.lexicon.path)
    if settings.resume is None:
        using.library.procedure(settings.procedure)
    wanted = settings.gear
    # The screen is left last: what the sound libraries write while they are closed does not reach the terminal.
    with ExitStack() as shown, ExitStack() as gear:
        pad, devices = open_pad(wanted.pad, gear), open_devices(wanted.perceiving)
        hearing = None if wanted.keys_only else hearing_of(settings, using.library, using.grammars, gear)
        begun = time.monotonic()
        news = GearNews(keys_only=wanted.keys_only and not board.there)
        output, microphone = open_gear(wanted, news, gear)
        findings, of_past = _findings(settings, using.library.terms, using.knowledge)
        remarks = (*using.remarks, *of_past, *lamp_remarks(settings, using.library.terms))
        ending.begin()
        gear.callback(Awake().close)
        log, voice = _log_and_voice(settings, findings, hearing.heard_by() if hearing else HeardBy())
        gear.callback(log.close)
        begun_in = log.folder
        runner = _runner(log)
        begun -= _gone_by(log.recorded)
        now = _clock(begun)
        board.begin(runner, now, settings.sessions, ending.due)
        lines = wanted.plain or (wanted.silent and _too_small())
        screen = board.beside(open_screen(sys.stdout, now, lines=lines, invitation=board.invitation))
        shown.callback(screen.close)
        session = Session(
            runner=runner,
            log=log,
            voice=voice,
            output=output,
            screen=screen,
            now=now,
            headset=wanted.headset,
        )
        news.session = session
        board.join(session)
        ending.tell(lambda: session.leave("interrupted"))
        if hearing is not None and microphone is not None:
            quieter = AgainstNoise(voice, headset=wanted.headset)
            session.ears = _listener(session, hearing, microphone, log, screen, quieter)
            gear.callback(session.ears.close)
        session.watch = open_witnesses(devices, microphone, session.happened, log.keep_capture, gear)
        open_keys(pad, session, news, gear)
        tell_of_telephones(wanted, session.tell, gear)
        for remark in (*silent_remarks(wanted), *remarks, *hearing_remarks(hearing)):
            screen.notice(remark, now())
        _enter(session, settings, log, lambda text: screen.notice(text, now()))
        _lead(session, settings, log)
        finished = session.outcome in ("verdict", "closed")
        if finished:
            log.seal()
        path = log.folder
    _write_up(path)
    if path != begun_in:
        print(f"The record is in another place than it began in: {path}")
    _tell_of_end(path, None if finished else _go_on(settings, path))
    board.linger(path, ending.due)
    return 0


def _tell_of_end(path: Path, go_on: str | None) -> None:
    """Print where the session is, and the command that goes on with it if it is not closed."""
    print(f"Session {path.name} is {'closed.' if go_on is None else f'open; go on with: {go_on}'}")
    print(f"Write-up: {path / WRITE_UP}.txt and .html")


def _runner(log: SessionLog) -> Runner:
    """The dialogue with all recorded events; it uses the procedures that were copied into the session."""
    runner = Runner(*load_folder(log.procedures), log.header.thresholds)
    for line in log.recorded.lines if log.recorded is not None else ():
        runner.recall(line.event)
    return runner


def _lead(session: Session, settings: Settings, log: SessionLog) -> None:
    """Run the session to its end.

    Raises:
        RecordProblem: The record cannot be written any more; says how to go on.
    """
    try:
        session.run()
    except RecordProblem as problem:
        raise RecordProblem(
            f"{problem} What was confirmed is safe; then go on with: {_go_on(settings, log.folder)}"
        ) from problem


def _enter(session: Session, settings: Settings, log: SessionLog, notice: Callable[[str], None]) -> None:
    """Begin the dialogue, or go on with it and say in which state it was found."""
    left_out, witnesses = settings.gear.left_out(), settings.gear.witnesses()
    told = told_on(log.header.started.date(), log.folder.parent)
    if log.recorded is None:
        session.begin(settings.procedure, settings.facts.typed(), told, left_out, witnesses)
        return
    if not log.recorded.lines:
        notice("This session was broken off before anything was recorded; it begins anew.")
        session.begin(settings.procedure, log.header.facts.typed(), told, left_out, witnesses)
        return
    if log.torn:
        notice(f"An unfinished last line ({log.torn} bytes) was set aside.")
    if log.recorded.repeated:
        notice(repeated_sentence(log.recorded.repeated))
    session.resume(left_out, witnesses)


def _go_on(settings: Settings, folder: Path) -> str:
    """The command that goes on with the session that was interrupted last, ready to paste."""
    if not _same_folder(folder.parent, settings.sessions):
        return shlex.join(["bay-assistant", "run", "--resume", str(folder)])
    words = ["bay-assistant", "run", "--resume", "last"]
    if settings.sessions != sessions_folder():
        words += ["--sessions", str(settings.sessions)]
    return shlex.join(words)


def _same_folder(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _too_small() -> bool:
    """Whether a caution may not fit on the screen; if nothing is spoken, the dialogue is then printed line by line."""
    size = shutil.get_terminal_size()
    return size.columns < 80 or size.lines < 24


def _gone_by(recorded: RecordedSession | None) -> float:
    """Seconds since the session began: the time of the interruption counts, because a starter rests in it."""
    if recorded is None:
        return 0.0
    last = recorded.lines[-1].event.at if recorded.lines else 0.0
    return max(last, (datetime.now().astimezone() - recorded.header.started).total_seconds())


def _clock(begun: float) -> Callable[[], float]:
    return lambda: round(time.monotonic() - begun, 3)


def _listener(
    session: Session,
    hearing: SessionEars,
    microphone: OpenedMicrophone,
    log: SessionLog,
    screen: Screen,
    against_noise: AgainstNoise,
) -> Ears:
    from assistant.hearing.ear import Reports  # noqa: PLC0415
    from assistant.hearing.listener import Listener  # noqa: PLC0415
    from assistant.hearing.own_voice import OwnVoice  # noqa: PLC0415

    def metered(noise_db: float, level_db: float) -> None:
        screen.level(Level(level_db, noise_db))
        against_noise.measured(ear.margin_db)

    reports = Reports(
        happened=session.happened,
        keep_clip=log.keep_clip,
        speech_began=session.speech_began,
        speech_ended=session.speech_ended,
        level=metered,
    )
    thresholds, played = log.header.thresholds, microphone.played
    if played is None:
        ear = hearing.ear(reports, thresholds)
        return Listener(ear, microphone, session.happened)
    own_voice = OwnVoice(
        played.between,
        lambda: played.breaks,
        loud=lambda: session.tell(NO_HEADSET),
        speech_db=thresholds.speech_level_db,
    )
    ear = hearing.ear(reports, thresholds, own_voice)
    return Listener(ear, microphone, session.happened, played.pass_by)


def _findings(
    settings: Settings, terms: Terms, knowledge: Knowledge | None
) -> tuple[Findings | None, list[str]]:
    """The findings of this shop on past cars, for a new session, and remarks about them for the screen."""
    if settings.resume is not None or not settings.history or knowledge is None:
        return None, []
    history = read_history(settings.sessions, terms)
    remarks = [left_out_sentence(history.left_out)] if history.left_out else []
    if not history.counted:
        return None, remarks
    if not knowledge.odds.weight_cars:
        return None, [*remarks, "The findings of this shop are not counted: odds.yaml has no weight_cars."]
    return history.findings(), [counted_sentence(len(history.counted)), *remarks]


def _log_and_voice(
    settings: Settings, findings: Findings | None, heard_by: HeardBy
) -> tuple[SessionLog, Voice]:
    """The record and the voice; a wrong voice is refused before a new record is made, and a resumed one has its own."""
    gear = settings.gear
    if settings.resume is None:
        voice = open_voice(gear, SpokenBy())
        spoken_by = SpokenBy() if gear.silent else SpokenBy(voice.voice_name, voice.rate_words_per_minute)
        made = SessionLog.create(
            settings.sessions,
            settings.facts,
            folder_of(settings),
            findings=findings,
            spoken_by=spoken_by,
            heard_by=heard_by,
            shop=settings.shop,
        )
        return made, voice
    log = SessionLog.resume(resumed_folder(settings.sessions, settings.resume))
    try:
        return log, open_voice(gear, log.header.spoken_by)
    except GearProblem:
        log.close()
        raise


def _write_up(folder: Path) -> None:
    """Put the write-up beside the record; an unreadable record is reported, not hidden."""
    from assistant.writeup import write_forms  # noqa: PLC0415  not needed to begin

    try:
        for suffix, form in write_forms(folder):
            write_file(folder / f"{WRITE_UP}{suffix}", form.encode("utf-8", "replace"))
    except RecordBroken as broken:
        raise RecordProblem(
            f"The session is kept in {folder}, but cannot be written up: {broken}"
        ) from broken
