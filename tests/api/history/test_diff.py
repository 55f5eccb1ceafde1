"""What changed between two states, and making it again."""

from __future__ import annotations

import copy
import json
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from api.history.chain import canonical
from api.history.diff import apply, changes

NAMES = st.text("ab=@/~0", max_size=3)
LEAVES: st.SearchStrategy[Any] = (
    st.none() | st.booleans() | st.integers(-2, 2) | st.sampled_from([0.0, -0.0, 1.0, 0.1]) | NAMES
)


def _with_ids(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    item = st.builds(lambda name, value: {"id": name, "value": value}, NAMES, values)
    return st.lists(item, max_size=4, unique_by=lambda one: one["id"])


VALUES = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3) | _with_ids(inner)
    ),
    max_leaves=8,
)
STATES = st.dictionaries(NAMES, VALUES, max_size=4)


@settings(max_examples=150, deadline=None)
@given(STATES, STATES)
def test_a_change_made_again_gives_the_same_state(before: Any, after: Any) -> None:
    """For any two states, what `changes` found makes the one into the other, to the letter."""
    old, new = (json.loads(json.dumps(part)) for part in changes(before, after))
    state = copy.deepcopy(before)
    assert apply(state, old, new) == []
    assert canonical(state) == canonical(after)
    assert (old == {} and new == {}) == (canonical(before) == canonical(after))


@settings(max_examples=60, deadline=None)
@given(STATES, STATES, STATES)
def test_a_state_that_was_not_the_one_is_told(before: Any, after: Any, other: Any) -> None:
    """Whatever of `before` another state has not is named, and nothing breaks off."""
    old, new = changes(before, after)
    state = copy.deepcopy(other)
    wrong = apply(state, old, new)
    # Closed form for whole columns; deeper paths have their own comparison.
    for path, value in old.items():
        if path.count("/") == 1:
            name = path[1:].replace("~1", "/").replace("~0", "~")
            holds = name in other and canonical(other[name]) == canonical(value)
            assert (path in wrong) == (not holds)


def test_a_mark_put_in_before_others_is_one_change() -> None:
    """Items with ids are told apart by them, so that a change of one does not look like one of all."""
    marks = [{"id": f"P{n}", "depth": n / 10} for n in range(200)]
    old, new = changes({"marks": marks}, {"marks": [*marks, {"id": "B1"}]})
    assert (old, new) == ({}, {"/marks/=B1": {"id": "B1"}})
    old, new = changes({"marks": marks}, {"marks": [*marks[:7], marks[7] | {"depth": 9.0}, *marks[8:]]})
    assert (old, new) == ({"/marks/=P7/depth": 0.7}, {"/marks/=P7/depth": 9.0})
