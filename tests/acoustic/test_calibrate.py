"""The fit of the confidence, on made cases with a known answer, and end to end on a few real sounds."""

from __future__ import annotations

import itertools
import json
import math
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from assistant.acoustic import calibrate, figures, fitting, in_noise, prices, trials
from assistant.acoustic.fitting import Softening, Stated
from assistant.acoustic.in_noise import CONDITIONS, HeardInNoise
from assistant.core.values.answer_kind import AnswerKind
from assistant.errors import UsageProblem
from assistant.hearing.recogniser import find_model
from assistant.hearing.sound import RATE, level_db, read_sound
from assistant.hearing.voice_so_far import PRIOR
from assistant.measured import CALIBRATION, FILE, Calibration

SOUNDS = Path(__file__).parent.parent / "hearing" / "sounds"


def made_up(count: int, seed: int = 1) -> list[HeardInNoise]:
    """Utterances of four voices whose log-odds of being right are 1 + 2 x ahead, whatever the pace is."""
    generator = np.random.default_rng(seed)
    heard = []
    for number in range(count):
        ahead, pace = generator.normal(0, 1.5), generator.normal(3, 2)
        right = bool(generator.random() < 1 / (1 + math.exp(-(1 + 2 * ahead))))
        measures = {"ahead": ahead, "pace": pace}
        heard.append(
            HeardInNoise(
                f"voice {number % 4}",
                CONDITIONS[number // 4 % len(CONDITIONS)],
                "answers",
                other=False,
                phrase=True,
                right=right,
                measures=measures,
            )
        )
    return heard


def test_the_fit_finds_the_probability_that_made_the_cases() -> None:
    """The trees give back the probabilities of a known model, and do not move with what does not matter."""
    found = fitting.fit(made_up(20_000), ("ahead", "pace"))
    for ahead in (-2.0, -1.0, 0.0, 1.0):
        true = 1 / (1 + math.exp(-(1 + 2 * ahead)))
        assert pytest.approx(true, abs=0.07) == found.probability({"ahead": ahead, "pace": 3.0})
        assert pytest.approx(true, abs=0.07) == found.probability({"ahead": ahead, "pace": 5.0})


def test_stated_and_found_agree_on_voices_that_were_not_fitted() -> None:
    """The stated probability is the share that is right, in every bin, on the other voices."""
    surer, _ = fitting.across(made_up(12_000), ("ahead", "pace"))
    judged = Softening.of(surer).judged(surer)
    for stated, found, count in figures.reliability(judged):
        assert abs(stated - found) < 0.02 + 4 * math.sqrt(0.25 / count)
    assert figures.quality(judged)["calibration error"] < 0.02


def test_a_measure_never_works_against_its_direction() -> None:
    """More of a measure that can only speak for an answer never makes it less likely, whatever the cases say."""
    turned = [replace(h, measures={"ahead": -h.measures["ahead"], "pace": 3.0}) for h in made_up(3_000)]
    found = fitting.fit([*made_up(3_000, seed=2), *turned[:1500]], ("ahead", "pace"))
    chances = [found.probability({"ahead": at, "pace": 3.0}) for at in np.linspace(-6, 6, 200)]
    assert all(later >= before - 1e-9 for before, later in itertools.pairwise(chances))


def test_a_known_voice_is_judged_by_what_it_said_before() -> None:
    """Of two kinds of voices one fits the model badly and is right all the same: once known, it is believed."""
    generator = np.random.default_rng(5)
    heard = []
    for number in range(4_000):
        voice, right = number % 8, bool(generator.random() < 0.5)
        fit = generator.normal(0, 0.3) + (1.0 if right else 0.0) - (2.0 if voice < 4 else 0.0)
        measures = {"fit": fit, "sure": 0.0}
        heard.append(replace(made_up(1)[0], voice=f"voice {voice}", right=right, measures=measures))
    names = ("fit", "voice-answers", "voice-fit")
    made = fitting.fit(heard, names)
    new = made.probability({"fit": -1.0})
    known = made.probability({"fit": -1.0, "voice-answers": 9.0, "voice-fit": -1.0 * 9 / (9 + PRIOR)})
    other = made.probability({"fit": -1.0, "voice-answers": 9.0, "voice-fit": 1.0 * 9 / (9 + PRIOR)})
    first, later = fitting.across(heard, names)
    assert len(heard) - 8 * 20 < len(later) < len(first) == len(heard)
    assert known > 0.9 > new > other
    assert other < 0.1


def test_what_is_too_sure_is_softened_in_trees_and_in_figures_alike() -> None:
    """Log-odds that are twice as large as they should be are halved; trees and stated probabilities agree."""
    generator = np.random.default_rng(7)
    blank = replace(made_up(1)[0], measures={})
    odds = generator.normal(0, 2, 20_000)
    right = generator.random(20_000) < 1 / (1 + np.exp(-odds))
    chances = 1 / (1 + np.exp(-2 * odds))
    surer = [Stated(replace(blank, right=bool(r)), float(c)) for r, c in zip(right, chances, strict=True)]
    softening = Softening.of(surer)
    assert pytest.approx(0.5, abs=0.03) == softening.slope
    assert pytest.approx(0.0, abs=0.05) == softening.shift
    fitted = fitting.fit(made_up(500), ("ahead",))
    one = Stated(made_up(1)[0], fitted.probability({"ahead": 0.5}))
    softer = replace(fitted, new=softening.forest(fitted.new)).probability({"ahead": 0.5})
    assert pytest.approx(softening.judged([one])[0].probability, abs=1e-3) == softer


def test_no_voice_is_in_two_parts() -> None:
    """The parts share no voice, hold all of them, and are about as large."""
    heard = made_up(400)
    parts = fitting.parts_of(heard, 2)
    assert not parts[0] & parts[1]
    assert {h.voice for h in heard} == parts[0] | parts[1]
    assert (2, 2) == (len(parts[0]), len(parts[1]))


def test_groups_that_must_be_refused_have_their_share_whatever_their_number() -> None:
    """A hundred near misses beside a hundred answers weigh as much as `SHARES` says."""
    answer = made_up(1)[0]
    miss = replace(answer, other=True, about="near misses", right=False)
    weights = fitting.case_weights([answer] * 100 + [miss] * 100)
    assert pytest.approx(100.0) == weights[:100].sum()
    assert pytest.approx(100 * fitting.SHARES["near misses"]) == weights[100:].sum()


def test_a_voice_is_known_by_its_right_answers_before() -> None:
    """The first utterance knows nothing of its voice, later ones know the right ones before them, no others do."""
    one = replace(made_up(1)[0], right=True, measures={"fit": -3.0, "sure": 0.0})
    other = replace(one, voice="another")
    heard = [one, other, one, replace(one, right=False), one]
    known = fitting.with_voices(heard, {"fit": -1.0, "sure": 0.0})
    assert [h.voice for h in heard] == [h.voice for h in known]
    assert 0.0 == known[1].measures["voice-fit"]
    offsets = sorted((known[at].measures["voice-fit"] for at in (0, 2, 4)), reverse=True)
    assert pytest.approx([0.0, -2.0 / (1 + PRIOR), -4.0 / (2 + PRIOR)]) == offsets
    assert any(known[3].measures["voice-fit"] == pytest.approx(-2.0 * n / (n + PRIOR)) for n in range(4))


@pytest.mark.parametrize("strays", [0.0, 0.8])
@pytest.mark.parametrize("kind", list(AnswerKind))
def test_limits_are_where_two_ways_to_go_on_cost_the_same(kind: AnswerKind, strays: float) -> None:
    """By hand: the expected costs on both sides of each limit are equal, or the limits meet."""
    price = prices.PRICES[kind]
    taken, sure = prices.limits_of(price, strays)
    price = replace(
        price, wrong=price.wrong + strays * price.stray, denied=price.denied + strays * price.stray
    )
    if price.affirm is None:
        assert pytest.approx(price.repeat * taken, abs=0.02) == price.wrong * (1 - taken)
        assert taken == sure
        return
    affirmed = price.affirm + price.denied * (1 - taken)
    assert pytest.approx(price.repeat, abs=0.02) == affirmed
    assert pytest.approx(price.wrong * (1 - sure), abs=0.05) == price.affirm + price.denied * (1 - sure)
    assert taken < sure


def test_strays_are_counted_as_often_as_a_bay_has_them() -> None:
    """Of what is not right and not quite unlikely: near misses by their share, wrong answers one by one."""
    answer = made_up(1)[0]
    judged = [Stated(replace(answer, right=number >= 10), 0.6) for number in range(100)]
    judged += [Stated(replace(answer, other=True, about="near misses", right=False), 0.6)] * 50
    judged += [Stated(replace(answer, other=True, about="near misses", right=False), 0.1)] * 50
    strays = 100 * fitting.SHARES["near misses"] / 2
    assert pytest.approx(strays / (strays + 10), abs=1e-3) == prices.share_of_strays(judged)


def test_no_more_wrong_answers_than_the_share_are_taken_silently() -> None:
    """Of two thousand answers one is wrong above the limit, and one more would be too many, as one is kept in hand."""
    blank = made_up(1)[0]
    judged = [
        Stated(replace(blank, right=number % 10 != 0 or chance > 0.9), float(chance))
        for number, chance in enumerate(np.linspace(0.1, 0.99, 2000))
    ]
    limit = prices.silent_limit(judged, 0.001)
    wrong = [one for one in judged if not one.heard.right]
    assert sum(one.probability >= limit for one in wrong) <= 1
    assert sum(one.probability >= limit - 0.005 - 1e-9 for one in wrong) > 1
    assert prices.silent_limit(judged[::4]) > 0.99  # too few to say so


@pytest.mark.parametrize("condition", in_noise.CONDITIONS[1:5])
def test_noise_is_mixed_to_the_level_and_the_same_each_time(condition: str) -> None:
    """The signal-to-noise ratio over the speech part is the one that was asked for; the same name, the same noise."""
    clean = read_sound(SOUNDS / "feed-lit.flac").samples
    mixed = in_noise.in_condition(clean, condition, "x.flac")
    assert (mixed == in_noise.in_condition(clean, condition, "x.flac")).all()
    assert (mixed != in_noise.in_condition(clean, condition, "y.flac")).any()
    speech = in_noise.in_condition(clean, "clean", "x.flac").astype(float)
    begin, end = in_noise.speech_part(speech)
    level = level_db(mixed[begin:end]) - level_db(mixed[: round(0.4 * RATE)])
    # The level of the mixture over that of the noise alone.
    wanted = 10 * math.log10(1 + 10 ** (float(condition.split()[1]) / 10))
    assert pytest.approx(wanted, abs=4) == level


def test_another_voice_is_as_far_under_as_the_condition_says() -> None:
    """Where the speaker is silent, the other one is heard so many dB under."""
    clean = read_sound(SOUNDS / "feed-lit.flac").samples
    tone = (8000 * np.sin(np.arange(RATE) * 0.2)).astype(np.int16)
    mixed = in_noise.in_condition(clean, "voice 18", "x.flac", tone)
    begin, end = in_noise.speech_part(in_noise.in_condition(clean, "clean", "x.flac").astype(float))
    under = level_db(mixed[begin:end]) - level_db(mixed[: round(0.4 * RATE)])
    assert pytest.approx(18.0, abs=2.5) == under


def manifest(folder: Path) -> Path:
    """The test sounds as a manifest, three voices by name, with some other speech."""
    request = {"outcomes": ["lit", "dim", "dark", "blinking"], "units": [], "controls": ["say-again"]}
    lines = []
    for voice in ("one", "two", "three", "four"):
        names = ["feed-lit", "dark", "say-again", *(["remark"] if voice == "one" else [])]
        for name in names:
            copy = folder / f"{voice}-{name}.flac"
            copy.symlink_to(SOUNDS / f"{name}.flac")
            known = name != "remark"
            # One line claims other words than were spoken, so that something is wrong.
            words = "dim" if (voice, name) in {("one", "dark"), ("three", "dark")} else name.replace("-", " ")
            line = {"file": copy.name, "words": words, "voice": voice, "request": request if known else None}
            lines.append(json.dumps(line))
    path = folder / "manifest.jsonl"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_what_was_heard_is_kept_for_the_next_fit(tmp_path: Path) -> None:
    """A second run hears nothing, in however many processes the first one heard, and gives the same file; another
    model's trials are not taken.
    """
    lines = in_noise.read_manifest(manifest(tmp_path))[:4]
    model, path = find_model(), tmp_path / "trials.npz"
    told: list[str] = []
    kept = trials.hear_missing(lines, model, path, times=2, processes=2, progress=told.append)
    assert "8 of 8 heard" == told[-1]
    again = trials.hear_missing(lines, model, path, times=2, progress=told.append)
    assert "8 of 8 trials are kept from before" == told[-1]
    assert trials.as_heard(lines, kept, 2) == trials.as_heard(lines, again, 2)
    other = tmp_path / "model"
    shutil.copytree(model, other)
    with (other / "conf" / "model.conf").open("a", encoding="utf-8") as conf:
        conf.write("--beam=9.0\n")
    assert {} == trials.read_trials(path, other)
    path.write_bytes(b"nonsense")
    with pytest.raises(UsageProblem, match="does not hold trials"):
        trials.read_trials(path, model)


def test_a_line_is_heard_as_often_as_it_says(tmp_path: Path) -> None:
    """A line with "times" has so many conditions, all different."""
    path = manifest(tmp_path)
    path.write_text(path.read_text().splitlines()[0].replace("{", '{"times": 3, ', 1))
    (line,) = in_noise.read_manifest(path)
    assert 3 == len(set(in_noise.conditions_of(line)))


def test_the_command_writes_a_file_that_can_be_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From a manifest to the data file, the table and the diagram, with the real recogniser."""
    output = tmp_path / "confidence.json"
    arguments = [str(manifest(tmp_path)), "--times", "2", "--processes", "1", "--output", str(output)]
    assert 0 == calibrate.main([*arguments, "--report", str(tmp_path / "report")])
    made = Calibration.read(output)
    assert made.reject_below <= made.ask_below
    assert 0 < made.probability({}) < 1
    text = (tmp_path / "report" / "calibration.md").read_text(encoding="utf-8")
    assert text in capsys.readouterr().out
    assert re.search(r"^\| bay 20 \| \d+ \|", text, re.MULTILINE)
    assert (tmp_path / "report" / "reliability.svg").read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    "line", ["nonsense", "{}", '{"file": "a", "words": "b", "voice": "c", "request": 3}']
)
def test_a_wrong_manifest_is_named_with_its_line(tmp_path: Path, line: str) -> None:
    """A file that is not a manifest is refused with file and line, and the command exits with 2."""
    path = tmp_path / "manifest.jsonl"
    path.write_text(line + "\n", encoding="utf-8")
    with pytest.raises(UsageProblem, match=r"manifest\.jsonl:1: "):
        in_noise.read_manifest(path)
    assert 2 == calibrate.main([str(path), "--output", str(tmp_path / "x.json")])
    with pytest.raises(UsageProblem, match="cannot be read"):
        in_noise.read_manifest(tmp_path / "absent.jsonl")


def test_too_little_is_refused() -> None:
    """Nothing, or nothing wrong, cannot be calibrated with."""
    with pytest.raises(UsageProblem, match="too few"):
        fitting.fit([])
    with pytest.raises(UsageProblem, match="too few"):
        fitting.fit([replace(one, right=True) for one in made_up(100)])


def test_the_delivered_file_says_when_and_on_what_it_was_measured() -> None:
    """Date, sound, model and price stand beside the coefficients, and the limits are in order."""
    assert CALIBRATION == Calibration.read(FILE)
    assert 0 < CALIBRATION.reject_below < CALIBRATION.ask_below < 1
    assert {"measured", "sound", "voices", "price in repeated questions"} <= CALIBRATION.about.keys()
    assert set(CALIBRATION.measures) == set(fitting.SIGNS)
    assert set(CALIBRATION.limits) == set(AnswerKind)


@pytest.mark.parametrize("body", ["", "{}", "[]", '{"measures": 3}'])
def test_a_damaged_file_is_a_sentence(tmp_path: Path, body: str) -> None:
    """A missing or damaged data file is said plainly."""
    path = tmp_path / "confidence.json"
    path.write_text(body, encoding="utf-8")
    with pytest.raises(UsageProblem, match="missing or damaged"):
        Calibration.read(path)
    with pytest.raises(UsageProblem, match="missing or damaged"):
        Calibration.read(tmp_path / "absent.json")


def test_a_damaged_tree_is_a_sentence(tmp_path: Path) -> None:
    """A tree that looks at a measure that is not there, or is deeper than any that is grown, is refused."""
    body = json.loads(FILE.read_text(encoding="utf-8"))
    path = tmp_path / "confidence.json"
    deep: object = 1.0
    for _ in range(12):
        deep = [0, 0.0, deep, 0.5]
    for tree in ([999, 0.0, 1.0, 2.0], ["ahead", 0.0, 1.0, 2.0], [0, 0.0, 1.0], deep, None):
        path.write_text(json.dumps({**body, "known": {"intercept": 0.0, "trees": [tree]}}), encoding="utf-8")
        with pytest.raises(UsageProblem, match="missing or damaged"):
            Calibration.read(path)
