"""The facts beside a survey: written as JSON and read back without loss."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.errors import RecordError
from corrosion.record import (
    Cited,
    HistoryHead,
    RecordFacts,
    Seal,
    Signature,
    facts_from_json,
    facts_json,
)

_TEXT = st.text(max_size=40)
_DIGEST = st.text("0123456789abcdef", min_size=64, max_size=64)
_CITED = st.builds(
    Cited, survey=_TEXT, name=_TEXT, revision=st.integers(1, 99), digest=st.one_of(st.just(""), _DIGEST)
)
_FACTS = st.builds(
    RecordFacts,
    signatures=st.lists(
        st.builds(
            Signature,
            role=_TEXT, name=_TEXT, certificate_number=_TEXT, certificate_kind=_TEXT,
            statement=_TEXT, place=_TEXT, date=_TEXT, signed_at=_TEXT,
        ),
        max_size=3,
    ).map(tuple),
    seal=st.none() | st.builds(Seal, by=_TEXT, at=_TEXT, digest=_DIGEST),
    revision=st.integers(1, 99),
    revises=st.none() | _CITED,
    revision_reason=_TEXT,
    history_head=st.none() | st.builds(HistoryHead, seq=st.integers(0, 2**40), hash=_DIGEST),
    carried_from=st.none() | _CITED,
)  # fmt: skip


@given(_FACTS)
def test_facts_survive_json(facts: RecordFacts) -> None:
    """Whatever people typed comes back from JSON text as it went in."""
    assert facts_from_json(json.loads(json.dumps(facts_json(facts)))) == facts


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"version": 2}, "version"),
        ({"format": "other"}, "format"),
        ({"facts": {"revision": 0}}, "facts.revision"),
        ({"facts": {"seal": {"by": "a", "at": "b", "digest": "123"}}}, "facts.seal.digest"),
        ({"facts": {"signatures": [{"role": "inspector"}]}}, "facts.signatures.0.name"),
        ({"facts": {"sealed": True}}, "facts.sealed"),
        ({"facts": None}, "facts"),
    ],
)
def test_facts_that_are_not_as_written_are_refused(change: dict[str, object], named: str) -> None:
    """A record that was changed by hand is refused, and the message names the field."""
    with pytest.raises(RecordError, match=named):
        facts_from_json(facts_json(RecordFacts()) | change)
