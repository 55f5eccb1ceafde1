r"""Ed25519 signatures over a bag's tag manifests (RFC 8032), and the keys for them.

A tag manifest holds the digests of all other manifests, so its signature covers the whole bag. A signature
is 64 bytes beside the file it is of; any program that knows Ed25519 can check it without this one::

    openssl pkeyutl -verify -rawin -pubin -inkey signature/public-key.pem \
        -sigfile signature/tagmanifest-sha512.txt.sig -in tagmanifest-sha512.txt
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Final

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from corrosion.errors import ArchiveError

FOLDER: Final = "signature/"
PUBLIC_KEY: Final = f"{FOLDER}public-key.pem"
PUBLIC_ENDING: Final = ".pub"
MOST_KEY_BYTES = 64 * 1024
SIGNATURE_BYTES = 64


def signature_path(manifest: str) -> str:
    """Path in the bag of the signature of one of its tag manifests."""
    return f"{FOLDER}{manifest}.sig"


class Signer:
    """A private key that signs bags."""

    def __init__(self, key: Ed25519PrivateKey) -> None:
        self._key = key
        self.public_pem = _public_pem(key.public_key())

    @property
    def fingerprint(self) -> str:
        """``SHA256:`` and the hash of the public key."""
        return fingerprint(self._key.public_key())

    def sign(self, data: bytes) -> bytes:
        """Return the 64 bytes of a signature."""
        return self._key.sign(data)


def make_key(path: Path, passphrase: str | None = None) -> Signer:
    """Make a key and write it: the private one to `path` for its owner alone, the public one to `path`.pub.

    Parameters
    ----------
    passphrase : str, optional
        Encrypts the private key; without it whoever reads the file can sign.

    Raises
    ------
    ArchiveError
        If one of the files exists (a key is never overwritten) or cannot be written.
    """
    public = path.with_name(path.name + PUBLIC_ENDING)
    for file in (path, public):
        if file.exists() or file.is_symlink():
            raise ArchiveError(
                "exists; a key is never overwritten, because what it signed could not be checked any more.",
                place=str(file),
                remedy="Choose another name.",
            )
    key = Ed25519PrivateKey.generate()
    locked = BestAvailableEncryption(passphrase.encode()) if passphrase else NoEncryption()
    _write_new(path, key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, locked), 0o600)
    signer = Signer(key)
    _write_new(public, signer.public_pem, 0o644)
    return signer


def _write_new(path: Path, data: bytes, mode: int) -> None:
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise ArchiveError(
            f"the key cannot be written ({error.strerror}).",
            place=str(path),
            remedy="Choose a folder you may write to.",
        ) from error


def needs_passphrase(path: Path) -> bool:
    """Whether a private key's file says that it is encrypted; `ArchiveError` if it cannot be read."""
    return b"ENCRYPTED" in _read_key(path)


def load_signer(path: Path, passphrase: str | None = None) -> Signer:
    """Read a private key.

    Raises
    ------
    ArchiveError
        If it cannot be read, is no Ed25519 key, is encrypted and the passphrase is missing or wrong, or
        if other users of the machine may read it.
    """
    data = _read_key(path)
    if os.name != "nt" and path.stat().st_mode & 0o077:
        raise ArchiveError(
            f"the private key may be read by others (mode {path.stat().st_mode & 0o777:o}).",
            place=str(path),
            remedy=f"Keep it to yourself: chmod 600 {path}. If others saw it, make a new key.",
        )
    try:
        key = load_pem_private_key(data, passphrase.encode() if passphrase else None)
    except TypeError as error:
        told = "needs its passphrase" if not passphrase else "is not encrypted, but a passphrase was given"
        raise ArchiveError(
            f"the key {told}.", place=str(path), remedy="Give the passphrase it was made with, if any."
        ) from error
    except (ValueError, UnsupportedAlgorithm) as error:
        told = "the passphrase is wrong, or this is no private key" if passphrase else "is no private key"
        raise ArchiveError(
            f"{told}.", place=str(path), remedy="'corrosion archive-key' makes one."
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise _other_kind(path)
    return Signer(key)


def load_trusted(path: Path) -> bytes:
    """Read a public key that the user trusts, as its 32 bytes; `ArchiveError` if it is none."""
    try:
        return _raw(_public_of(_read_key(path)))
    except (ValueError, UnsupportedAlgorithm) as error:
        raise ArchiveError(
            "is no public key.", place=str(path), remedy="Name the signer's file that ends in .pub."
        ) from error
    except TypeError as error:
        raise _other_kind(path) from error


def _other_kind(path: Path) -> ArchiveError:
    return ArchiveError(
        "is a key of another kind than Ed25519.",
        place=str(path),
        remedy="'corrosion archive-key' makes one.",
    )


def _read_key(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(MOST_KEY_BYTES)
    except OSError as error:
        raise ArchiveError(
            f"the key cannot be read ({error.strerror}).", place=str(path), remedy="Check the path."
        ) from error


def _public_of(pem: bytes) -> Ed25519PublicKey:
    key = load_pem_public_key(pem)
    if not isinstance(key, Ed25519PublicKey):
        raise TypeError
    return key


def _raw(key: Ed25519PublicKey) -> bytes:
    return key.public_bytes(Encoding.Raw, PublicFormat.Raw)


def _public_pem(key: Ed25519PublicKey) -> bytes:
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def fingerprint(key: Ed25519PublicKey | bytes) -> str:
    """``SHA256:`` and the hash of a public key's 32 bytes, to be compared by eye or over the telephone."""
    raw = key if isinstance(key, bytes) else _raw(key)
    return f"SHA256:{hashlib.sha256(raw).hexdigest()}"


def public_key(pem: bytes) -> bytes | None:
    """Read the 32 bytes of a public key from a bag; None if it is none."""
    try:
        return _raw(_public_of(pem))
    except (ValueError, TypeError, UnsupportedAlgorithm):
        return None


def holds(public: bytes, signature: bytes, data: bytes) -> bool:
    """Whether a signature is this key's over these bytes."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, data)
    except InvalidSignature:
        return False
    return True
