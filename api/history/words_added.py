"""What a new row or a decision means, in plain words, where "added" or "changed" would say too little."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from api.history.chain import Json

Words = tuple[str, list[str]]


def added_words(table: str, row: Json) -> Words | None:
    """Return headline and details of a new row of some tables; None for the others.

    Parameters
    ----------
    row : dict
        Its columns.
    """
    made = _WAYS.get(table)
    return made(row) if made else None


def _listed(**parts: Any) -> list[str]:
    """Write what there is of some facts, each after its word."""
    return [f"{word.replace('_', ' ')} {value}" for word, value in parts.items() if value]


def _document(row: Json) -> Json:
    found = row.get("document")
    return found if isinstance(found, dict) else {}


def _tick(row: Json) -> Words:
    tick = _document(row)
    facts = _listed(by=tick.get("who"), done=str(tick.get("when", ""))[:16].replace("T", " "))
    return f"Bench card {row.get('card')}: {tick.get('what')}", [*facts, *_listed(note=tick.get("note"))]


def _signature(row: Json) -> Words:
    typed = _document(row)
    certificate = " ".join(str(typed.get(f"certificate_{part}") or "") for part in ("kind", "number"))
    said = _listed(certificate=certificate.strip(), at=typed.get("place"), date=typed.get("date"))
    return f"Signed by {typed.get('name')} as {row.get('role')}", [
        *said,
        *_listed(statement=typed.get("statement")),
    ]


def _seal(row: Json) -> Words:
    return "Survey sealed", _listed(
        hash_of_the_sealed_file=row.get("digest"), no_decision=row.get("no_decision")
    )


def _citation(row: Json) -> Words:
    ways = {"revises": "Opened as a revision of", "carried": "Opened as the next survey after"}
    cited = f"{row.get('cited_name') or 'a survey without a name'}, revision {row.get('cited_revision')}"
    way = ways.get(str(row.get("kind")), f"Cites ({row.get('kind')})")
    return f"{way} {cited}", _listed(reason=row.get("reason"), hash=row.get("cited_digest"))


def _record_file(row: Json) -> Words:
    return f"File {row.get('path')} of an archived record kept", []


def _mark(row: Json) -> Words:
    label = _document(row).get("label", _document(row))
    name = label.get("name") if isinstance(label, dict) else None
    return f"Retention label {name or ''} set".replace("  ", " "), _listed(
        counted_from=row.get("starts"), due=row.get("due")
    )


def _proposal(row: Json) -> Words:
    name = f"Suggested outline {row.get('key')} of photo {row.get('photo_key')}"
    ways = {"point": "pointed at", "sweep": "by a sweep"}
    return f"{name} stored", [
        *_listed(kind=row.get("kind"), found=ways.get(str(row.get("asked")))),
        *_listed(method=row.get("method")),
        f"score {row.get('score')}",
    ]


def decided_words(after: Json) -> str:
    """Say what was decided about a proposed outline.

    Parameters
    ----------
    after : dict
        What changed of its row, by path.
    """
    if after.get("/state") != "accepted":
        return str(after.get("/state") or "changed")
    edited = ", edited" if after.get("/edited") else ""
    return f"accepted as mark {after.get('/mark')}{edited}"


def _account(row: Json) -> Words:
    certificate = f"{row.get('certificate_kind') or ''} {row.get('certificate_number') or ''}".strip()
    said = _listed(name=row.get("display_name"), roles=row.get("roles"), certificate=certificate)
    return f"Account {row.get('name')} added", said


def _token(row: Json) -> Words:
    return f"API token {row.get('label')} made", _listed(
        may=row.get("scope"), until=str(row.get("expires"))[:10]
    )


_WAYS: dict[str, Callable[[Json], Words]] = {
    "ticks": _tick,
    "signatures": _signature,
    "seals": _seal,
    "citations": _citation,
    "record_files": _record_file,
    "retention_marks": _mark,
    "proposals": _proposal,
    "accounts": _account,
    "tokens": _token,
}
