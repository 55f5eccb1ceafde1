"""What a verification says: problems, each with its file, and notes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal


@dataclass(frozen=True)
class BagProblem:
    """One thing wrong with a bag.

    Attributes
    ----------
    file : str
        Path inside the bag, or the bag's own name where no one file is to blame.
    problem : str
        What is wrong with it.
    kind : str
        ``incomplete``: something is missing or not listed. ``altered``: bytes are not those the bag was
        made with. ``refused``: it breaks a rule and was not read. ``record``: the files are intact but
        contradict each other. ``signature``: the signature does not hold.
    """

    file: str
    problem: str
    kind: Literal["incomplete", "altered", "refused", "record", "signature"]

    def __str__(self) -> str:
        return f"{self.file}: {self.problem}"


@dataclass(frozen=True)
class BagSignature:
    """A bag's signature.

    Attributes
    ----------
    state : str
        ``none``; ``unknown``: it holds, by a key nobody vouched for; ``trusted``: it holds, by a key the
        user named as trusted; ``broken``.
    fingerprint : str
        ``SHA256:`` and the hash of the public key in the bag; empty where there is none.
    """

    state: Literal["none", "unknown", "trusted", "broken"]
    fingerprint: str = ""

    def __str__(self) -> str:
        words = {
            "none": "not signed",
            "unknown": f"signed with the key {self.fingerprint}, which nobody vouched for: anyone can "
            "make a key. Compare it with the signer's, or name theirs as trusted",
            "trusted": f"signed with the trusted key {self.fingerprint}",
            "broken": "signed, but the signature does not hold",
        }
        return words[self.state]


@dataclass(frozen=True)
class BagReport:
    """What a verification found.

    Attributes
    ----------
    path : Path
    complete : bool
        Every file that must be there is there and listed, and no other (RFC 8493, 3; from memory).
    valid : bool
        Complete, and every checksum is right (likewise).
    problems : tuple of BagProblem
        Everything wrong, also what RFC 8493 does not ask: signature, the survey file's own hashes.
    notes : tuple of str
        What a reader should know but is not wrong.
    signature : BagSignature
    files, size_bytes : int
        Payload files and their bytes.
    info : tuple of (label, value)
        The fields of bag-info.txt.
    """

    path: Path
    complete: bool
    valid: bool
    problems: tuple[BagProblem, ...]
    notes: tuple[str, ...]
    signature: BagSignature
    files: int
    size_bytes: int
    info: tuple[tuple[str, str], ...] = ()

    @property
    def sound(self) -> bool:
        """Whether nothing at all is wrong."""
        return self.valid and not self.problems
