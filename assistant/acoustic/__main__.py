"""``python -m assistant.acoustic``: the stages from synthesisers to a model, one command each."""

from __future__ import annotations

import argparse
import sys
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from assistant.acoustic.stages import add_errors, add_recordings
from assistant.errors import BayAssistantError, GearProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.acoustic import voices
    from assistant.acoustic.texts import Texts

    Steps: TypeAlias = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001  it has no public name

VOICES = ("kokoro", "flite", "espeak", "festival", "hibari", "kokoro-british", "kokoro-kept", "joe")


def make_texts(
    dictionary: Path, *, accent: bool = False, prose: Sequence[Path] = (), english: float = 0.0
) -> Texts:
    """The texts over this package's grammars and procedures, and plain text from other files."""
    from assistant import resources  # noqa: PLC0415  training alone runs where none of this is installed
    from assistant.acoustic.phones import read_dictionary  # noqa: PLC0415
    from assistant.acoustic.texts import Texts  # noqa: PLC0415
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415

    if not dictionary.is_file():
        raise UsageProblem(
            f"There is no {dictionary.name} in {dictionary.parent}. Fill the folder with 'gather'."
        )
    folder = resources.directory("procedures")
    files = [*sorted(folder.glob("*.yaml")), *prose]
    return Texts(
        GrammarSet.load(resources.directory("grammars")),
        load_library(folder),
        read_dictionary(dictionary),
        [path.read_text(encoding="utf-8") for path in files],
        accent=accent,
        english=english,
    )


def synthesiser(name: str, folder: Path, device: str = "") -> voices.TextToSpeech:
    """A synthesiser by the name in `VOICES`; `folder` holds the unpacked packages.

    Args:
        name: Its name.
        folder: The unpacked packages.
        device: Where PyTorch runs Kokoro, in as many voices as can be mixed; "" for one core and its speakers.
    """
    from assistant.acoustic import voices  # noqa: PLC0415

    match name:
        case "kokoro" | "kokoro-british" | "kokoro-kept":
            kept = voices.KOKORO_KEPT
            trained = [n for n in voices.KOKORO_ENGLISH + voices.KOKORO_FOREIGN if n not in kept]
            if name == "kokoro-british":
                trained = [n for n in trained if n.startswith("b")]
            return voices.Kokoro(
                folder / "kokoro.onnx",
                folder / "vocab.json",
                folder / "styles",
                kept if name == "kokoro-kept" else tuple(trained),
                mix=0.0 if name == "kokoro-kept" else 0.5,
                wide=bool(device) and name != "kokoro-kept",
                device=device,
            )
        case "joe":
            return voices.Piper(folder / "en_US-joe-medium.onnx")
        case "hibari":
            return voices.Hibari()
        case "flite":
            return voices.Flite()
        case "festival":
            return voices.Festival()
        case _:
            return voices.Espeak()


def _bank(options: argparse.Namespace) -> None:
    from assistant.acoustic import bank  # noqa: PLC0415

    british = options.voice == "kokoro-british"
    file = "lexicon_gb_gold.json.gz" if british else "lexicon_us_gold.json.gz"
    texts = make_texts(options.voices / file, accent=british, prose=options.prose, english=options.english)
    clock = bank.Clock(lambda text: print(text, file=sys.stderr))
    name = f"{options.voice}-{'readings-' if options.readings else ''}{options.seed}"
    made = bank.fill(
        options.out,
        name,
        texts,
        synthesiser(options.voice, options.voices, options.device),
        seconds=3600 * options.hours,
        seed=options.seed,
        part_s=options.part_s,
        readings=options.readings,
        told=clock,
    )
    print(f"{made / 3600:.2f} h of speech in {options.out}")


def _pack(options: argparse.Namespace) -> None:
    from assistant.acoustic import bank  # noqa: PLC0415

    print(f"{bank.pack(options.bank, options.out) / 1e6:.1f} MB in {options.out}")


def _numbers(given: Sequence[str], known: type[Any]) -> dict[str, Any]:
    """``NAME=VALUE`` options as the fields of a dataclass, each a number of the kind that the field has.

    Raises:
        UsageProblem: A name is not one of its fields, or a value is not a number.
    """
    kinds = {one.name: type(one.default) for one in fields(known) if isinstance(one.default, int | float)}
    values: dict[str, Any] = {}
    for one in given:
        name, _, value = one.partition("=")
        if name not in kinds:
            raise UsageProblem(f"There is no value '{name}' to set. There are {', '.join(kinds)}.")
        try:
            values[name] = kinds[name](value)
        except ValueError as error:
            raise UsageProblem(f"'{value}' is no value for {name}. Give a number, like {name}=2.") from error
    return values


def _gather(options: argparse.Namespace) -> None:
    from assistant.acoustic.gather import gather  # noqa: PLC0415

    gather(options.out, options.styles)
    print(f"The voices are in {options.out}")


def _develop(options: argparse.Namespace) -> None:
    from assistant.acoustic.develop import make_development_set  # noqa: PLC0415

    texts = make_texts(options.voices / "lexicon_us_gold.json.gz")
    kept = {name: synthesiser(name, options.voices) for name in ("joe", "kokoro-kept")}
    count = make_development_set(options.out, texts, kept, lambda text: print(text, file=sys.stderr))
    print(f"{count} utterances in {options.out}")


def _export(options: argparse.Namespace) -> None:
    from assistant import resources  # noqa: PLC0415
    from assistant.acoustic.export import Decoding, write_model  # noqa: PLC0415
    from assistant.acoustic.weights import load  # noqa: PLC0415
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415

    decoding = Decoding(**_numbers(options.set, Decoding))
    grammars = GrammarSet.load(resources.directory("grammars"))
    write_model(options.out, load(options.weights), decoding, grammars)
    print(f"The model is in {options.out}")


def _sweep(options: argparse.Namespace) -> None:
    from assistant.acoustic.sweep import sweep  # noqa: PLC0415
    from assistant.acoustic.weights import load  # noqa: PLC0415

    rows = sweep(
        load(options.weights),
        options.manifest,
        scales=options.scales,
        blank_priors=options.blank_priors,
        fillers=options.fillers,
        every=options.every,
    )
    for row in rows:
        print(row.text(), flush=True)


def _train(options: argparse.Namespace) -> None:
    try:
        import torch  # noqa: PLC0415  only training needs it
    except ImportError as error:
        raise GearProblem(
            f"Training needs PyTorch ({error}). Run: pip install 'bay-assistant[acoustic]'"
        ) from error
    from assistant.acoustic.net import Shape  # noqa: PLC0415
    from assistant.acoustic.plan import Plan  # noqa: PLC0415
    from assistant.acoustic.train import train  # noqa: PLC0415
    from assistant.acoustic.windows import TrainingSpeech  # noqa: PLC0415

    plan = Plan(options.minutes, **_numbers(options.set, Plan))
    shape = Shape(**_numbers(options.shape, Shape))
    if options.device == "cuda" and not torch.cuda.is_available():
        raise GearProblem(
            "There is no GPU that PyTorch can use. Train on one, or add --device cpu: some 100 times slower."
        )
    device = torch.device(options.device)
    speech = TrainingSpeech(options.bank, device, options.people)
    if not speech.phones:
        raise UsageProblem(f"There is no speech in {', '.join(map(str, options.bank))}. Make it with 'bank'.")
    kept = [TrainingSpeech([folder], device) for folder in options.kept]
    print(f"{speech.hours:.2f} h of speech, {len(speech.phones)} utterances", flush=True)
    train(
        speech,
        plan,
        shape,
        options.out,
        go_on=options.go_on,
        kept=kept,
        recorded=options.noises,
        say=lambda t: print(t, flush=True),
    )


def _average(options: argparse.Namespace) -> None:
    from assistant.acoustic.weights import average  # noqa: PLC0415  needs PyTorch

    average(options.weights, options.out, options.shares)
    print(f"The mean of {len(options.weights)} runs is in {options.out}")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m assistant.acoustic", description=__doc__)
    steps = parser.add_subparsers(required=True, metavar="STEP")
    for add in (
        _add_bank,
        add_recordings,
        _add_train,
        add_errors,
        _add_pack,
        _add_gather,
        _add_develop,
        _add_average,
        _add_export,
        _add_sweep,
    ):
        add(steps)
    return parser


def _add_bank(steps: Steps) -> None:
    one = steps.add_parser("bank", help="make a synthesiser speak and store it")
    one.add_argument("--voice", choices=VOICES, required=True)
    one.add_argument("--voices", type=Path, required=True, metavar="DIR", help="folder that 'gather' made")
    one.add_argument("--out", type=Path, required=True, metavar="DIR")
    one.add_argument("--hours", type=float, default=1.0)
    one.add_argument("--seed", type=int, default=1)
    one.add_argument("--readings", action="store_true", help="say readings of instruments only")
    one.add_argument(
        "--device", default="", help="run Kokoro with PyTorch there, as 'cuda', mixing voices widely"
    )
    one.add_argument(
        "--prose", type=Path, nargs="+", default=[], metavar="FILE", help="plain text to read from"
    )
    one.add_argument(
        "--english", type=float, default=0.0, metavar="SHARE", help="of other English among the utterances"
    )
    one.add_argument("--part-s", type=float, default=600.0, help="speech in one pair of files, s")
    one.set_defaults(run=_bank)


def _add_train(steps: Steps) -> None:
    one = steps.add_parser("train", help="train for some minutes on banks of speech")
    one.add_argument("--bank", type=Path, required=True, nargs="+", metavar="DIR")
    one.add_argument(
        "--kept",
        type=Path,
        nargs="+",
        default=[],
        metavar="DIR",
        help="banks of other voices and people, to follow the phone error on",
    )
    one.add_argument("--out", type=Path, required=True, metavar="DIR")
    one.add_argument(
        "--people",
        type=float,
        default=0.0,
        metavar="SHARE",
        help="of utterances by people; else as many as there are",
    )
    one.add_argument("--noises", type=Path, metavar="FILE", help="recorded noises, in one sound file")
    one.add_argument("--from", type=Path, dest="go_on", metavar="FILE", help="weights of an earlier run")
    one.add_argument("--minutes", type=float, required=True)
    one.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", help="a value of the plan")
    one.add_argument(
        "--shape", action="append", default=[], metavar="NAME=VALUE", help="a size of the network"
    )
    one.add_argument("--device", default="cuda")
    one.set_defaults(run=_train)


def _add_pack(steps: Steps) -> None:
    one = steps.add_parser("pack", help="write a bank again as Opus, to take it to another machine")
    one.add_argument("--bank", type=Path, required=True, metavar="DIR")
    one.add_argument("--out", type=Path, required=True, metavar="DIR")
    one.set_defaults(run=_pack)


def _add_gather(steps: Steps) -> None:
    one = steps.add_parser("gather", help="put the voices' files into one folder")
    one.add_argument(
        "--styles", type=Path, required=True, metavar="FILE", help="what 'npm pack kokoro-js' left"
    )
    one.add_argument("--out", type=Path, required=True, metavar="DIR")
    one.set_defaults(run=_gather)


def _add_develop(steps: Steps) -> None:
    one = steps.add_parser("develop", help="make the development set")
    one.add_argument("--voices", type=Path, required=True, metavar="DIR", help="folder that 'gather' made")
    one.add_argument("--out", type=Path, required=True, metavar="DIR")
    one.set_defaults(run=_develop)


def _add_average(steps: Steps) -> None:
    one = steps.add_parser(
        "average", help="the mean of the weights of runs that went on from the same weights"
    )
    one.add_argument("--weights", type=Path, required=True, nargs="+", metavar="FILE")
    one.add_argument(
        "--shares", type=float, nargs="+", default=[], metavar="N", help="of each; else equal ones"
    )
    one.add_argument("--out", type=Path, required=True, metavar="FILE")
    one.set_defaults(run=_average)


def _add_export(steps: Steps) -> None:
    one = steps.add_parser("export", help="write trained weights as a model that Vosk opens")
    one.add_argument("--weights", type=Path, required=True, metavar="FILE")
    one.add_argument("--out", type=Path, required=True, metavar="DIR")
    one.add_argument(
        "--set", action="append", default=[], metavar="NAME=VALUE", help="a weight of the decoder"
    )
    one.set_defaults(run=_export)


def _add_sweep(steps: Steps) -> None:
    one = steps.add_parser("sweep", help="try how the decoder should weigh things, on the development set")
    one.add_argument("--weights", type=Path, required=True, metavar="FILE")
    one.add_argument("--manifest", type=Path, required=True, metavar="FILE", help="of the development set")
    one.add_argument("--scales", type=float, nargs="+", default=[0.4, 0.6, 0.8], metavar="N")
    one.add_argument("--blank-priors", type=float, nargs="+", default=[1.0, 2.5], metavar="N")
    one.add_argument("--fillers", type=float, nargs="+", default=[1.5, 2.0, 2.5], metavar="N")
    one.add_argument("--every", type=int, default=4, metavar="N", help="only one utterance in N")
    one.set_defaults(run=_sweep)


def main(arguments: list[str] | None = None) -> int:
    """Run one stage."""
    options = _parser().parse_args(arguments)
    try:
        options.run(options)
    except (BayAssistantError, OSError) as error:
        print(f"{error}", file=sys.stderr)
        return error.exit_code if isinstance(error, BayAssistantError) else 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
