"""Named searches, of a person or of all."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator
from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from api import repository as repo
from api.actor import Actor, Role, current_actor
from api.database import Database
from api.errors import NotAllowedError, NotFoundError, StaleError
from api.search.params import SearchParams
from api.search.tables import SavedSearchRow
from api.tables import now


class SavedSearchIn(BaseModel):
    """A search to be kept under a name."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [{"name": "Over limit, zone 330", "search": {"zone": "33", "verdict": ["over"]}}]
        },
    )

    name: Annotated[str, Field(min_length=1, max_length=80, examples=["Over limit, zone 330"])]
    shared: Annotated[bool, Field(description="Others see it too.")] = False
    search: SearchParams

    @field_validator("name")
    @classmethod
    def _has_letters(cls, name: str) -> str:
        if not name.strip():
            raise ValueError("give the search a name")
        return name.strip()


class SavedSearches:
    """The use cases, on one database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, given: SavedSearchIn) -> SavedSearchRow:
        """Keep a search for whoever is acting."""
        actor = current_actor()
        document = repo.storable(dict(given.search.model_dump(mode="json", exclude_defaults=True)))
        with self._database.writing() as session:
            row = SavedSearchRow(
                name=repo.short_name(given.name),
                owner=actor.key,
                owner_name=repo.short_name(actor.name),
                shared=given.shared,
                document=document,
            )
            session.add(row)
            session.flush()
        return row

    def mine(self) -> list[SavedSearchRow]:
        """List the searches that whoever is acting may see, by name."""
        visible = or_(SavedSearchRow.owner == current_actor().key, SavedSearchRow.shared.is_(True))
        statement = (
            select(SavedSearchRow)
            .where(visible, SavedSearchRow.withdrawn_at.is_(None))
            .order_by(SavedSearchRow.name, SavedSearchRow.created)
        )
        with self._database.reading() as session:
            return list(session.scalars(statement))

    def withdraw(self, identifier: str, expected: int) -> None:
        """Take a search off the list; its row stays.

        Raises
        ------
        NotFoundError
            If there is none that whoever is acting may see.
        NotAllowedError
            If it is somebody else's.
        StaleError
            If it is no longer of that version.
        """
        actor = current_actor()
        with self._database.writing() as session:
            row = _visible(session, identifier, actor)
            if row.owner != actor.key and not actor.roles & {Role.CLERK, Role.ADMINISTRATOR}:
                raise NotAllowedError(
                    f"the search {row.name!r} is {row.owner_name}'s.",
                    remedy="Ask its owner, a clerk or an administrator to take it off the list.",
                )
            if row.version != expected:
                raise StaleError(
                    f"version {expected} was named, but version {row.version} is current.",
                    place=f"saved search {identifier}",
                    remedy="Read the list again.",
                )
            row.withdrawn_at = now()


def _visible(session: Session, identifier: str, actor: Actor) -> SavedSearchRow:
    row = session.get(SavedSearchRow, identifier)
    if row is None or row.withdrawn_at is not None or not (row.shared or row.owner == actor.key):
        raise NotFoundError(
            f"there is no saved search {identifier!r}.", remedy="List the saved searches you can see."
        )
    return row


def params_of(row: SavedSearchRow) -> SearchParams:
    """Return a saved search; of what an older program saved, what is still understood."""
    known = {name: value for name, value in row.document.items() if name in SearchParams.model_fields}
    return SearchParams.model_validate(known)
