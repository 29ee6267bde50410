"""How every property is tried: the same examples each time, and no limit of time that a busy machine could break."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")
