"""The table of all settings: the one place that says what can be set, to what, and what it means."""

from __future__ import annotations

import re
from dataclasses import dataclass

from assistant.core.nearest import nearest
from assistant.preferences.kinds import (
    Amount,
    Kind,
    OneOf,
    PlainText,
    Value,
    VoiceName,
    WholeNumber,
    WholePath,
    YesOrNo,
)
from assistant.speaking import DEFAULT_RATE, LEAST_WORDS, MOST_WORDS
from assistant.speaking.naming import DEFAULT_VOICE

PEOPLE = "technicians"
"""The table with a technician's name under each initials."""

_INITIALS = re.compile(r"[A-Za-z0-9]{1,4}")
"""Initials of a technician: as many signs as the dialogue takes."""


@dataclass(frozen=True)
class Setting:
    """A setting.

    Attributes:
        key: Its name: that of its option, with a dot where it stands in a table, such as ``shop.name``.
        about: What it is for, in a few words.
        kind: What it may be.
        option: The option that wins over it; "" only for the name of a technician, which `--technician` gives.
        dest: Name of that option among the parsed ones.
        default: Its value if nothing is said; None if there is none.
        otherwise: What holds then, in words, where `default` does not tell.
    """

    key: str
    about: str
    kind: Kind
    option: str = ""
    dest: str = ""
    default: Value | None = None
    otherwise: str = "not set"

    @property
    def variable(self) -> str:
        """The variable of the environment that wins over the file."""
        return "BAY_ASSISTANT_" + re.sub(r"[.-]", "_", self.key).upper()


def _option(
    key: str, about: str, kind: Kind, dest: str = "", default: Value | None = None, otherwise: str = ""
) -> Setting:
    """A setting that is called like its option; a dot of the key is a dash there."""
    name = key.replace(".", "-")
    return Setting(
        key, about, kind, f"--{name}", dest or name.replace("-", "_"), default, otherwise or "not set"
    )


_SYSTEMS = "the system's"

SETTINGS: tuple[Setting, ...] = (
    _option("shop.name", "the shop's name, at the head of the write-up", PlainText(80)),
    _option("shop.address", "its address there", PlainText(200, lines=4)),
    _option("shop.telephone", "its telephone number there", PlainText(40)),
    _option("technician", "who usually works here: a name, or initials from [technicians]", PlainText(60)),
    _option(
        "lamp.kind", "the test lamp in use", OneOf({"bulb": "a glass bulb with a wire in it", "led": "LED light"}),
        otherwise="asked for where it matters",
    ),
    _option(
        "lamp.current", "what the test lamp draws", Amount(0.005, 6, "A"), otherwise="asked for where it matters"
    ),
    _option("clamp", "the current clamp in use, named in the write-up", PlainText(80)),
    _option("microphone", "the microphone", PlainText(200), otherwise=_SYSTEMS),
    _option("loudspeaker", "the loudspeaker", PlainText(200), dest="speaker", otherwise=_SYSTEMS),
    _option("headset", "the microphone cannot hear the loudspeaker", YesOrNo(), default=False),
    _option("pad", "the number pad that is read wherever the focus is", PlainText(200), otherwise="the terminal"),
    _option("meter", "the meter that reports by itself, as sigrok names it", PlainText(200)),
    _option("clamp-scope", "the clamp on a scope that captures current ramps, as sigrok names it", PlainText(200)),
    _option("hear-starter", "the microphone hears the starter, too", YesOrNo(), default=True),
    _option("keys-only", "no microphone", YesOrNo(), default=False),
    _option("silent", "no loudspeaker", YesOrNo(), default=False),
    _option("plain", "lines instead of a drawn screen", YesOrNo(), default=False),
    _option("voice", "the voice", VoiceName(), default=DEFAULT_VOICE),
    _option(
        "speech-rate", "words a minute", WholeNumber(LEAST_WORDS, MOST_WORDS), default=DEFAULT_RATE
    ),
    _option("board", "the session as a page for tablets", YesOrNo(), default=False),
    _option("board-watch", "a second address, for watching only", YesOrNo(), default=False),
    _option("board-cert", "certificate and key of the board", WholePath("file"), otherwise="plain HTTP"),
    _option("board-address", "name by which tablets reach this machine", PlainText(200), otherwise="its own"),
    _option("board-port", "port of the board", WholeNumber(1, 65535), otherwise="8470, or a free one"),
    _option("sessions", "folder of the sessions", WholePath("folder"), otherwise="in the user's data"),
    _option("procedures", "the shop's own folder of procedures", WholePath("folder"), otherwise="bundled"),
    _option(
        "keep-days", "days after which 'sessions --expired' lists a session", WholeNumber(1, 36500),
        otherwise="kept for good",
    ),
)  # fmt: skip
"""All settings, in the order in which they are shown; the names of technicians are beside them."""

KNOWN = {setting.key: setting for setting in SETTINGS}
"""The same by key."""

TABLES = (*dict.fromkeys(key.partition(".")[0] for key in KNOWN if "." in key), PEOPLE)
"""Names of the tables."""


def setting_of(key: str) -> Setting | None:
    """The setting of a key, also for one technician; None if there is none."""
    table, dot, initials = key.partition(".")
    if table == PEOPLE and dot and _INITIALS.fullmatch(initials):
        return Setting(key, f"the technician {initials}", PlainText(60))
    return KNOWN.get(key)


def meant(key: str) -> str:
    """A sentence, without its full stop, about what could be meant by a key that there is not."""
    if key == PEOPLE or key.startswith(f"{PEOPLE}."):
        return "Initials have 1 to 4 letters or digits: technicians.JD"
    folded = re.sub(r"[\s_-]+", "-", key.strip().casefold())
    last = folded.rpartition(".")[2]
    same = [known for known in KNOWN if last in (known, known.rpartition(".")[2], known.replace(".", "-"))]
    near = same[0] if same else nearest(folded, KNOWN)
    if near is None:
        short = {known.rpartition(".")[2]: known for known in KNOWN}
        near = short.get(nearest(last, short) or "")
    return f"Perhaps you meant '{near}'" if near else "'bay-assistant settings' shows all of them"


def meant_table(name: str) -> str:
    """The same about the name of a table."""
    near = nearest(name, TABLES)
    if near:
        return f"Perhaps you meant [{near}]"
    return f"The tables are {', '.join(f'[{one}]' for one in TABLES)}"
