"""Comparisons of stored surveys, and their pictures side by side. All arithmetic is `corrosion`'s."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any, Literal
from weakref import WeakKeyDictionary

from api.context import Context
from api.errors import NotFoundError
from api.exchange import State
from api.photos import photo_limits
from api.results import Kept, Results
from api.services import Page, SurveyView
from corrosion.compare import Comparison, FindingChange, compare
from corrosion.compare.json_form import comparison_json
from corrosion.compare.pictures import Choice, Window, photo_for, rectified, window_of
from corrosion.errors import StorageError
from corrosion.opencv import cv2
from corrosion.photo import load_picture
from corrosion.units import LengthUnit

Json = dict[str, Any]
Side = Literal["earlier", "later"]
Key = tuple[State, State, float]

KEPT = 8
KEPT_PICTURES = 32
JPEG_QUALITY = 88


@dataclass(frozen=True, eq=False)
class Compared:
    """A comparison with the assessments it rests on."""

    comparison: Comparison
    earlier: Kept
    later: Kept

    @property
    def unit(self) -> LengthUnit:
        """Unit that people see."""
        survey = self.later.assessment.survey
        return survey.display_units or survey.units

    def row(self, key: str) -> FindingChange:
        """Return the row of that key; `NotFoundError` if there is none."""
        found = next((one for one in self.comparison.findings if one.key == key), None)
        if found is None:
            raise NotFoundError(
                f"the comparison has no finding {key!r}.",
                remedy="One of the surveys was changed; open the comparison again.",
            )
        return found


@dataclass(frozen=True)
class Look:
    """One side of a row's pictures: the photo chosen, or why there is none."""

    side: Side
    choice: Choice
    photo_row: str
    problem: str


class _Cache:
    """The latest comparisons and pictures of one service."""

    def __init__(self) -> None:
        self.compared: OrderedDict[Key, Compared] = OrderedDict()
        self.pictures: OrderedDict[tuple[Key, str, Side], bytes] = OrderedDict()
        self.lock = threading.Lock()


# A comparison is asked for again with every picture of it; it goes when its service goes.
_CACHES: WeakKeyDictionary[Results, _Cache] = WeakKeyDictionary()
_LOCK = threading.Lock()


def _cache(context: Context) -> _Cache:
    with _LOCK:
        return _CACHES.setdefault(context.results, _Cache())


def compared(context: Context, survey_id: str, other: str, level: float) -> Compared:
    """Compare a stored survey with an earlier one; computed once for each state of both.

    Raises
    ------
    NotFoundError
        If there is no such survey.
    CompareError
        If a date is missing, the other survey is not earlier, or it is of another structure.
    """
    key = _key(context, survey_id, other, level)
    cache = _cache(context)
    with cache.lock:
        if key in cache.compared:
            cache.compared.move_to_end(key)
            return cache.compared[key]
    earlier, later = context.results.assessed(other), context.results.assessed(survey_id)
    comparison = compare(
        earlier.assessment, later.assessment, level=level, removals=(earlier.removal, later.removal)
    )
    made = Compared(comparison, earlier, later)
    with cache.lock:
        _keep(cache.compared, key, made, KEPT)
    return made


def _key(context: Context, survey_id: str, other: str, level: float) -> Key:
    return context.exchange.state(other), context.exchange.state(survey_id), level


def _keep(kept: OrderedDict[Any, Any], key: object, value: object, most: int) -> None:
    kept[key] = value
    while len(kept) > most:
        kept.popitem(last=False)


def comparison_document(context: Context, survey_id: str, other: str, level: float) -> Json:
    """Return the JSON form of a comparison (`corrosion.compare.json_form`)."""
    made = compared(context, survey_id, other, level)
    ids = {"earlier_survey": other, "later_survey": survey_id}
    return comparison_json(made.comparison, made.unit) | ids


def earlier_surveys(context: Context, view: SurveyView) -> list[SurveyView]:
    """List the surveys of the same structure that are dated before this one, latest first.

    A survey file that was imported brings a structure of its own; one of equal name counts as the same.
    """
    day = survey_date(view)
    every = [found for found, _, _ in context.services.surveys(Page(1000, 0), None)]
    same = [
        one
        for one in every
        if one.row.id != view.row.id
        and (one.structure.id == view.structure.id or one.structure.name == view.structure.name)
        and "" < survey_date(one) < day
    ]
    return sorted(same, key=lambda one: (survey_date(one), one.row.id), reverse=True)


def survey_date(view: SurveyView) -> str:
    """Date of a survey as entered; empty where there is none."""
    return str((view.row.document.get("survey") or {}).get("date") or "")


def look(context: Context, made: Compared, survey_id: str, change: FindingChange, side: Side) -> Look:
    """Choose the photo that shows a row's place in one of the two surveys."""
    kept = made.earlier if side == "earlier" else made.later
    window = window_of(change)
    if window is None:
        words = "This finding has no place on the layout: its photo is not placed."
        return Look(side, Choice(None, None, 0.0, words), "", words)
    choice = photo_for(kept.assessment, window, _findings(change, side))
    if choice.photo is None:
        return Look(side, choice, "", choice.words)
    stored = next(one for one in context.services.photos(survey_id) if one.row.key == choice.photo.id)
    problem = "" if stored.picture else f"The picture of photo {choice.photo.id} was not uploaded."
    return Look(side, choice, stored.row.id, problem)


def _findings(change: FindingChange, side: Side) -> list[Any]:
    if side == "earlier":
        return list(change.earlier)
    return [change.later] if change.later is not None else []


def picture(context: Context, ids: tuple[str, str], level: float, row: str, side: Side) -> bytes:
    """Draw a row's place from one survey's photo into the layout frame, as JPEG.

    Parameters
    ----------
    ids : tuple of str
        The later survey and the earlier one.

    Raises
    ------
    NotFoundError
        If no photo of that survey shows the place, or its picture is not here.
    CorrosionError
        If the photo cannot be placed.
    """
    key = (_key(context, *ids, level), row, side)
    cache = _cache(context)
    with cache.lock:
        if key in cache.pictures:
            return cache.pictures[key]
    made = compared(context, *ids, level)
    change = made.row(row)
    survey_id = ids[1] if side == "earlier" else ids[0]
    found = look(context, made, survey_id, change, side)
    window = window_of(change)
    if found.problem or window is None:
        raise NotFoundError(found.problem or "there is no picture of it.")
    data = _drawn(context, found, made.earlier if side == "earlier" else made.later, window)
    with cache.lock:
        _keep(cache.pictures, key, data, KEPT_PICTURES)
    return data


def _drawn(context: Context, found: Look, kept: Kept, window: Window) -> bytes:
    photo, placed = found.choice.photo, found.choice.placed
    stored = context.services.photo(found.photo_row).picture
    if photo is None or placed is None or stored is None:
        raise NotFoundError("there is no picture of it.")
    limits = photo_limits(context.settings)
    loaded = load_picture(context.files.read(stored.sha256), name=photo.file, limits=limits)
    drawn = rectified(loaded.pixels, photo, placed, kept.assessment, window)
    done, coded = cv2.imencode(".jpg", drawn[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise StorageError("the picture could not be made.")
    return bytes(coded)
