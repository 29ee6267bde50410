"""Fresh systems to try the program on: roots made by debootstrap, and commands in them that leave no mount behind.

A command runs in namespaces of its own for mounts and processes (unshare(1)). The kernel drops both when it ends,
also when it is killed, so neither a mount nor a sound server outlives it.
How this machine reaches its mirrors (apt's and pip's settings, proxies, certificates) is read from it each time.

A root of another processor runs through QEMU's user emulation. The kernel is told of it for the time of each command,
with the line that Debian's package brings (binfmt_misc); a command that is killed leaves that entry behind until the
machine starts again, if binfmt_misc was mounted before.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

USER = "newcomer"
"""The ordinary account in a root; it may use sudo, without a password because nobody is there to type it."""

CERTIFICATES = Path("/etc/certificates-of-the-host.crt")
"""Where a root has the certificates that this machine trusts; its own package would overwrite its own place."""

_APT_SETTINGS = ("Acquire::http", "Acquire::https", "Acquire::Check-", "Acquire::Retries")
_VARIABLES = re.compile(
    r"(?i)(https?|no|all)_proxy|PIP_(INDEX_URL|EXTRA_INDEX_URL|DEFAULT_TIMEOUT)|UV_(DEFAULT_)?INDEX(_URL)?"
)
_PIP_FILES = ("etc/pip.conf", "etc/xdg/pip")

_APART = ("unshare", "--mount", "--pid", "--fork", "--kill-child")

EMULATORS = Path("/usr/lib/binfmt.d")
"""Where Debian's qemu-user-static says how the kernel finds an emulator: binfmt.d(5), one line to a processor."""

_QEMU_NAMES = {"arm64": "aarch64"}
"""Debian's name of a processor to QEMU's."""

# Each command has an entry of its own, so those that run at once do not take it from each other. Flag F: the
# kernel holds the emulator open, so a root need not have it. Flag C: sudo may become root.
_EMULATED = """
table=/proc/sys/fs/binfmt_misc line=$1
shift
[ -n "$line" ] || exec "$@"
[ -e "$table/status" ] || mount -t binfmt_misc binfmt_misc "$table" || exit 125
name=$(mktemp -u newcomer-XXXXXXXX)
printf '%sC' "$(sed "s/^:[^:]*:/:$name:/" "$line")" >"$table/register" || exit 125
"$@"
status=$?
echo -1 >"$table/$name"
exit $status
"""

# Mounted in the namespace of one command. /dev is what debootstrap made, and what programs on a terminal need.
_INSIDE = """
mount -t proc proc "$1/proc" && mkdir -p "$1/dev/pts" "$1/dev/shm" &&
mount -t devpts -o ptmxmode=0666 devpts "$1/dev/pts" && ln -sf pts/ptmx "$1/dev/ptmx" &&
mount -t tmpfs tmpfs "$1/dev/shm" || exit 125
root=$1 folder=$2 account=$3; shift 3
exec chroot --userspec="$account:$account" "$root" /bin/sh -c 'cd "$0" && exec "$@"' "$folder" "$@"
"""


@dataclass(frozen=True)
class Release:
    """A system that debootstrap can make.

    Attributes:
        name: As people call it.
        suite: Its name in the archive.
        archive: Address of the archive if this machine's own sources name none.
        components: Parts of the archive.
        keys: File of the keys that sign the archive, if debootstrap does not know it; without it no root is made.
        processor: Debian's name of a processor that is emulated; "" is this machine's own.
    """

    name: str
    suite: str
    archive: str = "http://deb.debian.org/debian"
    components: str = "main"
    keys: str = ""
    processor: str = ""


_UBUNTU = (
    "http://archive.ubuntu.com/ubuntu",
    "main,universe",
    "/usr/share/keyrings/ubuntu-archive-keyring.gpg",
)

RELEASES = {
    "bookworm": Release("Debian 12", "bookworm"),
    "trixie": Release("Debian 13", "trixie"),
    "forky": Release("Debian testing (forky)", "forky"),
    "noble": Release("Ubuntu 24.04", "noble", *_UBUNTU),
    "resolute": Release("Ubuntu 26.04", "resolute", *_UBUNTU),
    "bookworm-arm64": Release("Debian 12, arm64 (emulated)", "bookworm", processor="arm64"),
    "trixie-arm64": Release("Debian 13, arm64 (emulated)", "trixie", processor="arm64"),
}


@dataclass(frozen=True)
class Ended:
    """A command that has ended: exit status, wall time and processor time (user and system) in s, and its output."""

    status: int
    wall_s: float
    processor_s: float
    said: str


def apart(processor: str = "") -> list[str]:
    """What stands before a command that runs in namespaces of its own, and for a processor (`Release`)."""
    return [*_APART, "sh", "-c", _EMULATED, "sh", str(_line_of(processor)) if processor else ""]


def _line_of(processor: str) -> Path:
    """The file with the kernel's line for the emulator of a processor; it need not be there."""
    return EMULATORS / f"qemu-{_QEMU_NAMES[processor]}.conf"


def why_not(processor: str = "") -> str:
    """Why no root can be made here, for this machine's processor or another, in one sentence; "" if one can."""
    for tool in ("debootstrap", "unshare", "chroot", "git"):
        if shutil.which(tool) is None:
            return f"Skipped: {tool} is not installed."
    if os.geteuid() != 0:
        return "Skipped: debootstrap needs root, and this is another account."
    tried = subprocess.run([*apart(), "true"], capture_output=True, check=False)
    if tried.returncode:
        return "Skipped: the system does not allow new namespaces (unshare failed)."
    if not processor:
        return ""
    if not _line_of(processor).exists():
        return f"Skipped: qemu-user-static is not installed, which runs programs for {processor}."
    tried = subprocess.run([*apart(processor), "true"], capture_output=True, check=False)
    return (
        ""
        if tried.returncode == 0
        else f"Skipped: the kernel takes no emulator for {processor} (binfmt_misc)."
    )


def archive_of(release: Release, sources: str) -> str:
    """The archive that this machine's sources name for the same family of systems, else the release's own."""
    family = release.archive.rsplit("/", 1)[1]
    found = re.search(rf"^(?!\s*#).*?(https?://\S+/{family})/?(?=\s|$)", sources, re.MULTILINE)
    return found[1] if found else release.archive


def sources_of_host() -> str:
    """What stands in this machine's sources for apt."""
    folder = Path("/etc/apt")
    files = [folder / "sources.list", *sorted(folder.glob("sources.list.d/*"))]
    return "\n".join(file.read_text(errors="replace") for file in files if file.is_file())


def variables() -> dict[str, str]:
    """Variables of this machine that say how to reach an index, for a command in a root."""
    kept = {name: value for name, value in os.environ.items() if _VARIABLES.fullmatch(name)}
    trusted = dict.fromkeys(
        ("PIP_CERT", "SSL_CERT_FILE", "REQUESTS_CA_BUNDLE", "CURL_CA_BUNDLE"), str(CERTIFICATES)
    )
    return {**kept, **trusted}


def make_root(release: Release, root: Path) -> None:
    """Make a root that stands for a fresh machine with the ordinary account and sudo.

    Raises:
        subprocess.CalledProcessError: The archive could not be reached, or debootstrap failed; its output is in it.
    """
    archive = archive_of(release, sources_of_host())
    script = Path("/usr/share/debootstrap/scripts")
    # A suite that is newer than debootstrap is made like those before it.
    like = [] if (script / release.suite).exists() else [str(script / ("gutsy" if release.keys else "sid"))]
    keys = [f"--keyring={release.keys}"] if release.keys else []
    command = [*apart(release.processor), "debootstrap", "--variant=minbase"]
    command += [
        f"--components={release.components}",
        *([f"--arch={release.processor}"] if release.processor else []),
    ]
    include = ["--include=sudo,ca-certificates"]
    _checked([*command, *include, *keys, release.suite, str(root), archive, *like])
    settings = subprocess.run(["apt-config", "dump"], capture_output=True, text=True, check=True).stdout
    kept = [line for line in settings.splitlines() if line.startswith(_APT_SETTINGS)]
    (root / "etc/apt/apt.conf.d/90host").write_text("\n".join(kept) + "\n")
    shutil.copy("/etc/resolv.conf", root / "etc/resolv.conf")
    shutil.copy("/etc/hosts", root / "etc/hosts")
    shutil.copy("/etc/ssl/certs/ca-certificates.crt", root / CERTIFICATES.relative_to("/"))
    for name in _PIP_FILES:
        if (Path("/") / name).is_dir():
            shutil.copytree(Path("/") / name, root / name)
        elif (Path("/") / name).is_file():
            shutil.copy(Path("/") / name, root / name)
    _checked(
        [
            *apart(release.processor),
            "chroot",
            str(root),
            "useradd",
            "--create-home",
            "--shell",
            "/bin/bash",
            USER,
        ]
    )
    (root / "etc/sudoers.d" / USER).write_text(f"{USER} ALL=(ALL) NOPASSWD: ALL\n")


def run_in(root: Path, account: str, folder: str, command: str, processor: str = "") -> Ended:
    """Run a line of shell in a root, as a person there would type it.

    Args:
        root: From `make_root`.
        account: ``root`` or `USER`.
        folder: Where it is typed.
        command: The line.
        processor: The root's, if it is emulated.
    """
    home = "/root" if account == "root" else f"/home/{account}"
    path = f"{home}/.local/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
    own = {"HOME": home, "USER": account, "LANG": "C.UTF-8", "TERM": "dumb", "PATH": path}
    begun = time.monotonic()
    process = subprocess.Popen(
        [
            *apart(processor),
            "sh",
            "-c",
            _INSIDE,
            "sh",
            str(root),
            folder,
            account,
            "/bin/bash",
            "-c",
            command,
        ],
        env={**variables(), **own},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
    )
    assert process.stdout is not None
    try:
        said = process.stdout.read()
    except BaseException:
        process.kill()  # and with it everything in its namespace
        process.wait()
        raise
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return Ended(process.returncode, time.monotonic() - begun, usage.ru_utime + usage.ru_stime, said)


def packages_in(root: Path) -> set[str]:
    """Names of the packages that a root has."""
    names = ["dpkg-query", f"--admindir={root}/var/lib/dpkg", "--show", "--showformat=${Package}\n"]
    return set(subprocess.run(names, capture_output=True, text=True, check=True).stdout.split())


def disk_mb(folder: Path) -> float:
    """Space on the disk, MB; 0 for a folder that is not there."""
    if not folder.exists():
        return 0.0
    told = subprocess.run(["du", "-s", "-x", "-B1", str(folder)], capture_output=True, text=True, check=True)
    return int(told.stdout.split()[0]) / 1e6


def fetched_mb(root: Path) -> float:
    """Packages of the distribution that apt keeps in its cache, MB.

    What pip fetches is not counted: whether it keeps that depends on the index. `resolving.py` knows the wheels' sizes.
    """
    return disk_mb(root / "var/cache/apt/archives")


def mounts_below(folder: Path, table: str) -> list[str]:
    """Mounts inside a folder, from the text of ``/proc/self/mounts``."""
    places = [line.split()[1] for line in table.splitlines() if len(line.split()) > 1]
    return [place for place in places if Path(place).is_relative_to(folder)]


def _checked(command: list[str]) -> None:
    subprocess.run(command, check=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
