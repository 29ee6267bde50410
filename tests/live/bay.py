"""A virtual microphone and loudspeaker: PulseAudio with null sinks, and a terminal to press keys in."""

from __future__ import annotations

import os
import re
import select
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

MICROPHONE, LOUDSPEAKER, ELSEWHERE = "bay_microphone", "bay_loudspeaker", "elsewhere"
HUM_DB = -66.0
"""Level of the noise that the virtual microphone always has: a real one never gives exact silence."""


@dataclass
class Bay:
    """A PulseAudio server of our own; what is played into `MICROPHONE` is what the program hears."""

    folder: Path
    environment: dict[str, str]
    recording: subprocess.Popen[bytes] | None = None
    server: subprocess.Popen[bytes] | None = None
    noise: subprocess.Popen[bytes] | None = None

    def start_server(self) -> None:
        """Start the sound server, with noise at the microphone; a third device stands by that nobody uses."""
        socket = self.environment["PULSE_SERVER"].removeprefix("unix:")
        Path(socket).unlink(missing_ok=True)
        modules = [
            f"module-native-protocol-unix socket={socket} auth-anonymous=1",
            f"module-null-sink sink_name={MICROPHONE} rate=16000 channels=1",
            f"module-null-sink sink_name={LOUDSPEAKER} rate=44100 channels=2",
            f"module-null-sink sink_name={ELSEWHERE} rate=44100 channels=2",
        ]
        arguments = ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"]
        arguments.append("--disallow-exit")
        for module in modules:
            arguments += ["-L", module]
        with (self.folder / "pulse.log").open("ab") as log:
            self.server = subprocess.Popen(arguments, env=self.environment, stdout=log, stderr=log)
        for _ in range(100):
            if Path(socket).exists():
                self.hum()
                return
            time.sleep(0.1)
        pytest.fail((self.folder / "pulse.log").read_text())

    def hum(self) -> None:
        """Give the microphone its noise, until the server ends."""
        file = self.folder / "hum.raw"
        if not file.exists():
            noise = np.random.default_rng(1).normal(0.0, 32768 * 10 ** (HUM_DB / 20), 16000 * 600)
            file.write_bytes(np.round(noise).astype(np.int16).tobytes())
        self.noise = subprocess.Popen(
            [
                "paplay",
                "--raw",
                "--rate=16000",
                "--channels=1",
                "--format=s16le",
                f"--device={MICROPHONE}",
                str(file),
            ],
            env=self.environment,
            stderr=subprocess.DEVNULL,
        )

    def kill_server(self) -> None:
        """The sound server dies without a word."""
        for process in (self.server, self.noise):
            if process is not None:
                process.kill()
                process.wait(timeout=10)

    def pactl(self, *arguments: str) -> str:
        """Give the sound server an order; what it answers."""
        done = subprocess.run(
            ["pactl", *arguments],
            env=self.environment,
            check=True,
            timeout=20,
            capture_output=True,
            text=True,
        )
        return done.stdout

    def leak(self, level_db: float) -> None:
        """From now on the microphone hears the loudspeaker, so much more quietly and a little later."""
        self.pactl(
            "load-module",
            "module-loopback",
            f"source={LOUDSPEAKER}.monitor",
            f"sink={MICROPHONE}",
            "latency_msec=60",
        )
        streams = re.split(r"Sink Input #", self.pactl("list", "sink-inputs"))
        (loop,) = [stream.split()[0] for stream in streams if "module-loopback" in stream]
        self.pactl("set-sink-input-volume", loop, f"{level_db}dB")

    def play(self, file: Path) -> None:
        """Play a sound file into the virtual microphone, to its end."""
        subprocess.run(
            ["paplay", f"--device={MICROPHONE}", str(file)], env=self.environment, check=True, timeout=60
        )

    def record(self) -> None:
        """Begin to record what the virtual loudspeaker gives."""
        with (self.folder / "spoken.raw").open("wb") as out:
            self.recording = subprocess.Popen(
                [
                    "parec",
                    f"--device={LOUDSPEAKER}.monitor",
                    "--rate=16000",
                    "--channels=1",
                    "--format=s16le",
                ],
                env=self.environment,
                stdout=out,
            )

    def recorded(self) -> npt.NDArray[np.int16]:
        """End the recording and give its samples, 16 kHz."""
        assert self.recording is not None
        self.recording.terminate()
        self.recording.wait(timeout=10)
        return np.fromfile(self.folder / "spoken.raw", np.int16)


@dataclass
class Terminal:
    """A program in a pseudo terminal: its text so far, and keys for it."""

    process: subprocess.Popen[bytes]
    keyboard: int
    text: str = ""
    _from: int = field(default=0)

    def read(self, seconds: float) -> None:
        """Take in what the program writes within this time."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            ready, _, _ = select.select([self.keyboard], [], [], left)
            if not ready:
                return
            try:
                data = os.read(self.keyboard, 65536)
            except OSError:
                return
            if not data:
                return
            self.text += data.decode("utf-8", "replace")

    def wait_for(self, pattern: str, seconds: float = 60.0) -> str:
        """Wait until this stands in the new text, and go on behind it."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            found = re.search(pattern, self.text[self._from :])
            if found:
                self._from += found.end()
                return found.group(0)
            if self.process.poll() is not None:
                self.read(0.2)
                found = re.search(pattern, self.text[self._from :])
                if found:
                    continue
                pytest.fail(f"the program ended ({self.process.returncode}) before {pattern!r}:\n{self.text}")
            self.read(0.1)
        pytest.fail(f"{pattern!r} did not come:\n{self.text}")

    def press(self, keys: str) -> None:
        """Press keys, one after the other."""
        for key in keys:
            os.write(self.keyboard, key.encode())
            self.read(0.15)

    def ended(self, seconds: float = 30.0) -> int:
        """Wait for the end; the exit status."""
        end = time.monotonic() + seconds
        while self.process.poll() is None and time.monotonic() < end:
            self.read(0.1)
        self.read(0.2)
        return self.process.wait(timeout=1)
