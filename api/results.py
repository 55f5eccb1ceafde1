"""Measures, assessments, ledgers and maps of stored surveys. All arithmetic is `corrosion`'s."""

from __future__ import annotations

import io
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from api import repository as repo
from api.database import Database
from api.errors import InvalidError, NotFoundError
from api.exchange import Exchange, Export, State
from api.tables import PhotoRow, SurveyRow
from corrosion.layout import station_mm
from corrosion.measure import measure_photo
from corrosion.model import in_millimetres
from corrosion.removal.member import MemberRemoval
from corrosion.report import json_of, measures_json
from corrosion.report.json_form import placed_json, spot_json
from corrosion.results import Assessment
from corrosion.survey import assess, member_layouts, member_removal, placed_photo
from corrosion.terms import Face, Flag
from corrosion.units import LengthUnit, mm_per

if TYPE_CHECKING:
    from corrosion.report.map_style import MapMode

Json = dict[str, Any]
MapFormat = Literal["png", "svg"]

# An assessment of a large survey takes seconds, and a map page asks for the same one at every click.
KEPT_ASSESSMENTS = 8


@dataclass(frozen=True)
class Place:
    """A place as a person states it: in the survey's unit, the station maybe with a plug suffix."""

    member: str
    station: float | str
    offset: float


class Kept:
    """An assessment, the unit its survey was entered in, and the removal of the members asked for."""

    def __init__(self, assessment: Assessment, unit: LengthUnit) -> None:
        self.assessment = assessment
        self.unit = unit
        self._removals: dict[str, MemberRemoval] = {}
        self._lock = threading.Lock()

    def removal(self, member: str) -> MemberRemoval:
        """Return the removal of a member; `NotFoundError` if there is no such member."""
        structure = self.assessment.survey.structure
        if member not in {one.id for one in structure.members}:
            names = ", ".join(repr(one.id) for one in structure.members)
            raise NotFoundError(f"there is no member {member!r}.", remedy=f"Members: {names}.")
        with self._lock:
            if member not in self._removals:
                self._removals[member] = member_removal(self.assessment, member)
            return self._removals[member]


class Results:
    """Computes results, and keeps the latest assessments until anything they rest on changes."""

    def __init__(self, database: Database, exchange: Exchange) -> None:
        self._database = database
        self._exchange = exchange
        self._kept: OrderedDict[State, Kept] = OrderedDict()
        self._lock = threading.Lock()

    def assessment(self, survey_id: str) -> Json:
        """Return the JSON form of a survey's assessment (`corrosion.report.json_of`)."""
        return json_of(self.assessed(survey_id).assessment, include_survey=False)

    def measures(self, photo_id: str) -> Json:
        """Return the JSON form of one photo's measures (`corrosion.report.measures_json`).

        Its place on the layout, with residuals, is under ``placed``; null where it has none.

        Only this photo is measured, so that it can be asked for after every change of a mark.
        """
        with self._database.reading() as session:
            row = repo.find(session, PhotoRow, photo_id)
            survey_row = repo.find(session, SurveyRow, row.survey_id)
            survey = in_millimetres(repo.photo_file(session, survey_row, row))
            stored = repo.pictures_of(session, [row]).get(row.picture_sha256 or "")
        size = None if stored is None else (stored.width, stored.height)
        photo = survey.photos[0]
        measured = measure_photo(photo, survey, photo.size or size)
        placed = placed_photo(photo, survey, member_layouts(survey), photo.size or size)
        return measures_json([measured], survey.display_units or "mm") | {
            "placed": placed_json(placed) if placed else None
        }

    def spot(self, survey_id: str, place: Place) -> Json:
        """Return what is gone at one place, against its limit, with the entries that add up there.

        Raises
        ------
        NotFoundError
            If there is no such survey or member.
        CorrosionError
            If the station cannot be read or the place lies off the member.
        """
        kept = self.assessed(survey_id)
        survey = kept.assessment.survey
        removal = kept.removal(place.member)
        factor = mm_per(kept.unit)
        station, flags = station_mm(place.station, survey.structure, factor)
        at = (station, place.offset * factor)
        _must_lie_on(removal, at, place)
        found = spot_json(removal.spot(at), survey.display_units or "mm")
        stated = {
            "member": place.member,
            "station": place.station,
            "offset": place.offset,
            "units": kept.unit,
        }
        return {"asked": stated, "plug_unknown": Flag.PLUG_UNKNOWN in flags, "spot": found}

    def map(self, survey_id: str, member: str, face: Face | None, kind: MapFormat, mode: MapMode) -> bytes:
        """Draw a member's removal map; `NotFoundError` if there is no such survey or member."""
        # The drawing library takes long to load, and many runs of the service draw nothing.
        from corrosion.report.map import draw_map  # noqa: PLC0415
        from corrosion.report.map_style import MapStyle  # noqa: PLC0415

        kept = self.assessed(survey_id)
        target = io.BytesIO()
        removal = kept.removal(member)
        draw_map(kept.assessment, member, face, target, kind, style=MapStyle(mode=mode), removal=removal)
        return target.getvalue()

    def is_ready(self, survey_id: str) -> bool:
        """Whether a survey's sums are at hand, so that nobody need wait for them."""
        return self._exchange.state(survey_id) in self._kept

    def assessed(self, survey_id: str) -> Kept:
        """Assess a survey; computed once for each state of it.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        CorrosionError
            If a fault in the survey stops the sums.
        """
        state = self._exchange.state(survey_id)
        with self._lock:
            kept = self._kept.get(state)
            if kept is not None:
                self._kept.move_to_end(state)
                return kept
        return self._compute(self._exchange.export(survey_id))

    def of(self, export: Export) -> Kept:
        """Assess a survey that was read already, unless that state of it is kept."""
        with self._lock:
            kept = self._kept.get(export.state)
        return kept or self._compute(export)

    def _compute(self, export: Export) -> Kept:
        done = Kept(assess(export.file, sizes=export.sizes), export.file.units)
        with self._lock:
            self._kept[export.state] = done
            while len(self._kept) > KEPT_ASSESSMENTS:
                self._kept.popitem(last=False)
        return done


def _must_lie_on(removal: MemberRemoval, at: tuple[float, float], place: Place) -> None:
    if not removal.layout.contains(np.array([at]))[0]:
        raise InvalidError(
            f"station {place.station!r}, offset {place.offset:g} lies off member {place.member!r}.",
            place="query",
            remedy="Choose a place on the member's outline; units are the survey's.",
        )
