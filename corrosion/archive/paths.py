"""Which paths a bag may hold, and safe names for the files put into one.

A bag is unpacked years later on a system nobody knows today. A path is therefore refused when any common
system would take it elsewhere, could not make it, or would let two of them meet.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

PATH_LENGTH = 1000
STEP_BYTES = 255  # the longest name that the common file systems hold

# RFC 8493, 2.1.3: these three are written percent-encoded in a manifest, and no others (from memory).
_ENCODED = {"%": "%25", "\r": "%0D", "\n": "%0A"}
_DECODED = {code: sign for sign, code in _ENCODED.items()}

# Names that stand for devices on one of the common systems, with any ending (common practice, no source).
_DEVICES = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])", re.IGNORECASE)
_DRIVE = re.compile(r"[A-Za-z]:")


def encode_path(path: str) -> str:
    """Write a path as it stands in a manifest: CR, LF and % percent-encoded."""
    return re.sub("[%\r\n]", lambda found: _ENCODED[found[0]], path)


def decode_path(text: str) -> str:
    """Read a path from a manifest; `encode_path` the other way round."""
    return re.sub("%(25|0[AaDd])", lambda found: _DECODED[found[0].upper()], text)


def fault_of(path: str) -> str:
    """Say why a bag may not hold a path, as the end of "the path ..."; empty if it may.

    Parameters
    ----------
    path : str
        Relative to the bag, its steps parted by ``/``.
    """
    for bad, words in _WHOLE:
        if bad(path):
            return words
    for step in path.split("/"):
        for bad, words in _STEPS:
            if bad(step):
                return words
    return ""


def _has_surrogates(path: str) -> bool:
    return any("\ud800" <= sign <= "\udfff" for sign in path)


_WHOLE = (
    (lambda path: not path, "is empty"),
    (lambda path: len(path) > PATH_LENGTH, f"has more than {PATH_LENGTH} characters"),
    (lambda path: "\0" in path, "holds a NUL"),
    (_has_surrogates, "is not valid Unicode"),
    (lambda path: "\\" in path, "holds a backslash, which some systems take for a step"),
    (lambda path: path.startswith("/"), "is absolute"),
    (lambda path: bool(_DRIVE.match(path)), "begins with a drive letter"),
    (lambda path: path.startswith("~"), "begins with ~, which stands for a home folder"),
)
_STEPS = (
    (lambda step: step == "..", "climbs out with '..'"),
    (lambda step: step in {"", "."}, "has an empty step"),
    (lambda step: len(step.encode()) > STEP_BYTES, f"has a name of more than {STEP_BYTES} bytes"),
    (lambda step: step[-1] in ". ", "has a name that ends in a dot or a blank"),
    (lambda step: bool(_DEVICES.fullmatch(step.split(".")[0].rstrip())), "names a device of some systems"),
)


def folded(path: str) -> str:
    """Return what two paths have in common when a system cannot tell them apart: case, composition."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", path).casefold())


def collisions(paths: Iterable[str]) -> list[tuple[str, str]]:
    """Find paths that meet another one on systems blind to case or to Unicode composition.

    Returns
    -------
    list of (path, other)
        Also for a file where another path needs a folder, and for folders spelt in two ways.
    """
    seen: dict[str, tuple[str, bool, str]] = {}
    found = []
    for path in paths:
        steps = path.split("/")
        for count in range(1, len(steps) + 1):
            part, is_file = "/".join(steps[:count]), count == len(steps)
            spelt, was_file, other = seen.setdefault(folded(part), (part, is_file, path))
            same_folder = spelt == part and not (is_file or was_file)
            if other != path and not same_folder:
                found.append((path, other))
                break
    return found


def unique_names(wanted: Iterable[str], *, folder: str, taken: Iterable[str] = ()) -> list[str]:
    """Give each file a path in a bag: its own where that is safe and free, else a safe one like it.

    Parameters
    ----------
    wanted : iterable of str
        Paths as a survey file has them; may be hostile.
    folder : str
        Where files go that cannot keep their path.
    taken : iterable of str
        Paths that are in use already.
    """
    names: list[str] = []
    used = _Used(taken)
    for path in wanted:
        name = path
        if not _is_plain(path) or not used.is_free(path):
            stem, ending = _safe_step(path)
            name, number = f"{folder}/{stem}{ending}", 1
            while not used.is_free(name):
                number += 1
                name = f"{folder}/{stem}-{number}{ending}"
        used.take(name)
        names.append(name)
    return names


class _Used:
    """Which files and folders there are, blind to case and composition."""

    def __init__(self, taken: Iterable[str]) -> None:
        self._files: set[str] = set()
        self._folders: dict[str, str] = {}
        for path in taken:
            self.take(path)

    def is_free(self, path: str) -> bool:
        key = folded(path)
        if key in self._files or key in self._folders:
            return False
        return not any(
            folded(part) in self._files or self._folders.get(folded(part), part) != part
            for part in _folders_of(path)
        )

    def take(self, path: str) -> None:
        self._files.add(folded(path))
        self._folders |= {folded(part): part for part in _folders_of(path)}


def _folders_of(path: str) -> list[str]:
    steps = path.split("/")
    return ["/".join(steps[:count]) for count in range(1, len(steps))]


def _is_plain(path: str) -> bool:
    """Whether a path is fit for any system: also none of the signs that some refuse in names."""
    printable = all(sign.isprintable() and sign not in '<>:"|?*%' for sign in path)
    composed = unicodedata.is_normalized("NFC", path)
    return printable and composed and len(path) <= PATH_LENGTH // 2 and not fault_of(path)


def _safe_step(path: str) -> tuple[str, str]:
    last = re.split(r"[/\\]", path)[-1]
    plain = unicodedata.normalize("NFKD", last).encode("ascii", "ignore").decode()
    stem, dot, ending = plain.rpartition(".")
    clean = re.sub(r"[^A-Za-z0-9._-]+", "-", stem if dot else plain).strip("-._")[:60]
    if not clean or _DEVICES.fullmatch(clean.split(".")[0]):
        clean = f"photo-{clean}".rstrip("-")
    short = re.sub(r"[^A-Za-z0-9]", "", ending)[:5].lower()
    return clean, f".{short}" if dot and short else ""
