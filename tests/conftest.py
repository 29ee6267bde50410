"""What holds for all tests: how properties are tried, and what the programs that tests start have in common."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    import pytest

settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")


def pytest_configure(config: pytest.Config) -> None:
    """Programs that tests start by the hundred find their modules compiled, even where nothing is to be written."""
    if cache := getattr(config, "cache", None):
        os.environ["PYTHONPYCACHEPREFIX"] = str(cache.mkdir("compiled"))
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
