"""eSpeak NG through pyttsx3's own driver, with the library and data of the wheel ``espeakng-loader``.

No system package is needed. An installed library is ignored, because its data might belong to another version.
"""

from __future__ import annotations

import contextlib
import ctypes
import importlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from assistant.errors import GearProblem

REINSTALL = "Install bay-assistant again, with its packages pyttsx3 and espeakng-loader."


@dataclass(frozen=True)
class EspeakLibrary:
    """The loaded library: its wait for the end, and the path of its data."""

    synchronize: Callable[[], int]
    data: str

    def data_path(self) -> contextlib.AbstractContextManager[None]:
        """Let the library find its data while this lasts."""
        return _environment("ESPEAK_DATA_PATH", self.data)


def load() -> EspeakLibrary:
    """Load pyttsx3's driver with the wheel's own eSpeak NG, whatever else is installed; about 0.2 s and 20 MB.

    Raises:
        GearProblem: One of the two packages is missing, or the library cannot be loaded.
    """
    try:
        loader = importlib.import_module("espeakng_loader")
        # Its own symbols first, in case this process already has another speech library (a GNU libc flag).
        own_symbols_first = getattr(os, "RTLD_DEEPBIND", 0)
        library = ctypes.CDLL(loader.get_library_path(), mode=ctypes.RTLD_LOCAL | own_symbols_first)
        data = loader.get_data_path()
        with _library_found_as("espeak", library):
            importlib.import_module("pyttsx3")
            bindings = importlib.import_module("pyttsx3.drivers._espeak")
            driver = importlib.import_module("pyttsx3.drivers.espeak")
    except (ImportError, OSError, RuntimeError, AttributeError) as error:
        raise GearProblem(f"The voice cannot be loaded: {error}. {REINSTALL}") from error
    if _address(bindings.dll) != _address(library):
        raise GearProblem(
            "Another part of this program loaded a speech library first, so the voice cannot be trusted. "
            "Start bay-assistant as a program of its own."
        )
    # The driver prints a line for every file, which must not reach a screen in use.
    vars(driver)["print"] = lambda *_words, **_options: None
    _tell_the_end(driver.EspeakDriver, bindings)
    return EspeakLibrary(bindings.Synchronize, data)


def _tell_the_end(kind: Any, bindings: Any) -> None:
    """Let pyttsx3's driver see the end of a sentence where the library does not tell it.

    The library in the wheel for Linux on aarch64 (espeakng-loader 0.2.4) was built without its own thread: it speaks
    before `Synth` returns and never sends the event at which the driver ends its loop.
    """
    start = kind._start_synthesis  # noqa: SLF001  pyttsx3 has no other place for it
    if hasattr(start, "tells_the_end"):
        return

    def started(self: Any, text: str) -> None:
        start(self, text)
        bindings.Synchronize()
        if self._speaking:
            events = (bindings.EVENT * 2)()
            events[0].type = bindings.EVENT_MSG_TERMINATED
            self._onSynth(None, 0, events)

    vars(started)["tells_the_end"] = True
    kind._start_synthesis = started  # noqa: SLF001


def _address(library: ctypes.CDLL) -> int | None:
    """Address of the library's first function in memory, which only the same library shares."""
    return ctypes.cast(library.espeak_Initialize, ctypes.c_void_p).value


@contextlib.contextmanager
def _library_found_as(part_of_name: str, library: ctypes.CDLL) -> Iterator[None]:
    """Let `ctypes.cdll.LoadLibrary` answer every name that contains `part_of_name` with `library`.

    pyttsx3 tries a fixed list of paths, some of them absolute, and uses the first that loads.
    """
    load = ctypes.cdll.LoadLibrary

    def found(name: str) -> ctypes.CDLL:
        return library if part_of_name in str(name) else load(name)

    vars(ctypes.cdll)["LoadLibrary"] = found
    try:
        yield
    finally:
        del vars(ctypes.cdll)["LoadLibrary"]


@contextlib.contextmanager
def _environment(name: str, value: str) -> Iterator[None]:
    """Set an environment variable for a while; programs that start later must not inherit it."""
    before = os.environ.get(name)
    os.environ[name] = value
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before
