"""One place on a member, as a person writes it: ``SK1:412.5,66``."""

from __future__ import annotations

import numpy as np

from corrosion.errors import LayoutError, UnitsError
from corrosion.layout import MemberLayout, station_mm
from corrosion.report.map_subject import removal_of
from corrosion.results import Assessment, Spot
from corrosion.units import LengthUnit, mm_per, show_length

HOW = "Write MEMBER:STATION,OFFSET, for instance SK1:412.5,66."


def find_spot(assessment: Assessment, text: str) -> tuple[str, Spot]:
    """Find the member and sum what was removed at one place.

    Parameters
    ----------
    text : str
        ``MEMBER:STATION,OFFSET`` in the survey's display unit; the station may carry a plug suffix.

    Returns
    -------
    str
        Member id.
    Spot
        The sum there.

    Raises
    ------
    UnitsError
        If the text cannot be read.
    LayoutError
        If there is no such member, or the place is not on it.
    """
    survey = assessment.survey
    unit = survey.display_units or survey.units
    member_id, colon, place = text.rpartition(":")
    station, comma, offset = place.rpartition(",")
    if not (colon and comma):
        raise UnitsError(f"the place {text!r} cannot be read.", remedy=HOW)
    member = next((m for m in survey.structure.members if m.id == member_id.strip()), None)
    if member is None:
        names = ", ".join(m.id for m in survey.structure.members)
        raise LayoutError(
            f"there is no member {member_id!r}.", place=f"spot {text}", remedy=f"Members: {names}."
        )
    at = (station_mm(station, survey.structure, mm_per(unit))[0], _offset_mm(offset, unit))
    layout = MemberLayout.of(member, survey.structure)
    if not layout.contains(np.array([at]))[0]:
        left, bottom, right, top = layout.polygon.bounds
        raise LayoutError(
            f"the place does not lie on member {member.id!r}.",
            place=f"spot {text}",
            remedy=f"It spans stations {show_length(left, unit)} to {show_length(right, unit)} and "
            f"offsets {show_length(bottom, unit)} to {show_length(top, unit)}.",
        )
    return member.id, removal_of(assessment, member.id).spot(at)


def _offset_mm(text: str, unit: LengthUnit) -> float:
    try:
        offset = float(text)
    except ValueError as error:
        raise UnitsError(f"the offset {text!r} is not a number.", remedy=HOW) from error
    if not np.isfinite(offset):
        raise UnitsError(f"the offset {text!r} is not a finite number.", remedy=HOW)
    return offset * mm_per(unit)
