"""The fingerprint of a file."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import BinaryIO

from corrosion.errors import PhotoError

_STEP = 1 << 20


def sha256_of(source: Path | bytes | BinaryIO) -> str:
    """SHA-256 (FIPS 180-4) of a file, of bytes or of a stream read to its end.

    Returns
    -------
    str
        64 lower-case hexadecimal digits.

    Raises
    ------
    PhotoError
        If the file cannot be read.
    """
    if isinstance(source, bytes):
        return hashlib.sha256(source).hexdigest()
    try:
        if isinstance(source, Path):
            with source.open("rb") as stream:
                return hashlib.file_digest(stream, "sha256").hexdigest()
        digest = hashlib.sha256()
        while block := source.read(_STEP):
            digest.update(block)
    except OSError as error:
        raise PhotoError(
            f"the file cannot be read ({error.strerror or error}).",
            place=getattr(source, "name", ""),
            remedy="Check its path and who may read it.",
        ) from error
    return digest.hexdigest()
