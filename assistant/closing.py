"""Things that are closed once, also by leaving a ``with`` block."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from types import TracebackType


class Closes:
    """A thing with `close`, which leaving its ``with`` block calls, whatever happened in there."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give back what it holds; safe to call twice."""
        raise NotImplementedError
