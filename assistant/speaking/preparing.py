"""Renders ahead, in the background: what was asked for last counts, and older requests are dropped."""

from __future__ import annotations

import contextlib
import threading
from concurrent.futures import Future
from typing import TYPE_CHECKING

from assistant.errors import GearProblem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


class Preparing:
    """One thread that renders texts one after the other, and ends when there are none.

    Args:
        render: Renders one text and keeps it.
    """

    def __init__(self, render: Callable[[str], object]) -> None:
        self._render = render
        self._texts: list[str] = []
        self._done: Future[bool] = Future()
        self._changing = threading.Lock()
        self._working = False

    def ask(self, texts: Iterable[str]) -> Future[bool]:
        """Render these texts in their order, instead of those of the request before that are not yet rendered.

        Returns:
            True once all are rendered; False as soon as another request has dropped the rest.
        """
        with self._changing:
            before, self._done = self._done, Future()
            self._texts = list(dict.fromkeys(texts))
            done = self._done
            if not self._working:
                self._working = True
                threading.Thread(target=self._work, name="voice-prepare", daemon=True).start()
        if not before.done():
            before.set_result(False)
        return done

    def _work(self) -> None:
        while True:
            with self._changing:
                if not self._texts:
                    self._working = False
                    self._done.set_result(True)
                    return
                text = self._texts.pop(0)
            with contextlib.suppress(GearProblem):  # whoever needs it is told then
                self._render(text)
