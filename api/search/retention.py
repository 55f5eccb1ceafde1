"""Retention labels: how long a survey is kept, by which document, and what is due for review.

Nothing is ever deleted by a label. It tells a person what to look at, and where the rule stands.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator
from sqlalchemy import Select, or_, select
from sqlalchemy.orm import Session

from api import repository as repo
from api.actor import current_actor
from api.database import Database
from api.errors import ConflictError, Fault, InvalidError, NotFoundError, StaleError
from api.search.tables import RetentionLabelRow, RetentionMarkRow
from api.tables import StructureRow, SurveyRow, Versioned, now

Day = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$", examples=["2031-04-17"])]
MOST_LISTED = 1000

EXAMPLE_LABEL: dict[str, Any] = {
    "name": "Record of work",
    "rule": "Until the work is repeated or superseded, or for 1 year after it",
    "keep_months": 12,
    "source": {"document": "14 CFR 91.417", "paragraph": "(b)(1)"},
}
"""What a shop may enter after reading the paragraph; nothing is entered by default."""


def checked_day(day: str | None) -> str | None:
    """Return a day of the calendar unchanged; `ValueError` if there is no such day."""
    if day is not None:
        try:
            date.fromisoformat(day)
        except ValueError as error:
            raise ValueError(f"{day!r} is not a day of the calendar") from error
    return day


class Source(BaseModel):
    """The document that sets a rule, and where in it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    document: Annotated[str, Field(min_length=1, max_length=200, examples=["14 CFR 91.417"])]
    paragraph: Annotated[str, Field(min_length=1, max_length=200, examples=["(b)(1)"])]
    revision: Annotated[str, Field(max_length=80)] = ""

    @field_validator("document", "paragraph")
    @classmethod
    def _says_something(cls, text: str) -> str:
        if not text.strip():
            raise ValueError("a label needs its source: document and paragraph")
        return text.strip()

    @property
    def words(self) -> str:
        """Write it on one line."""
        revision = f", revision {self.revision}" if self.revision else ""
        return f"{self.document}, {self.paragraph}{revision}"


class RetentionLabel(BaseModel):
    """How long to keep: until a day, for some months from a day, or as a rule says in words.

    A rule in words alone has no day: it is listed for a person to judge.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra={"examples": [EXAMPLE_LABEL]})

    name: Annotated[str, Field(min_length=1, max_length=80, examples=["Maintenance record"])]
    rule: Annotated[str, Field(max_length=1000, examples=["Until the work is repeated or superseded"])] = ""
    keep_until: Day | None = None
    keep_months: Annotated[
        int | None, Field(ge=1, le=1800, description="Counted from the day given when it is set.")
    ] = None
    source: Source

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        checked_day(self.keep_until)
        if not self.name.strip():
            raise ValueError("give the label a name")
        if self.keep_until is not None and self.keep_months is not None:
            raise ValueError("give 'keep_until' or 'keep_months', not both")
        if self.keep_until is None and self.keep_months is None and not self.rule.strip():
            raise ValueError("say how long to keep: 'keep_until', 'keep_months' or a 'rule' in words")
        return self

    def due(self, starts: str | None) -> str | None:
        """Return the day of review; None where only a rule in words says it."""
        if self.keep_until is not None:
            return self.keep_until
        if self.keep_months is None or starts is None:
            return None
        return later(date.fromisoformat(starts), self.keep_months).isoformat()

    @property
    def words(self) -> str:
        """Write how long to keep, on one line."""
        if self.keep_until is not None:
            return f"until {self.keep_until}"
        if self.keep_months is not None:
            years, months = divmod(self.keep_months, 12)
            parts = [_counted(years, "year"), _counted(months, "month")]
            return f"for {' '.join(part for part in parts if part)}"
        return "as the rule says"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}" if number else ""


def later(day: date, months: int) -> date:
    """Return the day some months later; the month's last where it has no such day.

    Raises
    ------
    InvalidError
        If the calendar ends before that.
    """
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    if year > date.max.year:
        raise InvalidError(
            f"{months} months after {day} is beyond the calendar.", remedy="Keep it shorter."
        )
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


class MarkIn(BaseModel):
    """A label to be set on a survey."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"label_id": "9f0c", "starts": "2031-04-17", "note": "box 12"}]},
    )

    label_id: Annotated[str, Field(max_length=32)]
    starts: Annotated[
        Day | None, Field(description="Day the months count from; the survey's date if unset.")
    ] = None
    note: Annotated[str, Field(max_length=400)] = ""

    _starts_exists = field_validator("starts")(checked_day)


@dataclass(frozen=True)
class MarkView:
    """A label on a survey, with the survey's name and its structure's."""

    row: RetentionMarkRow
    survey: str
    structure: str

    @property
    def label(self) -> RetentionLabel:
        """The label as it was when it was set."""
        return RetentionLabel.model_validate(self.row.document["label"])


class Retention:
    """The use cases, on one database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def labels(self) -> list[RetentionLabelRow]:
        """List the labels that can be set, by name."""
        statement = (
            select(RetentionLabelRow)
            .where(RetentionLabelRow.retired_at.is_(None))
            .order_by(RetentionLabelRow.name, RetentionLabelRow.created)
        )
        with self._database.reading() as session:
            return list(session.scalars(statement))

    def add_label(self, label: RetentionLabel) -> RetentionLabelRow:
        """Enter a label. One that should say something else is retired and entered anew."""
        with self._database.writing() as session:
            row = RetentionLabelRow(name=repo.short_name(label.name), document=repo.dump(label))
            session.add(row)
            session.flush()
        return row

    def retire_label(self, identifier: str, expected: int) -> None:
        """Take a label off the list; where it is set it stays.

        Raises
        ------
        NotFoundError
            If there is no such label.
        StaleError
            If it is no longer of that version.
        """
        with self._database.writing() as session:
            row = _label(session, identifier)
            _must_be(row, expected, "retention label")
            row.retired_at = now()

    def marks(self, survey_id: str) -> list[MarkView]:
        """List the labels on a survey, lifted ones too."""
        with self._database.reading() as session:
            repo.find(session, SurveyRow, survey_id)
            statement = _views().where(RetentionMarkRow.survey_id == survey_id)
            return _listed(session, statement.order_by(RetentionMarkRow.created, RetentionMarkRow.id))

    def mark(self, survey_id: str, given: MarkIn) -> MarkView:
        """Set a label on a survey. That changes nothing in the survey, so a sealed one may bear it too.

        Raises
        ------
        NotFoundError
            If there is no such survey or label.
        InvalidError
            If the label counts from a day and none is known.
        ConflictError
            If the survey bears the label already.
        """
        with self._database.writing() as session:
            session.execute(select(SurveyRow.id).where(SurveyRow.id == survey_id).with_for_update())
            survey = repo.find(session, SurveyRow, survey_id)
            row = _label(session, given.label_id)
            label = RetentionLabel.model_validate(row.document)
            starts = given.starts or survey.document["survey"].get("date")
            _must_have_start(label, starts)
            _must_be_new(session, survey_id, row)
            made = RetentionMarkRow(
                survey_id=survey_id,
                label_id=row.id,
                starts=starts,
                due=label.due(starts),
                set_by=repo.short_name(current_actor().name),
                document=repo.storable({"label": row.document, "note": given.note}),
            )
            session.add(made)
            session.flush()
            structure = repo.find(session, StructureRow, survey.structure_id)
            return MarkView(made, survey.name, structure.name)

    def lift(self, identifier: str, expected: int, reason: str) -> None:
        """Lift a label from a survey; that it was there stays on record, with the reason.

        Raises
        ------
        NotFoundError
            If there is no such mark, or it was lifted.
        InvalidError
            If no reason is given.
        StaleError
            If it is no longer of that version.
        """
        if not reason.strip():
            fault = Fault(path="query.reason", message="say why", value=reason)
            raise InvalidError("a label is lifted with a reason.", remedy="Say why.", faults=[fault])
        with self._database.writing() as session:
            row = session.get(RetentionMarkRow, identifier)
            if row is None or row.lifted_at is not None:
                raise NotFoundError(
                    f"there is no label {identifier!r} on a survey.", remedy="List the survey's labels."
                )
            _must_be(row, expected, "label on a survey")
            row.lifted_at = now()
            row.lifted_reason = repo.short_name(reason.strip())

    def due(self, on: str) -> list[MarkView]:
        """List what is due for review on a day, the longest overdue first."""
        statement = _views().where(RetentionMarkRow.lifted_at.is_(None), RetentionMarkRow.due <= on)
        with self._database.reading() as session:
            return _listed(session, statement.order_by(RetentionMarkRow.due, RetentionMarkRow.id))

    def coming(self, on: str) -> list[MarkView]:
        """List what will be due after a day, and what only a rule in words decides, last."""
        later_on = or_(RetentionMarkRow.due > on, RetentionMarkRow.due.is_(None))
        statement = _views().where(RetentionMarkRow.lifted_at.is_(None), later_on)
        order = (RetentionMarkRow.due.is_(None), RetentionMarkRow.due, RetentionMarkRow.id)
        with self._database.reading() as session:
            return _listed(session, statement.order_by(*order))


def _views() -> Select[RetentionMarkRow, str, str]:
    return (
        select(RetentionMarkRow, SurveyRow.name, StructureRow.name)
        .join(SurveyRow, SurveyRow.id == RetentionMarkRow.survey_id)
        .join(StructureRow, StructureRow.id == SurveyRow.structure_id)
    )


def _listed(session: Session, statement: Select[RetentionMarkRow, str, str]) -> list[MarkView]:
    return [MarkView(*found) for found in session.execute(statement.limit(MOST_LISTED))]


def _label(session: Session, identifier: str) -> RetentionLabelRow:
    row = session.get(RetentionLabelRow, identifier)
    if row is None or row.retired_at is not None:
        raise NotFoundError(f"there is no retention label {identifier!r}.", remedy="List the labels.")
    return row


def _must_be(row: Versioned, expected: int, noun: str) -> None:
    if row.version != expected:
        raise StaleError(
            f"version {expected} was named, but version {row.version} is current.",
            place=f"{noun} {row.id}",
            remedy="Read it again.",
        )


def _must_have_start(label: RetentionLabel, starts: str | None) -> None:
    if label.keep_months is not None and starts is None:
        raise InvalidError(
            f"the label {label.name!r} counts {label.keep_months} months from a day, and none is given.",
            place="body.starts",
            remedy="Give the day, or state the survey's date.",
            faults=[Fault(path="body.starts", message="the label counts from a day", value=None)],
        )


def _must_be_new(session: Session, survey_id: str, label: RetentionLabelRow) -> None:
    there = select(RetentionMarkRow.id).where(
        RetentionMarkRow.survey_id == survey_id,
        RetentionMarkRow.label_id == label.id,
        RetentionMarkRow.lifted_at.is_(None),
    )
    if session.scalar(there) is not None:
        raise ConflictError(
            f"the survey bears the label {label.name!r} already.",
            remedy="Lift that one first if it should count from another day.",
        )
