"""The stages of `python -m assistant.acoustic` that need a trained network: recordings of people, and wrong phones."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    import argparse

    Steps: TypeAlias = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001  it has no public name


def recordings(options: argparse.Namespace) -> None:
    """Put sets of recordings into a bank."""
    import torch  # noqa: PLC0415

    from assistant.acoustic.net import Net, Shape  # noqa: PLC0415
    from assistant.acoustic.recordings import Aligner, fill_from_recordings  # noqa: PLC0415
    from assistant.acoustic.spoken_words import pronunciations  # noqa: PLC0415
    from assistant.acoustic.weights import restore  # noqa: PLC0415

    net = Net(Shape())
    restore(net, options.weights)
    aligner = Aligner(net, torch.device(options.device))
    kept = json.loads(options.kept.read_text(encoding="utf-8"))["speakers"] if options.kept else []
    for index in options.index:
        fill_from_recordings(
            index,
            options.out,
            aligner,
            pronunciations(options.british),
            without=() if options.only_kept else kept,
            only=kept if options.only_kept else (),
            told=lambda text: print(text, flush=True),
        )


def errors(options: argparse.Namespace) -> None:
    """Print the share of wrong phones of each of the weights on each bank."""
    import torch  # noqa: PLC0415

    from assistant.acoustic.features import Cepstra  # noqa: PLC0415
    from assistant.acoustic.net import Net, Shape  # noqa: PLC0415
    from assistant.acoustic.noises import make_noises  # noqa: PLC0415
    from assistant.acoustic.phone_errors import phone_errors  # noqa: PLC0415
    from assistant.acoustic.weights import restore  # noqa: PLC0415
    from assistant.acoustic.windows import TrainingSpeech  # noqa: PLC0415

    device = torch.device(options.device)
    torch.manual_seed(5)
    noises = make_noises(64, 10.0, device)
    for folder in options.kept:
        kept = TrainingSpeech([folder], device)
        for weights in options.weights:
            net = Net(Shape()).to(device)
            restore(net, weights)
            found = phone_errors(net, Cepstra().to(device), kept, noises)
            print(f"{folder.name}  {weights}  {json.dumps(found)}", flush=True)


def add_recordings(steps: Steps) -> None:
    """The stage that puts recordings into a bank."""
    one = steps.add_parser("recordings", help="put recordings of people into a bank")
    one.add_argument(
        "--index", type=Path, required=True, nargs="+", metavar="FILE", help="index.jsonl of a set"
    )
    one.add_argument(
        "--weights", type=Path, required=True, metavar="FILE", help="of a model, to find the phones"
    )
    one.add_argument("--out", type=Path, required=True, metavar="DIR")
    one.add_argument("--kept", type=Path, metavar="FILE", help="JSON with the speakers kept for development")
    one.add_argument(
        "--only-kept", action="store_true", help="take these speakers, instead of leaving them out"
    )
    one.add_argument("--british", type=Path, metavar="FILE", help="the misaki dictionary of British English")
    one.add_argument("--device", default="cpu")
    one.set_defaults(run=recordings)


def add_errors(steps: Steps) -> None:
    """The stage that counts wrong phones."""
    one = steps.add_parser("errors", help="the share of wrong phones, for several weights in the same sound")
    one.add_argument("--weights", type=Path, required=True, nargs="+", metavar="FILE")
    one.add_argument(
        "--kept", type=Path, required=True, nargs="+", metavar="DIR", help="banks of other voices"
    )
    one.add_argument("--device", default="cuda")
    one.set_defaults(run=errors)
