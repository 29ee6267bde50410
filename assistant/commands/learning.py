"""The work of `bay-assistant learn`."""

from __future__ import annotations

import io
import random
import shutil
import sys
import wave
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from assistant.commands.console import print_json, remark
from assistant.commands.options import grammars_folder, procedures_folder
from assistant.commands.time_left import TimeLeft
from assistant.errors import GearProblem, UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import RATE
from assistant.learning import advice, keeping
from assistant.learning.hearer import Hearer, with_own_words
from assistant.learning.learnt import Learnt
from assistant.learning.own_words import check, own_word
from assistant.loading.folder import load_library
from assistant.session.settings import Gear

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

    from assistant.commands.settled import Settled
    from assistant.core.values.own_word import OwnWord
    from assistant.learning.conclusion import Conclusion
    from assistant.learning.takes import Take

LEAST_TAKES = 6
"""Fewest takes from which something is learnt."""

_ENDED_AT_ONCE = "Ended at once. Nothing was learnt from this lesson; what was known before is unchanged."


def technician(options: argparse.Namespace) -> str:
    """The name that is given, else the only one that is known.

    Raises:
        UsageProblem: Several are known, and none is named.
    """
    if options.technician:
        return " ".join(str(options.technician).split())
    known = keeping.every()
    if len(known) > 1:
        names = ", ".join(one.technician for one in known)
        raise UsageProblem(f"The voices of {names} have been learnt. Say whose you mean: --technician NAME.")
    return known[0].technician if known else keeping.NOBODY


def named_by(settled: Settled, given: str) -> str:
    """The name of the technician of these initials, unless a voice was learnt under the initials themselves."""
    name = settled.name_of(given)
    return given if name == given or keeping.read(given) is not None else name


def _called(name: str) -> str:
    """The technician in a sentence; one without a name is "the technician"."""
    return "the technician" if name == keeping.NOBODY else name


def show(options: argparse.Namespace) -> int:
    """Print what is known of one technician, or of all.

    Raises:
        UsageProblem: A file or an own word cannot be used.
        ModelProblem: The model cannot be used.
    """
    grammars = GrammarSet.load(grammars_folder(options))
    found = [keeping.read(options.technician)] if options.technician else list(keeping.every())
    known = [one for one in found if one is not None]
    if options.json:
        print_json([_as_json(one) for one in known])
        return 0
    if not known and options.technician:
        print(f"Nothing has been learnt about {technician(options)}.")
    elif not known:
        print("No voice has been learnt yet. To learn one: bay-assistant learn")
    for one in known:
        for line in Hearer(one).remarks(find_model(options.model)):
            print(line)
        for line in advice.lines(one, with_own_words(grammars, one)):
            print(f"  {line}")
        print(f"  It is kept in {keeping.file_of(one.technician)} and never leaves this machine.")
    return 0


def _as_json(known: Learnt) -> dict[str, Any]:
    return {
        "technician": known.technician,
        "day": known.day,
        "path": str(keeping.file_of(known.technician)),
        "fitted": known.scales.size > 0,
        "answers": {words: {"right": one.right, "of": one.of} for words, one in known.scores.items()},
        "own_words": [_own_json(one) for one in known.own],
    }


def _own_json(word: OwnWord) -> dict[str, str]:
    return {"words": word.words, "means": word.means}


def _done(options: argparse.Namespace, result: dict[str, Any], sentence: str) -> int:
    """Print what was done: as JSON, or as a sentence."""
    if options.json:
        print_json(result)
    else:
        print(sentence)
    return 0


def forget(options: argparse.Namespace) -> int:
    """Throw away own words, or all of a technician.

    Raises:
        UsageProblem: There is nothing of that kind.
    """
    name = technician(options)
    if not options.forget:
        shutil.rmtree(_sound_folder(name), ignore_errors=True)
        was_known = keeping.forget(name)
        return _done(
            options,
            {"technician": name, "forgotten": was_known},
            f"Everything learnt about {_called(name)} has been thrown away."
            if was_known
            else f"Nothing had been learnt about {_called(name)}.",
        )
    known = keeping.read(name)
    words = " ".join(options.forget.lower().split())
    if known is None or words not in [one.words for one in known.own]:
        raise UsageProblem(
            f"'{words}' is not among the own words of {_called(name)}. 'learn --show' lists them."
        )
    keeping.keep(replace(known, own=tuple(one for one in known.own if one.words != words)))
    return _done(
        options, {"technician": name, "forgotten": True, "words": words}, f"'{words}' has been forgotten."
    )


def teach_word(options: argparse.Namespace) -> int:
    """Add own words after a check.

    Raises:
        UsageProblem: They cannot be used; says why, and where.
    """
    name = technician(options)
    known = keeping.read(name) or Learnt(name)
    grammars = GrammarSet.load(grammars_folder(options))
    word = own_word(options.word, options.means, grammars, known.own)
    result = {"technician": name, **_own_json(word)}
    if word in known.own:
        return _done(options, {**result, "new": False}, f"'{word.words}' means {word.means} already.")
    check(word, grammars, load_library(procedures_folder(options)), known.own)
    keeping.keep(replace(known, own=(*known.own, word)))
    return _done(
        options,
        {**result, "new": True},
        f"From now on '{word.words}' means {word.means} when {_called(name)} answers.",
    )


def teach_voice(options: argparse.Namespace) -> int:
    """Hold a lesson, learn from it, and say what came of it; 1 if it was too short.

    Raises:
        BayAssistantError: The gear, the model or the settings folder cannot be used.
    """
    from assistant.learning.conclusion import concluded  # noqa: PLC0415
    from assistant.learning.lesson import Lesson  # noqa: PLC0415
    from assistant.learning.prompts import prompts  # noqa: PLC0415
    from assistant.learning.sitting import sit  # noqa: PLC0415
    from assistant.session.ending import Ending  # noqa: PLC0415

    if sys.stdin is None:
        raise GearProblem("No keys can be read: standard input is closed. Start bay-assistant in a terminal.")
    name = technician(options)
    with Ending(last_words=_ENDED_AT_ONCE) as ending:
        ending.begin()
        known = keeping.read(name) or Learnt(name)
        grammars = with_own_words(GrammarSet.load(grammars_folder(options)), known)
        library = load_library(procedures_folder(options))
        recogniser = Recogniser(find_model(options.model))
        listed = prompts(library, grammars, known.own, random.Random())  # noqa: S311  an order, no secret
        lesson = Lesson(listed, library, grammars)
        sit(lesson, recogniser, grammars, _gear(options), ending)
        said = len(lesson.takes)
        if said < LEAST_TAKES:
            print(f"Too few words were said: {said}, and it takes {LEAST_TAKES}. Nothing was changed.")
            return 1
        early = "The lesson was ended early; what was said so far counts. " if ending.asked else ""
        remark(f"{early}Learning from {said} words …")
        today = f"{datetime.now().astimezone():%Y-%m-%d}"
        with TimeLeft("Learning") as left:
            done = concluded(known, lesson.takes, recogniser, grammars, today, left.show)
        path = keeping.keep(done.learnt)
    if options.keep_sound:
        _keep_sound(_sound_folder(name), lesson.takes)
    _tell(done)
    for line in advice.lines(done.learnt, grammars):
        print(line)
    sound = f"The sound is in {_sound_folder(name)}" if options.keep_sound else "The sound was not kept"
    print(f"{sound}. What was learnt is in {path} and never leaves this machine.")
    print(
        f"'run --technician {name}' uses it from now on."
        if len(keeping.every()) > 1
        else "'run' uses it from now on."
    )
    return 0


def _gear(options: argparse.Namespace) -> Gear:
    return Gear(
        microphone=options.microphone,
        speaker=options.speaker,
        voice=options.voice,
        speech_rate=options.speech_rate,
    )


def _tell(done: Conclusion) -> None:
    if done.learnt.scales.size:
        print(
            f"Of the {done.checked} words that only check, {done.before} were understood before the lesson, and "
            f"{done.after} are now."
        )
        return
    print(f"Of the {done.checked} words that only check, {done.before} were understood.")
    print(
        "Too few words were said to fit the recogniser to your voice, so it stays as it was."
        if done.short
        else "Fitting the recogniser to your voice did not help with them, so it stays as it was."
    )


def _sound_folder(name: str) -> Path:
    return keeping.file_of(name).with_suffix(".sound")


def _keep_sound(folder: Path, takes: list[Take]) -> None:
    """Write the takes as WAV files that only the user can read."""
    from assistant.record.storage import make_private_folder, write_file  # noqa: PLC0415

    shutil.rmtree(folder, ignore_errors=True)
    make_private_folder(folder)
    for number, take in enumerate(takes, 1):
        data = io.BytesIO()
        with wave.open(data, "wb") as file:
            file.setparams((1, 2, RATE, 0, "NONE", ""))
            file.writeframes(take.sound.astype("<i2").tobytes())
        write_file(folder / f"{number:02d}-{take.prompt.words.replace(' ', '-')}.wav", data.getvalue())
