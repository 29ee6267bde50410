"""What was learnt, in a session and in `hear`."""

from __future__ import annotations

import dataclasses
import json
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest

from assistant import resources
from assistant.cli import main
from assistant.commands import sound_files
from assistant.core.values.own_word import OwnWord
from assistant.core.values.result import GrammarRequest, Result
from assistant.errors import ModelProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.voice_so_far import NEW_VOICE, VoiceSoFar
from assistant.learning import keeping
from assistant.learning.hearer import adapted, hearer_of, model_of
from assistant.learning.learnt import Learnt
from assistant.loading.folder import load_folder
from assistant.record import Facts, SessionLog
from assistant.record.header import HEADER_FILE, HeardBy, parse_header
from assistant.session.hearing import hearing_of, hearing_remarks
from assistant.session.settings import Settings

MODEL = resources.bundled_model()
LIT = OwnWord("shining", "outcome", "lit")
LAMP = GrammarRequest(("lit", "dim", "dark"))
SAM = Learnt(
    "Sam",
    "2026-11-28",
    model_of(MODEL),
    VoiceSoFar(4.0, {"x": 1.0}),
    np.full(1024, 0.1, np.float32),
    {},
    (LIT,),
)


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def test_a_session_hears_with_the_learnt_voice_and_goes_on_with_it(tmp_path: Path) -> None:
    """Fitted model, own words and header in a new session; resumed, it keeps them though they were forgotten."""
    keeping.keep(SAM)
    grammars = GrammarSet.load(resources.directory("grammars"))
    library, _ = load_folder(resources.directory("procedures"))
    wanted = Settings("no-start", Facts(technician="Sam"), tmp_path / "sessions")
    with ExitStack() as closing:
        made = hearing_of(wanted, library, grammars, closing)
        assert made.heard_by() == HeardBy("Sam", adapted=True, own=(LIT,))
        assert made.grammars.request(LAMP).parse("shining") == Result(outcome="lit")
        assert made.recogniser.path != MODEL
        assert made.hearer.voice(MODEL) == SAM.voice
        folder = made.recogniser.path
        assert folder.exists()
    assert not folder.exists()
    log = SessionLog.create(
        wanted.sessions, wanted.facts, resources.directory("procedures"), heard_by=made.heard_by()
    )
    log.close()
    keeping.forget("Sam")
    with ExitStack() as closing:
        again = hearing_of(dataclasses.replace(wanted, resume=str(log.folder)), library, grammars, closing)
        assert again.grammars.request(LAMP).parse("shining") == Result(outcome="lit")
        assert again.heard_by() == HeardBy("Sam", adapted=False, own=(LIT,))


def test_a_header_of_before_voices_were_learnt_is_nobodys(tmp_path: Path) -> None:
    """Old sessions have no such part; damage in it is found."""
    log = SessionLog.create(tmp_path, Facts(), resources.directory("procedures"))
    log.close()
    body = json.loads((log.folder / HEADER_FILE).read_bytes())
    del body["heard_by"]
    assert parse_header(json.dumps(body).encode(), "h").heard_by == HeardBy()


def test_what_another_model_heard_does_not_count() -> None:
    """Scales and means belong to the model of the lesson; own words count all the same."""
    keeping.keep(dataclasses.replace(SAM, model="1-0"))
    hearer = hearer_of("Sam")
    assert not hearer.fits(MODEL)
    assert hearer.voice(MODEL) == NEW_VOICE
    assert hearer.heard_by(MODEL) == HeardBy("Sam", adapted=False, own=(LIT,))
    with ExitStack() as closing:
        assert hearer.recogniser(MODEL, closing).path == MODEL


def test_a_lapsed_lesson_is_told_once_with_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`run`, `hear` and `learn --show` say that the voice is to be taught again; own words stay."""
    keeping.keep(SAM)
    assert hearer_of("Sam").lapsed(MODEL) == ()
    assert "fitted" in hearer_of("Sam").remarks(MODEL)[0]
    keeping.keep(Learnt("Kim", own=(LIT,)))
    assert hearer_of("Kim").lapsed(MODEL) == ()

    keeping.keep(dataclasses.replace(SAM, model="1-0"))
    first, lapse = hearer_of("Sam").remarks(MODEL)
    assert "fitted" not in first
    assert "own words: 1" in first
    assert "bay-assistant learn --technician Sam. Own words stay." in lapse
    grammars = GrammarSet.load(resources.directory("grammars"))
    library, _ = load_folder(resources.directory("procedures"))
    wanted = Settings("no-start", Facts(technician="Sam"), tmp_path / "sessions")
    with ExitStack() as closing:
        assert hearing_remarks(hearing_of(wanted, library, grammars, closing)) == (first, lapse)
    assert main(["learn", "--show", "--technician", "Sam"]) == 0
    assert capsys.readouterr().out.count(lapse) == 1
    sound = str(resources.directory("audio_fixtures") / "feed-lit.flac")
    assert main(["hear", "--grammar", "lamp", "--technician", "Sam", sound, sound]) == 0
    said = capsys.readouterr()
    assert " ".join(said.err.split()).count(lapse) == 1
    assert "Teach it again" not in said.out


def test_scales_that_do_not_fit_are_refused_in_a_sentence(tmp_path: Path) -> None:
    """A model with other sizes, or of another layout, is named with the remedy."""
    (tmp_path / "one").mkdir()
    with pytest.raises(ModelProblem, match="Learn the voice again"):
        adapted(MODEL, np.zeros(7, np.float32), tmp_path / "one")


def test_hear_uses_own_words_and_the_fitted_model() -> None:
    """Real sound in `hear`: the same words and an own word in its grammar, with the model of that voice."""
    keeping.keep(dataclasses.replace(SAM, scales=np.zeros(1024, np.float32)))
    lines: list[dict[str, object]] = []
    status = sound_files.run(
        [resources.directory("audio_fixtures") / "feed-lit.flac"],
        grammar="lamp",
        procedure=None,
        step=None,
        model=None,
        grammars=None,
        procedures=None,
        technician="Sam",
        write=lines.append,
    )
    assert status == 0
    assert lines[0]["words"] == "feed lit"
    asked = sound_files.asked_for("lamp", None, None, hearer=hearer_of("Sam"))
    assert asked.parse("shining") == Result(outcome="lit")
