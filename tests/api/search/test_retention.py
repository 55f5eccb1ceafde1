"""Retention labels: each with its source, deleting nothing, telling what is due for review."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.database import Database
from api.errors import InvalidError
from api.search.retention import Retention, RetentionLabel, later
from api.settings import Settings
from tests.api.samples import new_survey, tag
from tests.api.server import running
from tests.api.test_migrations import to_revision

# 14 CFR 91.417(b)(1) keeps the records of (a)(1) "until the work is repeated or superseded by other work or
# for 1 year after the work is performed" (published-values.md, section 8); entered here as a shop would.
WORK = {
    "name": "Record of work",
    "rule": "Until repeated or superseded, or for 1 year after the work",
    "keep_months": 12,
    "source": {"document": "14 CFR 91.417", "paragraph": "(b)(1)"},
}
# (b)(2): the records of (a)(2) go with the aircraft: a rule without a day.
STATUS = {
    "name": "Status",
    "rule": "Kept, and transferred with the aircraft when it is sold",
    "source": {"document": "14 CFR 91.417", "paragraph": "(b)(2)"},
}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Give a client of a service of its own: what is due there was set here."""
    with running(Settings(data_dir=tmp_path_factory.mktemp("data"))) as made:
        yield made


def label(client: httpx.Client, body: dict[str, Any]) -> str:
    """Enter a label and return its id."""
    made = client.post("/api/retention/labels", json=body)
    assert made.status_code == 201, made.text
    return str(made.json()["id"])


def due(client: httpx.Client, on: str) -> dict[str, list[str]]:
    """Return the names of the labels that are due on a day, and of those that are not yet."""
    answer = client.get("/api/retention/due", params={"on": on}).json()
    return {name: [one["label"]["name"] for one in answer[name]] for name in ("due", "later")}


@pytest.mark.parametrize(
    "wrong",
    [
        {"source": None},
        {"source": {"document": "", "paragraph": "(b)"}},
        {"source": {"document": "14 CFR 91.417", "paragraph": "  "}},
        {"source": {"document": "14 CFR 91.417"}},
        {"keep_months": None, "rule": " "},
        {"keep_months": 0},
        {"keep_until": "2031-02-30", "keep_months": None},
        {"keep_until": "2031-02-28"},
        {"name": " "},
    ],
)
def test_a_label_without_source_or_term_is_refused(client: httpx.Client, wrong: dict[str, Any]) -> None:
    """No document and paragraph, no term, or two: nobody could say later why it was kept so long."""
    body = {name: value for name, value in (WORK | wrong).items() if value is not None}
    assert client.post("/api/retention/labels", json=body).status_code == 422
    assert client.get("/api/retention/labels").json() == []


def test_the_page_refuses_too_and_keeps_what_was_typed(client: httpx.Client) -> None:
    """Without a source the form comes back with its fields and the reason."""
    answer = client.post("/retention/labels", data={"name": "Papers", "keep_months": "24"})
    assert answer.status_code == 422
    assert 'value="Papers"' in answer.text
    assert "source.document" in answer.text


def test_a_labels_day_comes_from_its_term_and_nothing_is_deleted(client: httpx.Client) -> None:
    """One year after the work by 14 CFR 91.417(b)(1); a rule in words has no day and waits for a person."""
    survey = new_survey(client, survey={"name": "Opened", "date": "2030-06-30"})
    before = client.get(f"/api/surveys/{survey}/file").content
    work, status = label(client, WORK), label(client, STATUS)
    address = f"/api/surveys/{survey}/retention"
    made = client.post(address, json={"label_id": work, "starts": "2031-02-28"})
    assert made.status_code == 201, made.text
    assert made.json()["due"] == "2032-02-28"
    assert client.post(address, json={"label_id": work}).status_code == 409
    ruled = client.post(address, json={"label_id": status}).json()
    assert (ruled["due"], ruled["starts"]) == (None, "2030-06-30")
    assert due(client, "2032-02-27") == {"due": [], "later": ["Record of work", "Status"]}
    assert due(client, "2032-02-28") == {"due": ["Record of work"], "later": ["Status"]}
    assert client.get(f"/api/surveys/{survey}/file").content == before
    page = client.get("/retention", params={"survey": survey, "on": "2032-03-01"}).text
    assert "14 CFR 91.417, (b)(1)" in page
    assert "2032-02-28" in page
    # The label is retired; where it is set it stands, with the words it had.
    assert client.delete(f"/api/retention/labels/{work}", headers=tag(1)).status_code == 204
    assert [one["label"]["name"] for one in client.get("/api/retention/labels").json()] == ["Status"]
    assert due(client, "2040-01-01")["due"] == ["Record of work"]
    # Lifting needs a reason, and stays on record.
    mark = f"/api/retention/marks/{made.json()['id']}"
    assert client.delete(mark, headers=tag(1), params={"reason": " "}).status_code == 422
    assert client.delete(mark, headers=tag(2), params={"reason": "x"}).status_code == 412
    assert client.delete(mark, headers=tag(1), params={"reason": "set on the wrong one"}).status_code == 204
    assert due(client, "2040-01-01") == {"due": [], "later": ["Status"]}
    first, _ = client.get(address).json()
    assert (first["lifted_reason"], first["lifted_at"] is None) == ("set on the wrong one", False)


def test_a_term_in_months_needs_a_day_to_count_from(client: httpx.Client) -> None:
    """A survey without a date cannot bear such a label unless the day is given."""
    survey = new_survey(client)
    identifier = label(client, WORK | {"name": "Months"})
    answer = client.post(f"/api/surveys/{survey}/retention", json={"label_id": identifier})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "body.starts"


def test_a_step_back_loses_no_label(tmp_path: Path) -> None:
    """The older program cannot hold labels and saved searches: with any, the way back is refused."""
    database = Database(f"sqlite:///{tmp_path / 'a.sqlite3'}")
    database.migrate()
    to_revision(database.engine, "0006", down=True)
    database.migrate()
    Retention(database).add_label(RetentionLabel.model_validate(STATUS))
    with pytest.raises(RuntimeError, match="retention_labels"):
        to_revision(database.engine, "0006", down=True)
    assert len(Retention(database).labels()) == 1
    database.close()


@given(st.dates(date(1900, 1, 1), date(2100, 12, 31)), st.integers(1, 600), st.integers(1, 600))
def test_more_months_are_later_and_months_add_up_to_years(day: date, some: int, more: int) -> None:
    """Months never go back, twelve are a year, and the day stays where the month has it."""
    assert day < later(day, some) < later(day, some + more)
    assert (later(day, 12 * some).year, later(day, 12 * some).month) == (day.year + some, day.month)
    assert later(day, some).day == day.day or (day.day > 28 and later(day, some).day >= 28)


def test_the_calendar_ends() -> None:
    """A term beyond the year 9999 is refused, not wrapped."""
    with pytest.raises(InvalidError):
        later(date(9999, 1, 1), 12)
