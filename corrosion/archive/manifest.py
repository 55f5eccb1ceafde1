"""Manifests and bag-info.txt as text (RFC 8493, 2.1.3, 2.2.1, 2.2.2; clauses from memory), and digests."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from corrosion.archive.paths import decode_path, encode_path

BAGIT_TXT: Final = "bagit.txt"
INFO_TXT: Final = "bag-info.txt"
FETCH_TXT: Final = "fetch.txt"
PAYLOAD: Final = "data/"
DECLARATION: Final = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
VERSIONS: Final = ("0.97", "1.0")

ALGORITHMS: Final = ("sha256", "sha512")
"""Those this program writes."""

HEX_DIGITS: Final = {"md5": 32, "sha1": 40, "sha224": 56, "sha256": 64, "sha384": 96, "sha512": 128}
"""Those it verifies, with the length of a digest."""

AGENT: Final = "corrosion-survey"
PIECE = 1024 * 1024

_MANIFEST_NAME = re.compile(r"(tag)?manifest-([a-z0-9-]+)\.txt")
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)")


class Digests:
    """Hashes bytes with several algorithms in one pass and counts them."""

    def __init__(self, algorithms: Iterable[str] = ALGORITHMS) -> None:
        self._hashes = {name: hashlib.new(name) for name in algorithms}
        self.size = 0

    def update(self, data: bytes) -> None:
        """Take more bytes."""
        self.size += len(data)
        for one in self._hashes.values():
            one.update(data)

    def hexdigests(self) -> dict[str, str]:
        """Digest by algorithm, in lower-case hexadecimal."""
        return {name: one.hexdigest() for name, one in self._hashes.items()}


@dataclass(frozen=True)
class Manifest:
    """One manifest as read.

    Attributes
    ----------
    name : str
        File name, ``manifest-sha256.txt``.
    algorithm : str
        As in its name.
    of_tags : bool
        Whether it lists tag files instead of the payload.
    digests : dict of path to str
        In lower-case hexadecimal.
    faults : tuple of str
        What is wrong with its lines.
    """

    name: str
    algorithm: str
    of_tags: bool
    digests: dict[str, str]
    faults: tuple[str, ...] = ()


def manifest_name(algorithm: str, *, of_tags: bool = False) -> str:
    """Name of a manifest's file."""
    return f"{'tag' if of_tags else ''}manifest-{algorithm}.txt"


def is_manifest(name: str) -> bool:
    """Whether a tag file is a manifest or tag manifest by its name."""
    return _MANIFEST_NAME.fullmatch(name) is not None


def write_manifest(digests: Mapping[str, str]) -> bytes:
    """Write a manifest: a line per file, in order of path, so that the same files give the same bytes."""
    lines = (f"{digest}  {encode_path(path)}\n" for path, digest in sorted(digests.items()))
    return "".join(lines).encode()


def read_manifest(name: str, text: str) -> Manifest:
    """Read a manifest; lines that cannot be read become faults, not errors."""
    found = _MANIFEST_NAME.fullmatch(name)
    if found is None:
        raise ValueError(name)
    algorithm = found[2]
    digests: dict[str, str] = {}
    faults = []
    for number, line in enumerate(lines_of(text), start=1):
        parts = _LINE.fullmatch(line)
        if parts is None or len(parts[1]) != HEX_DIGITS.get(algorithm, len(parts[1])):
            faults.append(f"line {number} is not a {algorithm} digest and a path ({line!r:.80})")
            continue
        path = _plain(decode_path(parts[2]))
        if path in digests:
            faults.append(f"line {number} lists {path!r:.80} a second time")
        digests[path] = parts[1].lower()
    return Manifest(name, algorithm, found[1] is not None, digests, tuple(faults))


def lines_of(text: str) -> list[str]:
    """Split at LF, CR or both, and at nothing else: a path may hold any other sign."""
    lines = re.split("\r\n|\r|\n", text)
    return lines if lines[-1] else lines[:-1]


def _plain(path: str) -> str:
    """Drop a leading ``./``, which checksum tools write."""
    return path.removeprefix("./")


def write_info(fields: Iterable[tuple[str, str]]) -> bytes:
    """Write bag-info.txt: a line per field, whatever line ends or control signs its value has."""
    lines = (f"{label}: {one_line(value)}\n" for label, value in fields if one_line(value))
    return "".join(lines).encode()


def one_line(text: str) -> str:
    """Return a text without control signs or line ends, its blanks single, and at most 1000 long."""
    clean = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(clean.encode(errors="replace").decode().split())[:1000]


def read_info(text: str) -> tuple[list[tuple[str, str]], list[str]]:
    """Read bag-info.txt; an indented line continues the one before.

    Returns
    -------
    fields : list of (label, value)
    faults : list of str
    """
    fields: list[tuple[str, str]] = []
    faults = []
    for number, line in enumerate(lines_of(text), start=1):
        label, colon, value = line.partition(":")
        if line[:1] in {" ", "\t"} and fields:
            fields[-1] = (fields[-1][0], f"{fields[-1][1]} {line.strip()}")
        elif colon and label.strip():
            fields.append((label.strip(), value.strip()))
        elif line.strip():
            faults.append(f"line {number} is not 'Label: value' ({line!r:.80})")
    return fields, faults
