"""The pictures' bytes: originals by their SHA-256, written once and never changed.

An upload is streamed into a temporary file of the `incoming` folder while it is hashed and counted, and
only a complete file is put into the store, in one atomic step. A killed process therefore leaves at
most a temporary file, which the next start removes, or a complete original that nothing refers to yet.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import IO, TYPE_CHECKING, Literal

import obstore
from obstore.exceptions import AlreadyExistsError, BaseError
from obstore.store import LocalStore, ObjectStore, S3Store, from_url

from api.settings import is_loopback_http
from corrosion.errors import StorageError

if TYPE_CHECKING:  # obstore has these in its stubs only
    from obstore.store import ClientConfig, RetryConfig

Derived = Literal["preview", "thumbnail", "picture"]

# A temporary file not written to for this long belongs to a process that died.
ABANDONED_SECONDS = 3600.0

# A person waits for the answer: the library's own three minutes of retries are too long, and its half
# minute for one request too short for a large original on a slow line.
RETRIES = 4
RETRY_TIME = timedelta(seconds=20)
REQUEST_TIME = timedelta(minutes=5)


@dataclass
class Incoming:
    """A file being received.

    Attributes
    ----------
    path : Path
        Temporary file holding the bytes received so far.
    size : int
        Bytes received so far, also those past `limit`, which are not kept.
    """

    path: Path
    limit: int
    size: int = 0
    _hash: hashlib._Hash = field(default_factory=hashlib.sha256)
    _file: IO[bytes] | None = None

    def write(self, data: bytes) -> None:
        """Take more bytes; those past the limit are counted and dropped."""
        self.size += len(data)
        if self.size <= self.limit and self._file is not None:
            self._hash.update(data)
            self._file.write(data)

    def close(self) -> None:
        """End the file."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def discard(self) -> None:
        """Close and remove the temporary file."""
        self.close()
        self.path.unlink(missing_ok=True)

    @property
    def too_large(self) -> bool:
        """Whether more came than the limit allows."""
        return self.size > self.limit

    @property
    def sha256(self) -> str:
        """Hash of the bytes received, in hexadecimal."""
        return self._hash.hexdigest()


class PictureFiles:
    """The store of pictures.

    Parameters
    ----------
    url : str or None
        Object store URL; None keeps the originals in `folder`.
    folder : Path
        Where local originals live.
    incoming : Path
        Folder for uploads in progress.
    endpoint : str, optional
        Address of the S3 server that an ``s3://`` URL means.

    Raises
    ------
    StorageError
        If a folder cannot be made or the URL cannot be used.
    """

    def __init__(
        self, url: str | None, *, folder: Path, incoming: Path, endpoint: str | None = None
    ) -> None:
        self._incoming = incoming
        self._folder = folder.resolve() if url is None else None
        if endpoint is not None and not (url or "").startswith("s3://"):
            raise StorageError(
                f"there is an S3 address but {url!r} names no bucket.",
                place="CORROSION_PICTURE_ENDPOINT",
                remedy="Set CORROSION_PICTURE_URL to s3://bucket, or unset the address.",
            )
        try:
            incoming.mkdir(parents=True, exist_ok=True)
            self._store: ObjectStore = (
                LocalStore(prefix=folder.resolve(), mkdir=True) if url is None else _remote(url, endpoint)
            )
        except (OSError, BaseError, ValueError) as error:
            raise StorageError(
                f"the picture store cannot be opened ({error}).",
                place="CORROSION_PICTURE_URL" if url else "CORROSION_DATA_DIR",
                remedy="Check the path and the rights on it.",
            ) from error

    def remove_abandoned(self) -> int:
        """Remove what killed uploads left behind; return how many files. Originals are never touched."""
        oldest = time.time() - ABANDONED_SECONDS
        left = list(self._incoming.glob("*.part"))
        if self._folder is not None:
            # The local store writes "<key>#<n>" before it links the finished file.
            left += list(self._folder.glob("sha256/*/*#*"))
        gone = [path for path in left if path.stat().st_mtime < oldest]
        for path in gone:
            path.unlink(missing_ok=True)
        return len(gone)

    def receive(self, limit: int) -> Incoming:
        """Open a temporary file for an upload of at most `limit` bytes."""
        try:
            file = NamedTemporaryFile(dir=self._incoming, suffix=".part", delete=False)  # noqa: SIM115
        except OSError as error:
            raise _unwritable(error) from error
        return Incoming(Path(file.name), limit, _file=file)

    def keep(self, incoming: Incoming) -> None:
        """Put a complete upload into the store under its hash. The same bytes twice are one original.

        When this returns the original survives a power cut.

        Raises
        ------
        StorageError
            If it cannot be written, or if what is stored under the hash has another size.
        """
        incoming.close()
        key = _key(incoming.sha256)
        try:
            obstore.put(self._store, key, incoming.path, mode="create")
            self._sync(key)
        except AlreadyExistsError:
            self._check_size(incoming.sha256, incoming.size)
        except (OSError, BaseError) as error:
            raise _unwritable(error) from error

    def _check_size(self, sha256: str, size: int) -> None:
        key, stored = _key(sha256), self.size_of(sha256)
        if stored != size:
            raise StorageError(
                f"the stored original has {stored} bytes, the same picture uploaded now has {size}.",
                place=key,
                remedy="The store is damaged; restore this file from a backup.",
            )

    def _sync(self, key: str) -> None:
        """Flush a local file and the folder entry that names it down to the disk."""
        if self._folder is None:
            return
        path = self._folder / key
        for target in (path, path.parent):
            if target.is_dir() and os.name == "nt":
                continue  # Windows cannot open a folder; its journal keeps the entry.
            handle = os.open(target, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)

    def size_of(self, sha256: str) -> int:
        """Bytes of a stored original.

        Raises
        ------
        StorageError
            If it is not there.
        """
        try:
            return int(obstore.head(self._store, _key(sha256))["size"])
        except (FileNotFoundError, BaseError) as error:
            raise _lost(sha256, error) from error

    def stream(self, sha256: str, start: int, stop: int) -> Iterator[bytes]:
        """Yield the bytes ``start`` to ``stop`` (exclusive) of an original, in pieces.

        Raises
        ------
        StorageError
            If it is not there.
        """
        if start >= stop:
            return iter(())
        try:
            got = obstore.get(self._store, _key(sha256), options={"range": (start, stop)})
        except (FileNotFoundError, BaseError) as error:
            raise _lost(sha256, error) from error
        return (bytes(piece) for piece in got.stream(min_chunk_size=256 * 1024))

    def read(self, sha256: str) -> bytes:
        """Return all bytes of an original; `StorageError` if it is not there."""
        try:
            return bytes(obstore.get(self._store, _key(sha256)).bytes())
        except (FileNotFoundError, BaseError) as error:
            raise _lost(sha256, error) from error

    def keep_derived(self, kind: Derived, sha256: str, data: bytes) -> None:
        """Keep a picture made from an original. It can be made again, so it may be overwritten."""
        try:
            obstore.put(self._store, f"{kind}/{sha256[:2]}/{sha256}.jpg", data)
        except (OSError, BaseError) as error:
            raise _unwritable(error) from error

    def derived(self, kind: Derived, sha256: str) -> bytes | None:
        """Return a picture made from an original, or None if it has to be made again."""
        try:
            return bytes(obstore.get(self._store, f"{kind}/{sha256[:2]}/{sha256}.jpg").bytes())
        except FileNotFoundError:
            return None
        except BaseError as error:
            raise _lost(sha256, error) from error


def _remote(url: str, endpoint: str | None) -> ObjectStore:
    """Open an object store; keys come from its own environment variables, so that no setting holds them."""
    if not url.startswith("s3://"):
        return from_url(url)
    retries: RetryConfig = {"max_retries": RETRIES, "retry_timeout": RETRY_TIME}
    options: ClientConfig = {"timeout": REQUEST_TIME}
    if endpoint is None:
        return S3Store.from_url(url, client_options=options, retry_config=retries)
    options["allow_http"] = is_loopback_http(endpoint)
    return S3Store.from_url(url, endpoint=endpoint, client_options=options, retry_config=retries)


def _key(sha256: str) -> str:
    return f"sha256/{sha256[:2]}/{sha256}"


def _lost(sha256: str, error: Exception) -> StorageError:
    """Tell a picture that is gone from a store that does not answer: the ways out differ."""
    place = f"picture {sha256}"
    if isinstance(error, FileNotFoundError):
        return StorageError(
            "the original is not in the picture store.",
            place=place,
            remedy="Restore the picture store from a backup; the survey itself is intact.",
        )
    return StorageError(
        f"the picture store does not answer ({type(error).__name__}).",
        place=place,
        remedy="Check that it runs and accepts the service's keys, then try again.",
    )


def _unwritable(error: Exception) -> StorageError:
    # The cause goes to the log with the traceback; its text may name paths of this machine.
    reason = getattr(error, "strerror", None) or type(error).__name__
    return StorageError(
        f"the picture could not be written ({reason}).",
        place="picture store",
        remedy="Check that the store runs, its free space and the rights on it, then upload it again.",
    )
