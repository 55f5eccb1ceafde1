"""What changed between two states of a row, by path, and how to make the change again.

A path is a JSON Pointer (RFC 6901) with one addition of ours: an item of a list whose items all have an
``id`` is named ``=id`` instead of by its number, so that a mark put in before 200 others is one line and
not 200. Such a list's ``@order`` stands for the order of its ids, where that changed too. Other lists
(a polygon's corners) are replaced whole.
"""

from __future__ import annotations

import marshal
from typing import Any

from api.history.chain import Json, canonical

ORDER = "@order"
ITEM = "="


def changes(before: Json, after: Json) -> tuple[Json, Json]:
    """Return what differs between two states: old and new values by path.

    A path in only one of the two was added or removed. Values of equal number but another type
    (``1``, ``1.0``, ``True``) differ.
    """
    old: Json = {}
    new: Json = {}
    _compare(before, after, "", old, new)
    return old, new


def apply(state: Json, before: Json, after: Json) -> list[str]:
    """Change a state in place as `changes` said it was changed.

    Returns
    -------
    list of str
        Paths where the state was not as `before` says: someone had changed it unseen.
    """
    wrong = [path for path, value in before.items() if not _holds(state, path, value)]
    for path in before:
        if path not in after:
            _remove(state, path)
    # Orders last: they name items that the other paths put in.
    for path in sorted(after, key=lambda path: (path.endswith(f"/{ORDER}"), path)):
        _put(state, path, after[path])
    return wrong


def same(one: Any, other: Any) -> bool:
    """Whether two JSON values are the same to the letter, types of numbers included."""
    # Marshal is many times faster than JSON; unequal bytes may still be an equal value (order of keys).
    return marshal.dumps(one, 2) == marshal.dumps(other, 2) or (
        bool(one == other) and canonical(one) == canonical(other)
    )


def steps(path: str) -> list[str]:
    """Split a path into its steps."""
    return [step.replace("~1", "/").replace("~0", "~") for step in path.split("/")[1:]]


def _step(name: str) -> str:
    return "/" + name.replace("~", "~0").replace("/", "~1")


def _compare(one: Any, other: Any, path: str, old: Json, new: Json) -> None:
    if same(one, other):
        return
    if isinstance(one, dict) and isinstance(other, dict):
        _compare_parts(one, other, path, old, new)
        return
    items, others = _by_id(one), _by_id(other)
    if items is None or others is None:
        old[path], new[path] = one, other
        return
    _compare_parts(items, others, path, old, new)
    kept = [name for name in items if name in others]
    # `apply` puts new items in after the others, in the order of their paths.
    put_in = sorted((name for name in others if name not in items), key=_step)
    if list(others) != kept + put_in:
        old[f"{path}/{ORDER}"], new[f"{path}/{ORDER}"] = _ids(items), _ids(others)


def _compare_parts(one: Json, other: Json, path: str, old: Json, new: Json) -> None:
    for name in sorted(one.keys() | other.keys(), key=_step):
        here = path + _step(name)
        if name not in other:
            old[here] = one[name]
        elif name not in one:
            new[here] = other[name]
        else:
            _compare(one[name], other[name], here, old, new)


def _by_id(value: Any) -> Json | None:
    """Key a list's items by their ids; None if it is no list or an item has none of its own."""
    if not isinstance(value, list):
        return None
    named = {
        ITEM + item["id"]: item
        for item in value
        if isinstance(item, dict) and isinstance(item.get("id"), str)
    }
    return named if len(named) == len(value) else None


def _ids(items: Json) -> list[str]:
    return [name.removeprefix(ITEM) for name in items]


def _find(state: Any, step: str) -> Any:
    """Return the part of a state that a step names; KeyError if there is none."""
    if isinstance(state, list):
        items = _by_id(state) or {}
        return _ids(items) if step == ORDER else items[step]
    if isinstance(state, dict):
        return state[step]
    raise KeyError(step)


def _holds(state: Json, path: str, value: Any) -> bool:
    here: Any = state
    try:
        for step in steps(path):
            here = _find(here, step)
    except KeyError:
        return False
    return same(here, value)


def _parent(state: Json, path: str) -> tuple[Any, str]:
    *way, last = steps(path)
    here: Any = state
    for step in way:
        here = _find(here, step)
    return here, last


def _remove(state: Json, path: str) -> None:
    try:
        parent, last = _parent(state, path)
        if isinstance(parent, list):
            parent.remove(_find(parent, last))
        else:
            del parent[last]
    except KeyError:
        return  # `apply` has told that it is not there.


def _put(state: Json, path: str, value: Any) -> None:
    try:
        parent, last = _parent(state, path)
        if not isinstance(parent, list):
            parent[last] = value
        elif last == ORDER:
            items = _by_id(parent) or {}
            parent[:] = [items[ITEM + name] for name in value if ITEM + name in items]
        else:
            _put_item(parent, last, value)
    except (KeyError, TypeError):
        return  # Only after an unseen change; comparing with the row then tells what is wrong.


def _put_item(items: list[Any], step: str, value: Any) -> None:
    for place, item in enumerate(items):
        if isinstance(item, dict) and item.get("id") == step.removeprefix(ITEM):
            items[place] = value
            return
    items.append(value)
