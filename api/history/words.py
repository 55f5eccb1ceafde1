"""Lines of the history in plain words: "Marks of photo f3 changed", "P2 depth 0.31 → 0.34 mm"."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from api.history.chain import HistoryEntry, Json
from api.history.diff import ITEM, ORDER, steps
from api.history.words_added import added_words, decided_words

NOUNS = {
    "structures": "structure",
    "surveys": "survey",
    "pictures": "picture",
    "photos": "photo",
    "removals": "rework entry",
    "readings": "thickness reading",
    "choices": "",
    "ticks": "bench card",
    "proposals": "suggested outline",
    "accounts": "account",
    "tokens": "API token",
    "signatures": "signature:",
    "seals": "seal",
    "citations": "link to an earlier survey:",
    "record_files": "file of an archived record:",
    "saved_searches": "saved search",
    "retention_labels": "retention label",
    "retention_marks": "retention label of the survey",
}
"""What a row of a table is called; a table without an entry is called by its own name."""

NAMED_BY = ("key", "name", "part", "card", "label", "role", "kind", "path", "sha256", "photo_key")
"""The first of these columns that a row has is its name; `photo_key` is only ever the second."""

KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "structure": ("Structure", ("structures",)),
    "survey": ("Survey", ("surveys",)),
    "photos": ("Photos and marks", ("photos",)),
    "pictures": ("Pictures", ("pictures",)),
    "suggestions": ("Suggested outlines", ("proposals",)),
    "rework": ("Rework entries", ("removals",)),
    "readings": ("Thickness readings", ("readings",)),
    "plans": ("Plan and decision", ("choices",)),
    "bench": ("Bench cards", ("ticks",)),
    "record": ("Signatures, seals, archives", ("signatures", "seals", "citations", "record_files")),
    "people": ("People", ("accounts", "tokens")),
    "keeping": ("Searches and retention", ("saved_searches", "retention_labels", "retention_marks")),
}
"""What the history can be narrowed to: the word for it, and its tables."""

# Copies of what the document says, and what the service counts by itself.
UNSAID = frozenset(
    {"version", "lifted_reason", "withdrawn_at", "withdrawn_reason", "position", "created", "upload_name"}
)
PARTS = {
    "marks": "marks",
    "scale": "scale",
    "placement": "placement",
    "note": "note",
    "members": "members",
    "settings": "settings",
    "instruments": "instruments",
    "lenses": "lens profiles",
    "picture_sha256": "picture",
}
"""Parts of a row that are named in its headline; the rest are its details."""

TURNS = {
    "disabled_at": ("disabled", "enabled"),
    "revoked_at": ("revoked", "valid again"),
    "retired_at": ("retired", "in use again"),
    "lifted_at": ("lifted", "set again"),
}
"""Columns whose time says that something was done, and the words for it; the second where it was undone."""

LENGTHS = frozenset({"depth", "depths", "value", "thickness", "station", "distance", "height", "length"})
HASH_SHOWN = 12
TEXT_SHOWN = 60
DETAILS_SHOWN = 40


@dataclass(frozen=True)
class Said:
    """A line in words.

    Attributes
    ----------
    headline : str
    details : list of str
        What changed, one thing each; the longest lists are cut and say so.
    """

    headline: str
    details: list[str] = field(default_factory=list)


def subject(table: str, state: Json) -> str:
    """Name a row, from its columns."""
    for column in NAMED_BY:
        if isinstance(state.get(column), str) and state[column]:
            photo = f" of photo {state['photo_key']}" if state.get("photo_key") else ""
            return _called(table, str(state[column])) + photo
    return NOUNS.get(table, table)


def say(entry: HistoryEntry, name: str, unit: str) -> Said:
    """Put a line into words.

    Parameters
    ----------
    name : str
        What the row is called (`subject`).
    unit : str
        Unit of the lengths in the row's document.
    """
    if entry.action == "added":
        columns = {steps(path)[0]: value for path, value in (entry.after or {}).items()}
        words = added_words(entry.table, columns)
        if words is not None:
            return Said(*words)
    if entry.action != "changed":
        ways = {
            "added": "added",
            "withdrawn": "withdrawn",
            "deleted": "deleted",
            "as found": "was here when the history began",
        }
        return Said(f"{_capital(name)} {ways.get(entry.action, entry.action)}", _first_details(entry, unit))
    before, after = entry.before or {}, entry.after or {}
    paths = [path for path in sorted(before.keys() | after.keys()) if _is_said(path, before, after)]
    if paths == ["/picture_sha256"] and before["/picture_sha256"] is None:
        return Said(f"Picture of {name} came in")
    if entry.table == "proposals":
        return Said(f"{_capital(name)} {decided_words(after)}")
    if len(paths) == 1 and (verbs := TURNS.get(paths[0][1:])):
        return Said(f"{_capital(name)} {verbs[before.get(paths[0]) is not None]}")
    parts = list(dict.fromkeys(part for path in paths if (part := _part(path))))
    details = [detail for path in paths for detail in _details(path, before, after, unit)]
    cut = details[:DETAILS_SHOWN] + (["…"] if len(details) > DETAILS_SHOWN else [])
    of = f"{_joined(parts)} of {name}" if parts else name
    return Said(f"{_capital(of)} changed", cut)


def _called(table: str, name: str) -> str:
    if table == "pictures":
        name = name[:HASH_SHOWN]
    return f"{NOUNS.get(table, table)} {name}".strip()


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _is_said(path: str, before: Json, after: Json) -> bool:
    column, *rest = steps(path)
    # `name` beside a document is a copy of a name in it.
    copied = column == "name" and any(one.startswith("/document") for one in before.keys() | after.keys())
    return column not in UNSAID and (bool(rest) or not copied)


def _inner(path: str) -> list[str]:
    """Return a path's steps within the document; a column beside it is its own step."""
    column, *rest = steps(path)
    return rest if column == "document" and rest else [column, *rest]


def _part(path: str) -> str:
    return PARTS.get(_inner(path)[0], "")


def _first_details(entry: HistoryEntry, unit: str) -> list[str]:
    """Say the few things about a new row that its name does not."""
    document = (entry.after or {}).get("/document")
    if entry.action in ("withdrawn", "deleted") or not isinstance(document, dict):
        return []
    said = []
    for label, key in (("member", "member"), ("who", "who"), ("step", "what"), ("date", "date")):
        if isinstance(document.get(key), str) and document[key]:
            said.append(f"{label} {document[key]}")
    for one in ("mark", "member"):
        count = len(document.get(f"{one}s") or ())
        if count:
            said.append(f"{count} {one}{'' if count == 1 else 's'}")
    depth = document.get("depth")
    if isinstance(depth, dict):
        said.append(f"depth {_value(depth, unit)}")
    elif entry.table == "readings":
        said.append(f"thickness {_value(document.get('value'), unit)}")
    return said


def _details(path: str, before: Json, after: Json, unit: str) -> Iterator[str]:
    """Say what changed at one path."""
    way = _inner(path)
    old, new = before.get(path), after.get(path)
    if way[-1] == "picture_sha256":
        yield "the picture came in" if old is None else "another picture took its place"
    elif way[-1] == ORDER:
        yield f"order of {_label(way[:-1])} changed"
    elif path not in before or path not in after:
        yield from _came_or_went(way, new if path in after else old, came=path in after)
    elif way[-1] == "sha256":
        yield f"{_label(way[:-1])} changed"
    elif isinstance(old, dict) and isinstance(new, dict):
        yield f"{_label(way)}: {_value(old, '')} → {_value(new, '')}"
    else:
        length = unit if way[-1] in LENGTHS else ""
        one, other = _value(old, ""), _value(new, length)
        yield f"{_label(way)} changed" if "…" in (one, other) else f"{_label(way)} {one} → {other}"


def _came_or_went(way: list[str], value: Any, *, came: bool) -> Iterator[str]:
    verb = "added" if came else "taken out"
    kind = value.get("kind") if isinstance(value, dict) else None
    label = _label(way)
    if isinstance(kind, str):
        yield f"{label} ({kind}) {verb}"
    elif isinstance(value, str | int | float) and came:
        yield f"{label} {_value(value, '')}"
    else:
        yield f"{label} {verb}"


def _label(way: list[str]) -> str:
    """Name a place: the ids on the way to it and its last step, without what the headline says."""
    named = [step.removeprefix(ITEM) for step in way if step.startswith(ITEM)]
    last = [] if way[-1].startswith(ITEM) else [_plain_word(way[-1])]
    inside = [] if named or len(way) < 2 or way[-2] in PARTS else [_plain_word(way[-2])]
    return " ".join([*named, *inside, *last])


def _plain_word(step: str) -> str:
    words = {
        "depths": "depth",
        "shape": "outline",
        "sha256": "hash",
        "password_hash": "password",
        "coordinates": "outline",
    }
    return words.get(step, step.replace("_", " "))


def _value(value: Any, unit: str) -> str:
    """Write a value in few signs; ``…`` where it takes too many."""
    if value is None or value in ("", []):
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:.6g} {unit}".strip()
    if isinstance(value, str):
        return value if len(value) <= TEXT_SHOWN else "…"
    if isinstance(value, dict):
        return _value(value["value"], unit) if "value" in value else str(value.get("kind") or "…")
    values = [_value(item, "") for item in value] if isinstance(value, list) else ["…"]
    text = ", ".join(values)
    return "…" if "…" in values or len(text) > TEXT_SHOWN else f"{text} {unit}".strip()
