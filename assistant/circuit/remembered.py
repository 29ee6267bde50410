"""Results for a set of cars are kept as long as the cars are: one typed memory for the whole model."""

from __future__ import annotations

import functools
import weakref
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.circuit.parameters import Systems

_Asked = ParamSpec("_Asked")
_Found = TypeVar("_Found")


def once(
    compute: Callable[Concatenate[Systems, _Asked], _Found],
) -> Callable[Concatenate[Systems, _Asked], _Found]:
    """Have a function of some cars compute each result once, and forget it with the cars.

    Args:
        compute: Takes the cars first; its other arguments are hashable, and equal arguments mean equal results.
    """
    kept: weakref.WeakKeyDictionary[Systems, dict[object, _Found]] = weakref.WeakKeyDictionary()

    @functools.wraps(compute)
    def remembered(systems: Systems, /, *args: _Asked.args, **kwargs: _Asked.kwargs) -> _Found:
        of_these = kept.setdefault(systems, {})
        key = (args, tuple(kwargs.items())) if kwargs else args
        if key not in of_these:
            of_these[key] = compute(systems, *args, **kwargs)
        return of_these[key]

    return remembered
