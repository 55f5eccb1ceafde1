"""The work list of a stored survey: its cards, their PDF, and the log of what was done on them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from api import repository as repo
from api.database import Database
from api.errors import InvalidError, NotFoundError
from api.exchange import Exchange
from api.files import PictureFiles
from api.photos import photo_limits
from api.planning import Planner, Plans
from api.services import Services
from api.settings import Settings
from api.tables import PhotoRow, RemovalRow, SurveyRow, TickRow
from corrosion.errors import CorrosionError
from corrosion.model.files import from_millimetres
from corrosion.photo import load_picture
from corrosion.photo.picture import UInt8Array
from corrosion.worklist import Card, CardKind, build_cards, worklist_json
from corrosion.worklist.pdf import worklist_pdf

Json = dict[str, Any]
ALWAYS = ("stopped", "note")
"""What can be logged on any card, beside its own steps."""


@dataclass(frozen=True)
class Tick:
    """One line to be logged: who did what, and when (UTC; now if unset)."""

    who: str
    what: str
    when: dt.datetime | None = None
    note: str = ""


class WorkLists:
    """Use cases on bench cards."""

    def __init__(
        self,
        database: Database,
        exchange: Exchange,
        planner: Planner,
        files: PictureFiles,
        settings: Settings,
    ) -> None:
        self._database = database
        self._exchange = exchange
        self._planner = planner
        self._files = files
        self._limits = photo_limits(settings)

    def cards(self, survey_id: str) -> list[Card]:
        """Make the cards of a survey as it is now, in the order of work."""
        return cards_of(self._planner.plans(survey_id))

    def listing(self, survey_id: str) -> Json:
        """Return the cards as JSON, each with its log; what was logged on cards that are gone stays listed.

        A line is `current` while its card still asks for what it asked for then.
        """
        plans = self._planner.plans(survey_id)
        cards = cards_of(plans)
        document = worklist_json(cards, plans.unit)
        rows = self._ticks(survey_id)
        listed: set[str] = set()
        for card, body in zip(cards, document["cards"], strict=True):
            names = {card.id} | ({card.done.planned.id} if card.done else set())
            mine = [row for row in rows if row.card in names]
            listed |= {row.id for row in mine}
            body["ticks"] = [tick_json(row, current=row.fingerprint == card.fingerprint) for row in mine]
        document["earlier_ticks"] = [tick_json(row, current=False) for row in rows if row.id not in listed]
        return document

    def log_state(self, survey_id: str) -> int:
        """Return the length of a survey's log, which only grows."""
        return len(self._ticks(survey_id))

    def tick(self, survey_id: str, card_id: str, tick: Tick) -> Json:
        """Log one line on a card.

        Raises
        ------
        NotFoundError
            If the survey has no such card now.
        SealedError
            If the survey is sealed.
        InvalidError
            If the card has no such step: a held card has none that takes metal off.
        """
        card = self.card(survey_id, card_id)
        allowed = [*(str(step.name) for step in card.steps), *ALWAYS]
        if tick.what not in allowed:
            raise InvalidError(
                f"card {card_id!r} ({card.kind}) has no step {tick.what!r}.",
                place="body.what",
                remedy=f"Its steps: {', '.join(allowed)}.",
            )
        when = (tick.when or dt.datetime.now(dt.UTC)).astimezone(dt.UTC)
        document = {"who": tick.who, "what": tick.what, "when": when.isoformat(), "note": tick.note}
        with self._database.writing() as session:
            repo.lock_survey(session, survey_id, counts=False)
            row = TickRow(
                survey_id=survey_id,
                card=card_id,
                fingerprint=card.fingerprint,
                document=repo.storable(document),
            )
            session.add(row)
            session.flush()
            return tick_json(row, current=True)

    def keep(self, survey_id: str, card_id: str, services: Services) -> RemovalRow:
        """Keep a card's plan in the survey, so that the finished blend-out can be held against it.

        Raises
        ------
        InvalidError
            If the card plans no blend that may be begun.
        ConflictError
            If it is kept already.
        """
        card = self.card(survey_id, card_id)
        if card.kind is not CardKind.BLEND or card.target is None:
            raise InvalidError(
                f"card {card_id!r} ({card.kind}) plans no blend that may be begun.",
                place="path.card",
                remedy="Only a card to blend has a plan to keep.",
            )
        planned = card.target.blend.removal.model_copy(update={"id": card.id})
        units = self._exchange.export(survey_id).file.units
        return services.add_entry(RemovalRow, survey_id, from_millimetres(planned, units))

    def card(self, survey_id: str, card_id: str) -> Card:
        """Find a card; `NotFoundError` if the survey has none of that name now."""
        found = next((card for card in self.cards(survey_id) if card.id == card_id), None)
        if found is None:
            raise NotFoundError(
                f"there is no card {card_id!r} on the work list now.",
                remedy="Read the work list again: a card goes when what it was for has changed.",
            )
        return found

    def pdf(self, survey_id: str, paper: str, today: dt.date) -> bytes:
        """Print the work list, with crops of the photos that are here."""
        plans = self._planner.plans(survey_id)
        return worklist_pdf(
            plans.assessment,
            plans.dispositions,
            cards_of(plans),
            paper=paper,
            pictures=lambda photo: self._pixels(survey_id, photo),
            made=today,
        )

    def _pixels(self, survey_id: str, photo: str) -> UInt8Array | None:
        """Decode a photo's original; None where it is not here or cannot be read."""
        with self._database.reading() as session:
            rows = repo.parts(session, PhotoRow, survey_id)
            digest = next((row.picture_sha256 for row in rows if row.key == photo), None)
        if digest is None:
            return None
        try:
            return load_picture(self._files.read(digest), name=photo, limits=self._limits).pixels
        except CorrosionError:
            # A card without its photo is still a card; the photo's own page says what is wrong.
            return None

    def _ticks(self, survey_id: str) -> list[TickRow]:
        statement = (
            select(TickRow).where(TickRow.survey_id == survey_id).order_by(TickRow.created, TickRow.id)
        )
        with self._database.reading() as session:
            repo.find(session, SurveyRow, survey_id)
            return list(session.scalars(statement))


def cards_of(plans: Plans) -> list[Card]:
    """Make the cards that follow from a survey's plans."""
    return build_cards(plans.assessment, plans.dispositions)


def tick_json(row: TickRow, *, current: bool) -> Json:
    """Wire form of a logged line."""
    return {
        "id": row.id,
        "card": row.card,
        "fingerprint": row.fingerprint,
        "logged": row.created.isoformat(),
        "current": current,
        **row.document,
    }
