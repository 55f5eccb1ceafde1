"""Measure everything marked on a photo, each value with its uncertainty, budget and flags."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from corrosion.depth import governing_depth
from corrosion.errors import MetrologyError
from corrosion.marks import outline_of
from corrosion.measure._light import with_depths_by_light
from corrosion.measure._mapped import MappedMark
from corrosion.measure._mark import local_scale, mark_quantities
from corrosion.measure._spacing import nearest_spacings
from corrosion.measure._totals import photo_totals
from corrosion.model import Mark, Photo, SurveyFile
from corrosion.quantity import Measured
from corrosion.results import MarkMeasures, PhotoMeasures
from corrosion.scale import PlaneScale, fit_scale
from corrosion.terms import MarkKind

__all__ = ["measure_photo"]


def measure_photo(photo: Photo, survey: SurveyFile, size: tuple[int, int] | None = None) -> PhotoMeasures:
    """Measure all marks of one photo.

    Nothing is raised for what the user can mend: a mark that cannot be measured says why in its
    `problem` and does not stop the others; without a usable scale the photo says why, and the depths
    that were read are still there.

    Parameters
    ----------
    photo : Photo
        Of a survey already in millimetres.
    survey : SurveyFile
        For settings, lens profiles and instruments.
    size : (width, height), optional
        Upright picture, px; the photo's own where not given. Without it marks beyond the border cannot
        be noticed.

    Returns
    -------
    PhotoMeasures
    """
    known = size or photo.size
    try:
        scale = fit_scale(photo, survey, known)
    except MetrologyError as error:
        return _unscaled(photo, survey, str(error))
    results, mapped = [], {}
    for mark in photo.marks:
        result, on_plane = _measure_mark(mark, photo, scale, survey, scale.camera.size)
        results.append(result)
        if on_plane is not None:
            mapped[mark.id] = on_plane
    results = _with_spacing(results, mapped)
    return PhotoMeasures(
        photo_id=photo.id,
        scale_kind=scale.kind,
        marks=results,
        totals=photo_totals(results, mapped),
        scale={"mm_per_px": local_scale(scale, scale.camera.size)},
        flags=scale.flags,
    )


def _unscaled(photo: Photo, survey: SurveyFile, problem: str) -> PhotoMeasures:
    """Depths and counts need no scale."""
    marks = []
    for drawn in photo.marks:
        mark, doubt = with_depths_by_light(drawn, None, survey, f"photo {photo.id}, mark {drawn.id}")
        depth = governing_depth(mark.depths, survey)
        marks.append(MarkMeasures(mark, {}, np.empty((0, 2)), depth, doubt or problem))
    missing_matters = bool(photo.marks) or photo.scale is not None
    return PhotoMeasures(
        photo_id=photo.id,
        scale_kind=None if photo.scale is None else photo.scale.kind,
        marks=marks,
        totals=photo_totals(marks, {}),
        problem=problem if missing_matters else None,
    )


def _measure_mark(
    drawn: Mark, photo: Photo, scale: PlaneScale, survey: SurveyFile, size: tuple[int, int] | None
) -> tuple[MarkMeasures, MappedMark | None]:
    place = f"photo {photo.id}, mark {drawn.id}"
    mark, doubt = with_depths_by_light(drawn, scale, survey, place)
    depth = governing_depth(mark.depths, survey)
    try:
        outline = outline_of(mark, survey.settings, size, place)
        on_plane = MappedMark.of(outline, scale, place)
        quantities = mark_quantities(on_plane, place)
    except MetrologyError as error:
        return MarkMeasures(mark, {}, np.empty((0, 2)), depth, str(error)), None
    outer = outline.rings[0] if outline.rings else slice(None)
    return MarkMeasures(mark, quantities, on_plane.plane[outer], depth, doubt), on_plane


def _with_spacing(results: list[MarkMeasures], mapped: dict[str, MappedMark]) -> list[MarkMeasures]:
    spacing: dict[str, Measured] = {}
    for kind in MarkKind:
        of_kind = [r.mark.id for r in results if r.mark.kind is kind and r.mark.id in mapped]
        found = nearest_spacings([mapped[one] for one in of_kind])
        spacing |= {one: gap for one, gap in zip(of_kind, found, strict=True) if gap is not None}
    return [
        replace(r, quantities=r.quantities | {"spacing": spacing[r.mark.id]}) if r.mark.id in spacing else r
        for r in results
    ]
