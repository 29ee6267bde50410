"""Settings for all tests: how properties are tried, which core a test runs on, what started programs share."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, settings

import assistant  # noqa: F401  holds numerical libraries to one thread before any test loads them

if TYPE_CHECKING:
    from xdist.scheduler import LoadScopeScheduling

settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")

LONG_FIRST = ("live", "whole_job", "dependability")
"""Folders whose tests wait for sound and for programs: they begin, so that nobody waits for them at the end."""

APART = {"live", "dependability", "picture", "test_linting.py"}
"""Folders and files, wherever they are, whose tests share nothing that takes time to make: each may run on any core."""


def pytest_configure(config: pytest.Config) -> None:
    """Programs that tests start by the hundred find their modules compiled, even where nothing is to be written."""
    if cache := getattr(config, "cache", None):
        os.environ["PYTHONPYCACHEPREFIX"] = str(cache.mkdir("compiled"))
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    # A suite that nohup started, or a shell in the background, ignores signals; programs that tests start must not.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for number in (signal.SIGHUP, signal.SIGQUIT, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)
    # No test reads the settings of the person who runs it; one that needs settings names a file of its own.
    for name in [name for name in os.environ if name.startswith("BAY_ASSISTANT_")]:
        del os.environ[name]
    os.environ["BAY_ASSISTANT_SETTINGS"] = "/dev/null/settings.toml"  # cannot be written either


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the tests that wait begin."""
    here = Path(__file__).parent
    turns = {name: turn for turn, name in enumerate(LONG_FIRST)}
    items.sort(key=lambda item: turns.get(item.path.relative_to(here).parts[0], len(turns)))


def shared_by(nodeid: str) -> str:
    """Tests for which this is the same run on one core: those of a file, those of one whole job, or one alone."""
    file, _, test = nodeid.removeprefix("tests/").partition("::")
    if not APART.isdisjoint(file.split("/")):
        return nodeid
    if "whole_job" in file:
        return test.partition("[")[2]  # the job, which all tests of it look at
    return file


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> LoadScopeScheduling:
    """Give the tests of a file to one core, because they share what was computed once; others one by one."""
    from xdist.scheduler import LoadScopeScheduling  # noqa: PLC0415  nothing else needs it

    class ByWhatIsShared(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return shared_by(nodeid)

    return ByWhatIsShared(config, log)
