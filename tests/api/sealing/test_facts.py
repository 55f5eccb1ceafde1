"""What report and archive are told of a record, and how a sealed survey comes back from an archive."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from api.app import build_context
from api.context import Context
from api.errors import SealedError
from api.sealing.facts import kept_of, record_facts
from api.sealing.restore import restore_sealed
from api.sealing.statements import Typed
from api.settings import Settings
from api.tables import SurveyRow
from corrosion.errors import RecordError, StorageError
from corrosion.record.facts import RecordFacts, facts_json
from tests.api.samples import survey_file

TYPED = Typed("Inspector A", "What I found.", "Shop 2", "2031-04-24", "INV-0042", "invented licence")


@pytest.fixture(scope="module")
def context(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Context]:
    """Give the parts of a service without a server."""
    made = build_context(Settings(data_dir=tmp_path_factory.mktemp("data")))
    yield made
    made.close()


def new(context: Context, written: str | None = None) -> str:
    """Import a survey without photos."""
    source = written or json.dumps(survey_file(photos=[]))
    return context.exchange.import_file(source.encode(), place="test").row.id


def sealed(context: Context) -> str:
    """Import a survey, sign and seal it, after one signature that became void."""
    survey = new(context)
    records = context.records
    records.sign(survey, "findings", records.record(survey).digest, TYPED)
    removal = context.services.entries(_removals(), survey)[0]
    context.services.withdraw(_removals(), removal.id, 1, "wrong member")
    digest = records.record(survey).digest
    records.sign(survey, "findings", digest, TYPED)
    records.sign(survey, "decision", digest, TYPED)
    records.seal(survey, digest, "")
    return survey


def _removals() -> type:
    from api.tables import RemovalRow  # noqa: PLC0415

    return RemovalRow


def facts_of(context: Context, survey: str) -> RecordFacts:
    """Read the facts of a survey's record."""
    with context.database.reading() as session:
        return record_facts(session, survey)


def test_facts_of_an_open_survey(context: Context) -> None:
    """Nothing signed, nothing sealed, the first revision."""
    facts = facts_of(context, new(context))
    assert (facts.signatures, facts.seal, facts.revision, facts.revises) == ((), None, 1, None)


def test_void_signatures_are_not_facts(context: Context) -> None:
    """The facts name the two signatures that count, in their order, and the seal."""
    facts = facts_of(context, sealed(context))
    assert [one.role for one in facts.signatures] == ["inspector", "planner"]
    assert facts.signatures[0].certificate_number == "INV-0042"
    assert facts.seal is not None
    assert facts.seal.by == "local user"
    assert facts.history_head is not None
    assert facts.history_head.seq > 0


def test_facts_cite_what_a_survey_builds_on(context: Context) -> None:
    """A revision of a carried survey names both, with the digests of their seals."""
    first = sealed(context)
    digest = facts_of(context, first).seal
    assert digest is not None
    second = context.successors.carry_forward(first, "").view.row.id
    carried = facts_of(context, second).carried_from
    assert carried is not None
    assert (carried.survey, carried.digest) == (first, digest.digest)
    revision = context.successors.open_revision(first, "typing error").view.row.id
    facts = facts_of(context, revision)
    assert facts.revises is not None
    assert (facts.revision, facts.revises.survey, facts.revises.revision) == (2, first, 1)
    assert (facts.revises.digest, facts.revision_reason) == (digest.digest, "typing error")


def test_a_sealed_survey_comes_back_as_it_was(context: Context) -> None:
    """Restored from its file, facts and kept text it is sealed again, with the same facts and digests."""
    survey = sealed(context)
    facts = facts_of(context, survey)
    with context.database.reading() as session:
        kept = kept_of(session, survey)
    written = context.exchange.export(survey).text
    again = new(context, written)
    with context.database.writing() as session:
        row = session.get_one(SurveyRow, again)
        restore_sealed(session, row, facts_json(facts), written, kept)
    restored = facts_of(context, again)
    assert restored.signatures == facts.signatures
    assert restored.seal == facts.seal
    assert context.exchange.export(again).text == written
    assert context.records.record(again).digest == context.records.record(survey).digest
    assert context.records.record(again).standing == "sealed"


def test_the_reason_for_no_decision_comes_back_too(context: Context) -> None:
    """A survey sealed on the inspector's signature alone keeps the reason, in the facts and out of them."""
    survey = new(context)
    records = context.records
    records.sign(survey, "findings", records.record(survey).digest, TYPED)
    records.seal(survey, records.record(survey).digest, "Only looked at.")
    facts = facts_of(context, survey)
    assert facts.no_decision == "Only looked at."
    written = context.exchange.export(survey).text
    again = new(context, written)
    with context.database.writing() as session:
        restore_sealed(session, session.get_one(SurveyRow, again), facts_json(facts), written)
    assert facts_of(context, again).no_decision == "Only looked at."


@pytest.mark.parametrize("column", ["frozen", "kept"])
def test_a_changed_frozen_copy_is_not_used(context: Context, column: str) -> None:
    """One letter changed in the database behind the program's back, and the sealed survey is refused."""
    survey = sealed(context)
    statement = text(f"UPDATE seals SET {column} = {column} || ' ' WHERE survey_id = :survey")  # noqa: S608
    with context.database.engine.begin() as connection:
        connection.execute(statement, {"survey": survey})
    with pytest.raises(StorageError, match="not what was sealed"):
        context.exchange.export(survey)


def test_sealing_on_postgresql(postgresql: str, tmp_path: Path) -> None:
    """The other database holds the same: sealed, refused, revised, gone on from."""
    made = build_context(Settings(data_dir=tmp_path, database_url=postgresql))
    try:
        survey = sealed(made)
        with pytest.raises(SealedError):
            made.services.edit_survey(survey, 1, {"lenses": []}, "other")
        assert made.successors.carry_forward(survey, "").view.row.id != survey
        revision = made.successors.open_revision(survey, "typing error").view.row.id
        assert facts_of(made, revision).revision == 2
        assert made.exchange.export(survey).text == made.exchange.export(survey, with_hashes=True).text
    finally:
        made.close()


def test_a_seal_on_another_file_is_not_restored(context: Context, tmp_path: Path) -> None:
    """One changed letter in the file, and the seal is refused; the survey stays open."""
    del tmp_path
    survey = sealed(context)
    facts = facts_json(facts_of(context, survey))
    written = context.exchange.export(survey).text.replace("Inspector A", "Inspector B")
    again = new(context, written)
    with pytest.raises(RecordError, match="SHA-256"), context.database.writing() as session:
        restore_sealed(session, session.get_one(SurveyRow, again), facts, written)
    assert facts_of(context, again).seal is None
