"""The tables of a README from figures: between its marks, with goals, and put together from several files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from assistant.core.values.result import Control, Result
from assistant.errors import UsageProblem
from assistant.hearing_bench import published, report
from assistant.hearing_bench.measurements import HeardUtterance, HearingFigures
from assistant.hearing_bench.scoring import Hearing

LIT, DIM, STOP = Result(outcome="lit"), Result(outcome="dim"), Result(control=Control.STOP)


def figures(path: Path, *records: tuple[str, str, Result | None, Result | None]) -> Path:
    """Figures of utterances: row, condition, meaning, and what was heard (accepted and surely)."""
    made = HearingFigures("a machine", "2026-01-01T00:00+00:00", False, {"model": "abc", "other": ""})
    for part, condition, truth, result in records:
        hearing = Hearing(
            truth,
            result,
            result is not None,
            0.99,
            0.1,
            2.0,
            "",
            sure=result is not None,
            silent=result == STOP,
        )
        made.records.append(HeardUtterance("model", part, "people", condition, hearing))
    path.write_text(json.dumps(report.to_json(made)), encoding="utf-8")
    return path


def test_the_tables_stand_between_the_marks_and_nothing_else_changes(tmp_path: Path) -> None:
    """Worked by hand: three of four orders right and one wrong before; one of two right and none wrong now."""
    before = figures(
        tmp_path / "before.json", *[("orders", "clean", LIT, one) for one in (LIT, LIT, LIT, DIM)]
    )
    now = figures(tmp_path / "now.json", *[("orders", "clean", LIT, one) for one in (LIT, None)])
    more = figures(tmp_path / "more.json", ("remarks", "10 dB", None, STOP), ("remarks", "10 dB", None, None))
    readme = tmp_path / "README.md"
    readme.write_text(f"above\n\n{published.BEGIN}\nold\n{published.END}\n\nbelow\n", encoding="utf-8")
    assert published.main([str(readme), "--now", str(now), str(more), "--before", str(before)]) == 0
    text = readme.read_text(encoding="utf-8")
    assert text.startswith(f"above\n\n{published.BEGIN}\n| figure | before | now | goal |")
    assert text.endswith(f"{published.END}\n\nbelow\n")
    assert "old" not in text
    assert "| orders by people, clean: right / wrong | 75 / 25 (n 4) | 50 / 0 (n 2) | 96 / 2 |" in text
    assert (
        "| wrong answers surer than the limit, for each 1,000 answers | 250.0 (of 4) | 0.0 (of 2) | 1 |"
        in text
    )
    assert "| orders, people (2) | 50 / 0 [9-91] |" in text
    assert "| remarks, people (2) | 50 [9-91] |" in text
    assert "| remarks | 2 | 1 | 1 | stop 1 |" in text


@pytest.mark.parametrize(
    "text", ["", published.BEGIN, f"{published.END} {published.BEGIN}", published.BEGIN * 2]
)
def test_a_file_without_the_marks_is_left_alone(text: str) -> None:
    """Nothing is written anywhere else."""
    with pytest.raises(UsageProblem, match="each once"):
        published.replaced(text, "tables")


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"rows": []}'])
def test_other_files_are_refused(tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A sentence names the file."""
    path = tmp_path / "none.json"
    path.write_text(text, encoding="utf-8")
    readme = tmp_path / "README.md"
    readme.write_text(published.BEGIN + published.END, encoding="utf-8")
    assert published.main([str(readme), "--now", str(path)]) == 2
    assert "none.json holds no figures" in capsys.readouterr().err


def test_every_goal_is_shown_even_where_nothing_was_measured(tmp_path: Path) -> None:
    """A goal that silently left the table would look as if it were met."""
    now: dict[str, Any] = json.loads(figures(tmp_path / "now.json").read_text(encoding="utf-8"))
    lines = published.pages(now, None)
    assert [line.split(" | ")[0][2:] for line in lines[2 : 2 + len(published.GOALS)]] == [
        goal.name for goal in published.GOALS
    ]
