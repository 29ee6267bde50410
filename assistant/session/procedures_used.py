"""The procedures and grammars of a session, looked at before it begins.

A shop's own folder is checked at every start. What the loader refuses, and what could hurt somebody, ends the start
with file and line, before a session is made. Other findings are told and do not keep a car waiting. Only what takes
well under a second is looked at (`assistant.linting.lint_at_start`); the command ``lint`` has the rest.
The bundled procedures were linted before they were shipped.
"""

from __future__ import annotations

import shlex
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant import resources
from assistant.circuit.adding import lint_command
from assistant.core.library.library import Library
from assistant.core.reasoning.knowledge import Knowledge
from assistant.errors import FileProblem, UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.loading.copying import origin_of, outdated
from assistant.loading.folder import load_folder, problems
from assistant.loading.shop import grammars_in_use
from assistant.printing import in_line
from assistant.record.header import PROCEDURES
from assistant.session.hearing import resumed_folder

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.core.values.finding import Finding
    from assistant.session.settings import Settings


@dataclass(frozen=True)
class Opened:
    """What a session works with.

    Attributes:
        grammars: The grammars.
        library: The procedures.
        knowledge: What results are weighed with; None for nothing.
        remarks: Sentences for the screen about the folder they come from.
    """

    grammars: GrammarSet
    library: Library
    knowledge: Knowledge | None
    remarks: tuple[str, ...] = ()


def opened(settings: Settings) -> Opened:
    """Load the procedures of a session, and check those of a shop.

    A session that is resumed keeps the procedures that were copied into it, so the shop's folder does not matter then.

    Raises:
        BayAssistantError: Something in the folders is wrong, and no session is made.
    """
    grammars = GrammarSet.load(grammars_in_use(settings.folders.grammars, settings.folders.procedures))
    if settings.resume is not None:
        own = resumed_folder(settings.sessions, settings.resume) / PROCEDURES
        folder = own if own.is_dir() else folder_of(settings)
        return Opened(grammars, *load_folder(folder))
    shop = settings.folders.procedures
    if shop is None:
        return Opened(grammars, *load_folder(folder_of(settings)))
    return checked(shop, grammars)


def folder_of(settings: Settings) -> Path:
    """The folder that a new session copies its procedures from."""
    return settings.folders.procedures or resources.directory("procedures")


def checked(shop: Path, grammars: GrammarSet) -> Opened:
    """Load a shop's own folder and look at it; findings that do not stop are printed on standard error.

    Raises:
        FileProblem: One thing is wrong; the message starts with ``file:line:``.
        UsageProblem: Several are, which are printed on standard error; or a file cannot be read.
    """
    from assistant import linting  # noqa: PLC0415  a tenth of a second, which the bundled procedures do not need

    _refuse(shop, problems(shop))
    library, knowledge = load_folder(shop)
    _refuse(shop, [_problem(one) for one in linting.unsafe(library)])
    findings = linting.lint_at_start(library, grammars)
    for one in findings:  # the screen has no room for them
        print(in_line(str(one)), file=sys.stderr)
    # One remark, because the screen keeps only a few.
    remark = " ".join(filter(None, (_outdated(shop), _found(shop, findings))))
    return Opened(grammars, library, knowledge, (remark,))


def _problem(finding: Finding) -> FileProblem:
    return FileProblem(finding.path, finding.line, finding.problem, finding.remedy)


def _refuse(shop: Path, wrong: Sequence[FileProblem]) -> None:
    """Raise what is wrong; if it is more than one thing, print each on a line of its own first."""
    if len(wrong) == 1:
        raise wrong[0]
    if wrong:
        for one in wrong:
            print(in_line(str(one)), file=sys.stderr)
        raise UsageProblem(
            f"The procedures in {shop} have {len(wrong)} mistakes, listed above, so no session was begun."
        )


def _outdated(shop: Path) -> str:
    """A sentence if this version ships other procedures than those that the copy came from; "" if not."""
    origin = origin_of(shop)
    bundled, grammars = resources.directory("procedures"), resources.directory("grammars")
    if origin is None or not outdated(origin, bundled, grammars):
        return ""
    return (
        f"The procedures in {shop} came with bay-assistant {origin.version}; this version ships others, see: "
        f"{_command('procedures', '--changes', shop)}."
    )


def _found(shop: Path, findings: Sequence[Finding]) -> str:
    """What the quick look found, and how to look at the rest."""
    more = lint_command(shop)
    if not findings:
        return f"The procedures are those in {shop}. A quick check found nothing; for the rest: {more}"
    count = "a finding" if len(findings) == 1 else f"{len(findings)} findings"
    return f"The procedures in {shop} have {count}: {more}"


def _command(*words: object) -> str:
    return shlex.join(["bay-assistant", *map(str, words)])
