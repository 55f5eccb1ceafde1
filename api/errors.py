"""What the service can refuse, and the one map from error class to problem (RFC 9457).

::

    CorrosionError
    `- StorageError               the service's store could not keep or find something
       |- NotFoundError           404
       |- ConflictError           409
       |- SealedError             409  the survey is sealed; corrections go into a revision
       |- WithdrawnError          410  it was entered wrongly and taken back
       |- StaleError              412  someone else changed it first
       |- TooLargeError           413
       |- RangeError              416
       |- InvalidError            422  names the path and the value of each fault
       |- VersionMissingError     428  an edit without If-Match
       |- RequestError            400
       |- NotSignedInError        401
       |- NotAllowedError         403  signed in, but without the role or scope it takes
       |- TooManyTriesError       429  failed sign-ins; says when to try again
       |- HostError               421  host name not served here
       |- CrossSiteError          403  a write sent by another site
       `- NotAvailableError       501  a part of the program that is not installed
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypedDict

from corrosion.errors import ArchiveError, CorrosionError, PhotoRefusedError, StorageError, SurveyFileError


class Fault(TypedDict, total=False):
    """One fault of a request: where, what, and the value found there."""

    path: str
    message: str
    value: Any


class NotFoundError(StorageError):
    """No such thing in the store."""


class ConflictError(StorageError):
    """The request contradicts what is stored."""


class SealedError(ConflictError):
    """A survey that was sealed; it does not change any more."""


class WithdrawnError(StorageError):
    """A photo or entry that was taken back; its row is kept."""


class StaleError(StorageError):
    """The version given is no longer the current one."""


class VersionMissingError(StorageError):
    """An edit that does not say which version it edits."""


class TooLargeError(StorageError):
    """A request or file above its limit."""


class RangeError(StorageError):
    """A byte range outside the file."""

    total: int = 0


class RequestError(StorageError):
    """A request that cannot be read."""


class HostError(StorageError):
    """A host name this service does not answer to."""


class CrossSiteError(StorageError):
    """A write that another site sent."""


class NotSignedInError(StorageError):
    """Somebody who has to sign in first, or whose sign-in has ended."""


class NotAllowedError(StorageError):
    """Something that none of this person's roles may do."""


class TooManyTriesError(StorageError):
    """Too many failed sign-ins; `seconds` says how long to wait."""

    seconds: int = 0


class NotAvailableError(StorageError):
    """A part of the program that is not there."""


class InvalidError(StorageError):
    """Data that breaks the model or names something that does not exist.

    `faults` lists every fault with its path in the request.
    """

    def __init__(
        self, problem: str, *, place: str = "", remedy: str = "", faults: Sequence[Fault] = ()
    ) -> None:
        super().__init__(problem, place=place, remedy=remedy)
        self.faults = list(faults)


@dataclass(frozen=True)
class ProblemKind:
    """A kind of problem: the last step of its ``type`` URI, its status and its title."""

    slug: str
    status: int
    title: str


KINDS: dict[type[CorrosionError], ProblemKind] = {
    RequestError: ProblemKind("bad-request", 400, "The request cannot be read"),
    NotSignedInError: ProblemKind("not-signed-in", 401, "Sign in first"),
    NotAllowedError: ProblemKind("not-allowed", 403, "None of your roles may do this"),
    CrossSiteError: ProblemKind("cross-site", 403, "A write from another site was refused"),
    NotFoundError: ProblemKind("not-found", 404, "There is no such thing here"),
    ConflictError: ProblemKind("conflict", 409, "The request contradicts what is stored"),
    SealedError: ProblemKind("sealed", 409, "The survey is sealed"),
    WithdrawnError: ProblemKind("withdrawn", 410, "This was withdrawn"),
    StaleError: ProblemKind("stale", 412, "Someone else changed this first"),
    TooLargeError: ProblemKind("too-large", 413, "The request is too large"),
    RangeError: ProblemKind("range", 416, "The byte range is outside the file"),
    HostError: ProblemKind("host", 421, "This service does not answer to that host name"),
    PhotoRefusedError: ProblemKind("photo-refused", 422, "The picture was refused"),
    SurveyFileError: ProblemKind("survey-file", 422, "The survey file breaks its format"),
    ArchiveError: ProblemKind("archive", 422, "The archive cannot be used"),
    InvalidError: ProblemKind("invalid", 422, "The data does not hold together"),
    VersionMissingError: ProblemKind("version-missing", 428, "An edit must say which version it edits"),
    TooManyTriesError: ProblemKind("too-many-tries", 429, "Too many failed sign-ins"),
    NotAvailableError: ProblemKind("not-available", 501, "This part of the program is not available"),
    StorageError: ProblemKind("storage", 503, "The store is not available"),
    CorrosionError: ProblemKind("corrosion", 422, "The input cannot be used"),
}
"""Looked up along the class's bases, so that a new error class always has an answer."""

METHOD_NOT_ALLOWED = ProblemKind("method-not-allowed", 405, "That method is not offered here")
INTERNAL = ProblemKind("internal", 500, "The service failed")
OTHER_KINDS = (METHOD_NOT_ALLOWED, INTERNAL)

PROBLEM_BASE = "/api/problems/"
PROBLEM_MEDIA_TYPE = "application/problem+json"


def kind_of(error: CorrosionError) -> ProblemKind:
    """Find the kind of problem of an error through its nearest base class in `KINDS`."""
    for base in type(error).__mro__:
        if base in KINDS:
            return KINDS[base]
    return INTERNAL


def kind_of_status(status: int) -> ProblemKind | None:
    """Find the kind a bare HTTP status stands for, for errors that the framework raises."""
    candidates = [*KINDS.values(), *OTHER_KINDS]
    return next((kind for kind in candidates if kind.status == status), None)


def problem(
    kind: ProblemKind,
    detail: str,
    *,
    instance: str = "",
    extra: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Build the body of a problem (RFC 9457, section 3)."""
    body: dict[str, Any] = {
        "type": PROBLEM_BASE + kind.slug,
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
    }
    if instance:
        body["instance"] = instance
    return body | dict(extra or {})


def problem_of(error: CorrosionError, *, instance: str = "") -> dict[str, Any]:
    """Build the problem of an error of the tree: its text, place, remedy and faults."""
    extra: dict[str, Any] = {}
    if error.place:
        extra["place"] = error.place
    if error.remedy:
        extra["remedy"] = error.remedy
    if isinstance(error, InvalidError) and error.faults:
        extra["errors"] = error.faults
    return problem(kind_of(error), str(error), instance=instance, extra=extra)
