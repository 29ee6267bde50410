"""Rendered sentences that are kept: on the disk between sessions, and in memory for a while; both are bounded."""

from __future__ import annotations

import contextlib
import os
import threading
import wave
from typing import TYPE_CHECKING

from assistant.speaking.speech import Samples
from assistant.speaking.wave_file import read_wave

if TYPE_CHECKING:
    from collections.abc import Hashable
    from pathlib import Path

MOST_FILES = 6000
MOST_BYTES = 200_000_000
"""All that the program can say takes about 1,300 files and 100 MB in one voice at one rate."""

_TIDY_EVERY_BYTES = MOST_BYTES // 20
"""The folder is looked through after so much was written to it, and once at the beginning."""

_AFTER_TIDYING = 0.8
"""Share of the bounds that tidying leaves, so that it is seldom needed."""

Sound = tuple[Samples, int]
"""Samples and their rate."""


class KeptSounds:
    """Sounds on the disk, by a key that is a plain name; the least recently used ones go.

    A folder that cannot be read or written is no error: nothing is kept then.

    Args:
        folder: Their folder, made when it is needed.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._unseen = _TIDY_EVERY_BYTES
        self._lock = threading.Lock()

    def get(self, key: str) -> Sound | None:
        """The sound of this key; None if it is not kept or damaged."""
        path = self._folder / f"{key}.wav"
        try:
            found = read_wave(path)
        except (OSError, EOFError, wave.Error, ValueError):
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # it is used, so others go before it
        return found

    def put(self, key: str, samples: Samples, rate: int) -> None:
        """Keep a sound; whoever reads meanwhile sees all of it or nothing."""
        with contextlib.suppress(OSError):
            self._folder.mkdir(0o700, parents=True, exist_ok=True)
            self._tidy_if_due(samples.nbytes)
            part = self._folder / f"{key}-{os.getpid()}-{threading.get_ident()}.part"
            try:
                with wave.open(str(part), "wb") as file:
                    file.setparams((1, 2, rate, 0, "NONE", ""))
                    file.writeframes(samples.astype("<i2").tobytes())
                part.replace(self._folder / f"{key}.wav")
            except OSError:
                part.unlink(missing_ok=True)

    def _tidy_if_due(self, coming: int) -> None:
        with self._lock:
            self._unseen += coming
            if self._unseen <= _TIDY_EVERY_BYTES:
                return
            self._unseen = 0
        self._folder.chmod(0o700)  # a read-back can hold a customer's name or number
        # On a thread of its own: somebody waits for the sentence that is being kept.
        threading.Thread(target=self.tidy, name="voice-tidy", daemon=True).start()

    def tidy(self) -> None:
        """Delete the least recently used sounds if there are too many or they are too large."""
        found = []
        with contextlib.suppress(OSError), os.scandir(self._folder) as entries:
            for entry in entries:
                with contextlib.suppress(OSError):  # another program may tidy the same folder
                    if entry.name.endswith((".wav", ".part")):
                        state = entry.stat(follow_symlinks=False)
                        found.append((state.st_mtime_ns, state.st_size, entry.path))
        files, size = len(found), sum(one[1] for one in found)
        if files <= MOST_FILES and size <= MOST_BYTES:
            return
        for _, bytes_, path in sorted(found):
            if files <= _AFTER_TIDYING * MOST_FILES and size <= _AFTER_TIDYING * MOST_BYTES:
                return
            with contextlib.suppress(OSError):
                os.unlink(path)  # noqa: PTH108  the entry's own path
            files, size = files - 1, size - bytes_


class HeldSounds:
    """Sounds in memory; the least recently used ones go. Safe from any thread.

    Args:
        most_bytes: How much is held.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self._sounds: dict[Hashable, Sound] = {}  # the latest requests, newest at the end
        self._lock = threading.Lock()
        self.bytes = 0

    def get(self, key: Hashable) -> Sound | None:
        """The sound of this key; None if it is not held."""
        with self._lock:
            found = self._sounds.pop(key, None)
            if found is not None:
                self._sounds[key] = found
            return found

    def put(self, key: Hashable, sound: Sound) -> None:
        """Hold a sound, and let the least recently used ones go if that is too much."""
        with self._lock:
            before = self._sounds.pop(key, None)
            self.bytes += sound[0].nbytes - (before[0].nbytes if before else 0)
            self._sounds[key] = sound
            while self.bytes > self._most and len(self._sounds) > 1:
                oldest = next(iter(self._sounds))
                self.bytes -= self._sounds.pop(oldest)[0].nbytes
