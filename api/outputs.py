"""What the command line writes: whole files or none, and never over its own inputs."""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterable
from enum import StrEnum
from pathlib import Path
from typing import Any

from corrosion.errors import CorrosionError

STANDARD_OUTPUT = "-"


class Paper(StrEnum):
    """Paper of printed pages."""

    A4 = "a4"
    LETTER = "letter"


class OutputError(CorrosionError):
    """A file that cannot be written."""


def check_output(path: Path, *, inputs: Iterable[Path], endings: tuple[str, ...] = ()) -> None:
    """Refuse an output before any work is done for it.

    Parameters
    ----------
    inputs : iterable of Path
        Files that must stay as they are.
    endings : tuple of str
        Endings allowed, such as ``.png``; any if empty.

    Raises
    ------
    OutputError
        If the folder is missing, the path is a folder, has another ending, or is one of the inputs.
    """
    if endings and path.suffix.lower() not in endings:
        raise OutputError(
            f"a file ending in {path.suffix!r} cannot be written here.",
            place=str(path),
            remedy=f"Let the name end in {' or '.join(endings)}.",
        )
    if path.is_dir():
        raise OutputError("is a folder.", place=str(path), remedy="Name a file in it.")
    if not path.absolute().parent.is_dir():
        raise OutputError("the folder does not exist.", place=str(path), remedy="Make it first.")
    if any(_same(path, given) for given in inputs):
        raise OutputError(
            "is an input of the survey and is not overwritten.",
            place=str(path),
            remedy="Choose another name.",
        )


def _same(a: Path, b: Path) -> bool:
    if a.exists() and b.exists():
        return a.samefile(b)
    return a.resolve() == b.resolve()


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let `write` make a file under a temporary name, then put it in place in one step.

    Whatever goes wrong, the old file at `path` stays whole and no part of the new one is left.

    Raises
    ------
    OutputError
        If the system refuses.
    """
    try:
        handle, name = tempfile.mkstemp(
            dir=path.absolute().parent, prefix=".unfinished-", suffix=path.suffix
        )
        os.close(handle)
    except OSError as error:
        raise _refused(path, error) from error
    unfinished = Path(name)
    try:
        write(unfinished)
        with unfinished.open("rb+") as stream:
            os.fsync(stream.fileno())
        # A temporary file is private; an output is an ordinary file.
        unfinished.chmod(0o666 & ~_mask())
        unfinished.replace(path)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        unfinished.unlink(missing_ok=True)


def _mask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _refused(path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"cannot be written ({error.strerror or error}).",
        place=str(path),
        remedy="Check the folder, its rights and the space on the disk.",
    )


def write_json(target: str, document: dict[str, Any]) -> None:
    """Write a document as JSON to a path, or to standard output for ``-``.

    Raises
    ------
    OutputError
        See `write_whole`.
    """
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    if target == STANDARD_OUTPUT:
        sys.stdout.write(text)
        return
    write_whole(Path(target), lambda path: _write_text(path, text))


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")
