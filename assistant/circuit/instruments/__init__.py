"""The instruments of the circuit model, one file each; `model` says how to add one."""

from __future__ import annotations

import importlib
import pkgutil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.circuit.instruments.model import InstrumentModel


def models() -> Iterator[InstrumentModel]:
    """All models of the files of this room, in the order of the files' names."""
    for found in pkgutil.iter_modules(__path__):
        module = importlib.import_module(f"{__name__}.{found.name}")
        yield from getattr(module, "MODELS", ())


REGISTRY: dict[str, InstrumentModel] = {model.name: model for model in models()}
"""Models by the name of the instrument in ``terms.yaml``."""
