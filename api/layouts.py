"""Structures are checked before they are stored: nothing on a member that does not hold can be judged."""

from __future__ import annotations

from typing import Literal

from shapely.errors import ShapelyError

from api.errors import Fault, InvalidError
from corrosion.errors import LayoutError
from corrosion.layout import MemberLayout
from corrosion.model import Member, Structure, SurveyFile, in_millimetres


def check_layouts(structure: Structure, units: Literal["mm", "in"], *, path: str) -> None:
    """Check that every member's outlines, zones and limits hold together.

    Parameters
    ----------
    structure : Structure
        In `units`.
    path : str
        Where the structure stands in the request, such as ``body.structure``.

    Raises
    ------
    InvalidError
        If not; every bad member is listed with what is wrong with it. Lengths in the text are in mm.
    """
    in_mm = in_millimetres(SurveyFile(units=units, structure=structure)).structure
    faults = [
        Fault(path=f"{path}.members.{number}", message=message, value=member.id)
        for number, member in enumerate(in_mm.members)
        if (message := _wrong(member, in_mm))
    ]
    if faults:
        raise InvalidError(
            f"{faults[0]['path']}: {faults[0]['message']}",
            remedy="Correct the members listed under 'errors'; nothing was stored.",
            faults=faults,
        )


def _wrong(member: Member, structure: Structure) -> str:
    """Say what is wrong with a member; empty if nothing is."""
    try:
        MemberLayout.of(member, structure)
    except LayoutError as error:
        return str(error)
    except ShapelyError:
        return f"member {member.id!r}: its coordinates are beyond what can be computed with."
    return ""
