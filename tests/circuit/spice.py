"""Runs ngspice on a netlist of the circuit model."""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.circuit.netlist import COUPLING, Beginning, cranking_netlist

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.circuit.network import Rows

NGSPICE = shutil.which("ngspice")
needed = pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed (Debian package ngspice)")


def cranked(
    rows: Rows,
    across: tuple[str, str],
    begin: Beginning,
    folder: Path,
    *,
    lamp: str | None = None,
    places: Sequence[str] = (),
    coupling: float = COUPLING,
) -> list[np.ndarray]:
    """Time, observer's voltage, coil current, filament temperature, and voltages of the places, over one period."""
    output, netlist = folder / "out.txt", folder / "circuit.cir"
    text = cranking_netlist(rows, (), across, lamp, begin, str(output), places=places, coupling=coupling)
    netlist.write_text(text, "ascii")
    done = subprocess.run(
        [str(NGSPICE), "-b", str(netlist)], capture_output=True, text=True, check=False, timeout=60
    )
    assert output.exists(), done.stdout + done.stderr
    found = list(np.loadtxt(output).T)
    period = rows.circuit.surges * 30.0 / float(rows.values["crank-speed"][0])
    assert found[0][-1] == pytest.approx(period, rel=1e-6), done.stdout + done.stderr
    return found
