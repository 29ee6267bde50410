"""The instruments that the circuit model knows, one file each; how to add one is said in `model`."""

from __future__ import annotations

import importlib
import pkgutil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.circuit.instruments.model import InstrumentModel


def models() -> Iterator[InstrumentModel]:
    """What the files of this room offer, in the order of their names."""
    for found in pkgutil.iter_modules(__path__):
        module = importlib.import_module(f"{__name__}.{found.name}")
        yield from getattr(module, "MODELS", ())


REGISTRY: dict[str, InstrumentModel] = {model.name: model for model in models()}
"""Name in ``terms.yaml`` to what the model knows of the instrument."""
