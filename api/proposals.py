"""Proposed outlines as they are stored: open until a person accepts or drops each.

A proposal is no mark. It is in no sum, no survey file, no archive and no signature; what comes of it is
the mark that a person makes of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shapely import STRtree, make_valid
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api import repository as repo
from api.actor import current_actor
from api.database import Database
from api.errors import ConflictError, NotFoundError
from api.sealing.rows import refuse_sealed
from api.tables import Document, PhotoRow, ProposalRow, SurveyRow, now
from corrosion.suggest import Suggestion, likeness

Asked = Literal["point", "sweep"]
State = Literal["open", "accepted", "dropped"]

SAME: dict[Asked, float] = {"point": 0.8, "sweep": 0.5}
"""Least intersection over union at which a new outline is one that is stored already; rules of ours.

A person who points may want another outline of the same place; a sweep is not to fill it with likenesses.
"""
DECIMALS = 3


@dataclass(frozen=True)
class Kept:
    """What became of a search's outlines.

    Attributes
    ----------
    rows : list of ProposalRow
        Proposals that are open now, in the order they were found: new ones, and ones open before that
        were found again.
    open_before, dropped_before : int
        How many were open before, and how many were left out because a person dropped them once.
    """

    rows: list[ProposalRow]
    open_before: int
    dropped_before: int


class Proposals:
    """The use cases on proposals."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def picture_of(self, photo_id: str) -> str:
        """Return the hash of the picture to search for outlines; empty while it is not here.

        Asked before the search is begun, so that none is made in vain.

        Raises
        ------
        NotFoundError
            If there is no such photo.
        WithdrawnError
            If it was withdrawn.
        SealedError
            If its survey is sealed.
        """
        with self._database.reading() as session:
            photo = repo.find(session, PhotoRow, photo_id)
            refuse_sealed(session, repo.find(session, SurveyRow, photo.survey_id))
            return photo.picture_sha256 or ""

    def keep(self, photo_id: str, sha256: str, found: Sequence[Suggestion], asked: Asked) -> Kept:
        """Store what a search found in the picture `sha256`, less what is stored already.

        An outline like an open proposal of its kind is that proposal. One like a dropped proposal is left
        out of a sweep; a person who points at it gets it anew.

        Raises
        ------
        NotFoundError, WithdrawnError, SealedError
            See `picture_of`; things may have changed during the search.
        """
        with self._database.writing() as session:
            photo = _locked_photo(session, photo_id)
            earlier = _Earlier(_of_picture(session, photo_id, sha256), asked)
            number = _count(session, photo_id)
            matched = [(one, earlier.like(one)) for one in found]
            rows: list[ProposalRow] = []
            for one, like in matched:
                if like is None:
                    number += 1
                    rows.append(_new_row(photo, sha256, one, number, asked))
                    session.add(rows[-1])
                elif like.state == "open" and like not in rows:
                    rows.append(like)
            session.flush()
        states = [like.state for _, like in matched if like is not None]
        return Kept(rows, states.count("open"), states.count("dropped"))

    def of_photo(self, photo_id: str, *, everything: bool = False) -> list[ProposalRow]:
        """List a photo's proposals in the order they were made: the open ones, or all ever made.

        Only those on the photo's picture are open to anybody: on another they would outline nothing.

        Raises
        ------
        NotFoundError, WithdrawnError
            If there is no such photo, or it was withdrawn.
        """
        with self._database.reading() as session:
            photo = repo.find(session, PhotoRow, photo_id)
            if everything:
                statement = select(ProposalRow).where(ProposalRow.photo_id == photo_id)
                return list(session.scalars(statement.order_by(ProposalRow.position)))
            rows = _of_picture(session, photo_id, photo.picture_sha256 or "")
            return [row for row in rows if row.state == "open"]

    def open_in(self, survey_id: str) -> dict[str, int]:
        """Count the open proposals of a survey's photos, by photo; photos without any are left out."""
        statement = (
            select(ProposalRow.photo_id, func.count().label("open"))
            .join(PhotoRow, PhotoRow.id == ProposalRow.photo_id)
            .where(
                repo.stands_in(PhotoRow, survey_id),
                ProposalRow.state == "open",
                ProposalRow.picture_sha256 == PhotoRow.picture_sha256,
            )
            .group_by(ProposalRow.photo_id)
        )
        with self._database.reading() as session:
            return {row.photo_id: row.open for row in session.execute(statement)}

    def accept(self, identifier: str, mark: str, *, edited: bool) -> ProposalRow:
        """Record that a proposal became a mark of its photo; the mark is saved before.

        A proposal that was accepted already stays that mark: the answer says which. One that somebody else
        dropped meanwhile becomes accepted, because the mark is there.

        Raises
        ------
        NotFoundError
            If there is no such proposal.
        WithdrawnError
            If its photo was withdrawn.
        SealedError
            If the survey is sealed.
        ConflictError
            If the photo has no such mark, or shows another picture by now.
        """
        with self._database.writing() as session:
            row, photo = _locked(session, identifier)
            if row.state == "accepted":
                row.edited = row.edited or (edited and row.mark == mark)
                return row
            shape = _shape_of(photo, mark)
            if row.picture_sha256 != photo.picture_sha256:
                raise ConflictError(
                    f"the proposal {row.key!r} was made on another picture of photo {photo.key!r}.",
                    remedy="Drop it, and ask for outlines on the picture that is there now.",
                )
            _accept(row, mark)
            row.edited = edited or not _same_outline(shape, row.document["shape"])
        return row

    def drop(self, identifier: str) -> ProposalRow:
        """Record that a person wants no mark of a proposal; one decided already stays as it is.

        Raises
        ------
        NotFoundError, WithdrawnError, SealedError
            See `accept`.
        """
        with self._database.writing() as session:
            row, _ = _locked(session, identifier)
            if row.state == "open":
                _decide(row, "dropped")
        return row


class _Earlier:
    """Stored proposals of one picture, to find the one that a new outline repeats."""

    def __init__(self, rows: Sequence[ProposalRow], asked: Asked) -> None:
        # Open ones first: where a dropped one lies there too, the open one is the answer.
        states = ("open", "dropped") if asked == "sweep" else ("open",)
        self._rows = [row for state in states for row in rows if row.state == state]
        self._areas = [_area(row.document["shape"]["coordinates"][0]) for row in self._rows]
        self._tree = STRtree(self._areas)
        self._least = SAME[asked]

    def like(self, found: Suggestion) -> ProposalRow | None:
        """Return the stored proposal that an outline repeats; None if it is new."""
        area = _area(_ring(found))
        for index in sorted(self._tree.query(area)):
            row: ProposalRow = self._rows[index]
            if row.kind == found.kind and likeness(area, self._areas[index]) >= self._least:
                return row
        return None


def _area(ring: list[list[float]]) -> BaseGeometry:
    return make_valid(Polygon(ring))


def _ring(found: Suggestion) -> list[list[float]]:
    return [[round(float(x), DECIMALS), round(float(y), DECIMALS)] for x, y in found.outline_px]


def _new_row(photo: PhotoRow, sha256: str, found: Suggestion, number: int, asked: Asked) -> ProposalRow:
    actor = current_actor()
    document = {
        "shape": {"type": "Polygon", "coordinates": [_ring(found)]},
        "parameters": dict(found.parameters),
        "u_edge_px": round(found.edge_u_px, DECIMALS),
    }
    return ProposalRow(
        survey_id=photo.survey_id,
        photo_id=photo.id,
        photo_key=photo.key,
        picture_sha256=sha256,
        key=f"S{number}",
        position=number,
        kind=str(found.kind),
        state="open",
        asked=asked,
        score=round(found.score, DECIMALS),
        method=repo.short_name(found.method),
        by_key=actor.key,
        by_name=actor.name,
        edited=False,
        document=repo.storable(document),
    )


def accept_drawn(session: Session, photo: PhotoRow) -> None:
    """Accept the proposals, dropped ones too, that a locked photo's marks repeat to the last digit.

    Called where marks are saved, in the same transaction: a page that is closed before it can say which
    proposal its mark was would else leave it open, to be accepted a second time elsewhere.
    """
    statement = select(ProposalRow).where(
        ProposalRow.photo_id == photo.id,
        ProposalRow.state != "accepted",
        ProposalRow.picture_sha256 == photo.picture_sha256,
    )
    for row in session.scalars(statement.order_by(ProposalRow.position)):
        for mark in photo.document["marks"]:
            if _same_outline(mark["shape"], row.document["shape"]):
                _accept(row, mark["id"])
                break


def _accept(row: ProposalRow, mark: str) -> None:
    _decide(row, "accepted")
    row.mark = mark


def _decide(row: ProposalRow, state: State) -> None:
    actor = current_actor()
    row.state, row.decided_at = state, now()
    row.decided_key, row.decided_name = actor.key, actor.name


def _locked_photo(session: Session, photo_id: str) -> PhotoRow:
    """Return a photo with its survey locked; the sums stay as they are, so nothing is counted."""
    row = repo.find(session, PhotoRow, photo_id)
    repo.lock_survey(session, row.survey_id, counts=False)
    session.refresh(row)
    return repo.find(session, PhotoRow, photo_id)


def _locked(session: Session, identifier: str) -> tuple[ProposalRow, PhotoRow]:
    row = session.get(ProposalRow, identifier)
    if row is None:
        raise NotFoundError(
            f"there is no proposal {identifier!r}.", remedy="List the photo's proposals again."
        )
    photo = _locked_photo(session, row.photo_id)
    session.refresh(row)
    return row, photo


def _of_picture(session: Session, photo_id: str, sha256: str) -> list[ProposalRow]:
    statement = select(ProposalRow).where(
        ProposalRow.photo_id == photo_id, ProposalRow.picture_sha256 == sha256
    )
    return list(session.scalars(statement.order_by(ProposalRow.position)))


def _count(session: Session, photo_id: str) -> int:
    statement = select(func.count()).select_from(ProposalRow).where(ProposalRow.photo_id == photo_id)
    return session.scalar(statement) or 0


def _shape_of(photo: PhotoRow, mark: str) -> Document:
    shapes: dict[str, Document] = {one["id"]: one["shape"] for one in photo.document["marks"]}
    if mark not in shapes:
        raise ConflictError(
            f"photo {photo.key!r} has no mark {mark!r}.",
            place="body.mark",
            remedy="Save the photo's marks first, then say which of them the proposal became.",
        )
    return shapes[mark]


def _same_outline(shape: Document, proposed: Document) -> bool:
    return bool(shape["type"] == "Polygon" and shape["coordinates"] == proposed["coordinates"])
