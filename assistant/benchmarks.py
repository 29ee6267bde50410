"""Shared by all benchmarks: the machine on which they ran, percentiles of their results, memory."""

from __future__ import annotations

import os
import platform
from pathlib import Path


def machine() -> str:
    """Processor, number of cores, memory, system and Python."""
    model = platform.processor() or platform.machine()
    try:
        for line in Path("/proc/cpuinfo").read_text().splitlines():
            if line.startswith("model name"):
                model = line.partition(":")[2].strip()
                break
    except OSError:
        pass
    try:
        memory = f", {os.sysconf('SC_PAGE_SIZE') * os.sysconf('SC_PHYS_PAGES') / 2**30:.0f} GiB"
    except (ValueError, OSError):
        memory = ""
    return f"{model}, {os.cpu_count()} cores{memory}, {platform.system()}, Python {platform.python_version()}"


def resident_mb(*, highest: bool = False) -> float:
    """Resident memory of this process, MB; NaN if the system does not tell, as only Linux does in proc(5).

    Args:
        highest: The most that it has been so far, and not what it is now.
    """
    name = "VmHWM:" if highest else "VmRSS:"
    try:
        for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
            if line.startswith(name):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return float("nan")


def percentile(values: list[float], percent: float) -> float:
    """The percentile of a list by the nearest rank; NaN for an empty list."""
    if not values:
        return float("nan")
    ordered = sorted(values)
    rank = max(1, -(-len(ordered) * percent // 100))
    return ordered[int(rank) - 1]
