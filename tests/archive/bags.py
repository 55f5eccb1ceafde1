"""Small bags for the tests, and zips and folders that no honest program writes."""

from __future__ import annotations

import functools
import io
import shutil
from pathlib import Path
from zipfile import ZipFile, ZipInfo

from corrosion.archive import BagForm, Signer, bytes_file, software_agent, write_bag

INFO = [
    software_agent("test"),
    ("Bagging-Date", "2031-04-18"),
    ("External-Identifier", "s-1"),
]
PAYLOAD = {
    "photos/f1.jpg": b"\xff\xd8not a real photo\xff\xd9",
    "photos/ünder der Haut.jpg": b"another",
    "tables/empty.csv": b"",
    "notes.txt": b"one\r\ntwo\n",
}


def make_bag(
    target: Path, form: BagForm, *, payload: dict[str, bytes] | None = None, signer: Signer | None = None
) -> Path:
    """Write a bag of a few small files."""
    files = [bytes_file(path, data) for path, data in (PAYLOAD if payload is None else payload).items()]
    write_bag(target, files, INFO, form=form, name="bag", signer=signer)
    return target


@functools.cache
def plain_zip(folder: Path) -> bytes:
    """Bytes of a sound, unsigned bag as a zip."""
    return make_bag(folder / "plain.zip", BagForm.ZIP).read_bytes()


def rezipped(source: Path, target: Path, changes: dict[str, bytes | None], root: str = "bag/") -> Path:
    """Copy a folder's files into an ordinary zip with some replaced, added or (None) left out."""
    files: dict[str, bytes | None] = {
        path.relative_to(source).as_posix(): path.read_bytes()
        for path in sorted(source.rglob("*"))
        if path.is_file()
    }
    with ZipFile(target, "w") as made:
        for name, data in (files | changes).items():
            if data is not None:
                made.writestr(root + name, data)
    return target


def zip_of(*entries: tuple[str | ZipInfo, bytes]) -> bytes:
    """Make a zip of entries, whatever their names."""
    stream = io.BytesIO()
    with ZipFile(stream, "w") as made:
        for name, data in entries:
            made.writestr(name, data)
    return stream.getvalue()


def copied(folder: Path, target: Path) -> Path:
    """Copy a folder's tree."""
    shutil.copytree(folder, target)
    return target
