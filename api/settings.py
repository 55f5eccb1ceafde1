"""Settings of the service: one frozen value, read from the environment once, handed to `create_app`."""

from __future__ import annotations

import os
import ssl
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Self
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from corrosion.errors import CorrosionError

PREFIX = "CORROSION_"
LOOPBACK_HOSTS = frozenset({"127.0.0.1", "::1", "localhost"})
EVERY_ADDRESS = frozenset({"0.0.0.0", "::"})  # noqa: S104 - named, not bound

MEGABYTE = 1024 * 1024


class SettingsError(CorrosionError):
    """A setting that cannot be used."""


class Settings(BaseModel):
    """Where the service keeps its data, where it listens and how much it accepts.

    Every field is read from an environment variable of the same name in capitals after ``CORROSION_``,
    for instance ``CORROSION_DATA_DIR``.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    data_dir: Annotated[
        Path, Field(description="Folder for the database and the pictures; made if missing.")
    ] = Path("corrosion-data")
    database_url: Annotated[
        str | None,
        Field(description="SQLAlchemy URL, such as postgresql+psycopg://...; SQLite in data_dir if unset."),
    ] = None
    picture_url: Annotated[
        str | None,
        Field(
            description="Object store URL for originals, such as s3://bucket; a folder if unset. Its keys "
            "are read from AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, its region from AWS_REGION."
        ),
    ] = None
    picture_endpoint: Annotated[
        str | None,
        Field(
            description="Address of an S3 server of your own for picture_url, such as "
            "https://store.example; http only on this machine."
        ),
    ] = None
    host: Annotated[
        str,
        Field(description="Address to listen on; any but loopback only once there is an administrator."),
    ] = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535, description="Port to listen on; 0 takes a free one.")] = 8321
    allowed_hosts: Annotated[
        tuple[str, ...],
        Field(
            description="Further host names the service answers to, separated by commas; likewise only "
            "once there is an administrator."
        ),
    ] = ()
    tls_certificate: Annotated[
        Path | None,
        Field(description="PEM file of a certificate (chain): the service then speaks https itself."),
    ] = None
    tls_key: Annotated[
        Path | None, Field(description="PEM file of the certificate's key, if not in the same file.")
    ] = None
    without_tls: Annotated[
        bool,
        Field(
            description="Let browsers elsewhere sign in over plain http: passwords and sessions can then "
            "be read on the way. Only for a network of your own."
        ),
    ] = False
    session_idle_minutes: Annotated[
        int, Field(gt=0, description="A session ends this long after its last request.")
    ] = 8 * 60
    # source: NIST SP 800-63B-4, section 2.1.3: at most 30 days with a password alone (from memory).
    session_hours: Annotated[
        int, Field(gt=0, le=30 * 24, description="A session ends this long after the sign-in.")
    ] = 7 * 24
    max_file_bytes: Annotated[int, Field(gt=0, description="Largest picture accepted, in bytes.")] = (
        100 * MEGABYTE
    )
    max_upload_bytes: Annotated[int, Field(gt=0, description="Largest upload request, in bytes.")] = (
        4096 * MEGABYTE
    )
    max_json_bytes: Annotated[int, Field(gt=0, description="Largest JSON request, in bytes.")] = (
        64 * MEGABYTE
    )
    max_files: Annotated[int, Field(gt=0, description="Most pictures in one upload request.")] = 1000
    max_megapixels: Annotated[float, Field(gt=0, description="Largest picture accepted, in 10^6 px.")] = (
        120.0
    )
    archive_key: Annotated[
        Path | None,
        Field(
            description="Private key without passphrase, from 'corrosion archive-key', that signs every "
            "archive of a stored survey; they are unsigned if unset."
        ),
    ] = None
    photo_workers: Annotated[
        int, Field(ge=0, description="Pictures decoded at the same time; 0 means one per processor.")
    ] = 0

    @field_validator("picture_endpoint")
    @classmethod
    def _check_endpoint(cls, value: str | None) -> str | None:
        # Over plain http anyone on the way could read the pictures and repeat the signed requests.
        if value is not None and not (value.startswith("https://") or is_loopback_http(value)):
            raise ValueError("must start with https://, or with http:// and a loopback host")
        return value

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Self:
        """Read the settings from ``CORROSION_*`` variables; unset ones keep their default.

        Raises
        ------
        SettingsError
            If a value cannot be used; the message names the variable.
        """
        source = os.environ if environment is None else environment
        given: dict[str, object] = {}
        for name in cls.model_fields:
            text = source.get(PREFIX + name.upper(), "").strip()
            if text:
                given[name] = _split(text) if name == "allowed_hosts" else text
        try:
            return cls.model_validate(given)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            variable = PREFIX + str(first["loc"][0]).upper()
            raise SettingsError(
                f"{first['msg']} (got {first['input']!r:.80}).",
                place=variable,
                remedy="Correct the variable or unset it for the default.",
            ) from error

    @property
    def workers(self) -> int:
        """Number of photo workers, never 0."""
        return self.photo_workers or os.cpu_count() or 1

    @property
    def store_url(self) -> str:
        """SQLAlchemy URL of the database."""
        return self.database_url or f"sqlite:///{self.sqlite_path}"

    @property
    def sqlite_path(self) -> Path:
        """Where SQLite keeps the database if no other one is set."""
        return (self.data_dir / "corrosion.sqlite3").resolve()

    @property
    def is_open(self) -> bool:
        """Whether others than this machine's own users are meant to reach the service."""
        return self.host not in LOOPBACK_HOSTS or bool(self.allowed_hosts)

    @property
    def host_names(self) -> frozenset[str]:
        """Names and addresses the service answers to beside those of loopback."""
        own = () if self.host in EVERY_ADDRESS else (f"[{self.host}]" if ":" in self.host else self.host,)
        return frozenset({*self.allowed_hosts, *own})

    @property
    def secure_cookies(self) -> bool:
        """Whether cookies are sent over https only (or, as browsers allow, to this machine)."""
        return not self.without_tls and (self.is_open or self.tls_certificate is not None)

    def check_bind(self, *, administrator: bool = False) -> None:
        """Refuse to be reached from beyond this machine before anybody could keep strangers out.

        Parameters
        ----------
        administrator : bool
            Whether an account exists that can manage the others.

        Raises
        ------
        SettingsError
            If `host` is not a loopback address, or further names are allowed, without an administrator.
        """
        if not self.is_open or administrator:
            return
        on_network = self.host not in LOOPBACK_HOSTS
        what = f"listen on {self.host!r}" if on_network else f"answer to {self.allowed_hosts[0]!r}"
        raise SettingsError(
            f"the service would {what}, open to the network without accounts.",
            place=PREFIX + ("HOST" if on_network else "ALLOWED_HOSTS"),
            remedy="Add an administrator first: corrosion people add NAME --role administrator. "
            "Without accounts use 127.0.0.1, ::1 or localhost.",
        )

    def check_tls(self) -> None:
        """Refuse a certificate and key that https cannot be spoken with.

        Raises
        ------
        SettingsError
            If a file is missing or no PEM, or if the two do not belong together.
        """
        if self.tls_certificate is None:
            return
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(self.tls_certificate, self.tls_key)
        except OSError as error:
            raise SettingsError(
                f"{str(self.tls_certificate)!r} and its key cannot be used ({error.strerror or error}).",
                place=PREFIX + "TLS_CERTIFICATE",
                remedy="Name PEM files that belong together and that this program may read.",
            ) from error


def is_loopback_http(url: str) -> bool:
    """Whether a URL is plain http to this machine."""
    parts = urlsplit(url)
    return parts.scheme == "http" and parts.hostname in LOOPBACK_HOSTS


def _split(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())
