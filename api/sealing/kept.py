"""What a survey's results rest on beside its file, as one text to be hashed, frozen and read again."""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from corrosion.errors import RecordError

Sizes = dict[str, tuple[int, int]]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class KeptTick(_Part):
    """A line of a bench card's log."""

    card: str
    fingerprint: str
    logged: str
    who: str
    what: str
    when: str
    note: str = ""


class KeptCandidate(_Part):
    """A candidate's own survey as it was: its file, and the sizes of its pictures."""

    file: str
    sizes: Sizes


class KeptCitation(_Part):
    """What the survey builds on; see `api.sealing.tables.CitationRow`."""

    kind: Literal["revises", "carried"]
    survey: str
    revision: int
    digest: str
    reason: str = ""


class Kept(_Part):
    """Beside the survey file: picture sizes in px, the bench log, candidates' surveys, what it cites."""

    format: Literal["corrosion-record-kept"] = "corrosion-record-kept"
    version: Literal[1] = 1
    sizes: Sizes = {}
    ticks: list[KeptTick] = []
    candidates: dict[str, KeptCandidate] = {}
    citations: Annotated[list[KeptCitation], Field(max_length=2)] = []


def kept_text(kept: Kept) -> str:
    """Write it; the same content always gives the same text."""
    return json.dumps(kept.model_dump(mode="json"), sort_keys=True, ensure_ascii=False, indent=1) + "\n"


def read_kept(text: str) -> Kept:
    """Read what `kept_text` wrote; `RecordError` if it is anything else."""
    try:
        return Kept.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        where = ".".join(str(step) for step in first["loc"]) or "the whole"
        raise RecordError(
            f"what the record keeps beside the survey file cannot be read: {where}: {first['msg']}.",
            remedy="Take it as the program wrote it; a changed record is not to be trusted.",
        ) from error


def sha256_of(text: str) -> str:
    """Return the SHA-256 of a text's UTF-8 bytes as 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def state_digest(file_digest: str, kept_digest: str) -> str:
    """Return the digest that a signature is bound to: of both texts' digests together."""
    return sha256_of(f"corrosion-record\n{file_digest}\n{kept_digest}\n")
