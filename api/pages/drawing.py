"""Members drawn small, to scale, as vector paths."""

from __future__ import annotations

from dataclasses import dataclass

from corrosion.model import Member

Ring = list[tuple[float, float]]
MARGIN = 0.04


@dataclass(frozen=True)
class Drawing:
    """Paths in (station, offset), offsets up: the template flips them.

    Attributes
    ----------
    view_box : str
        Of the flipped drawing.
    words : str
        The same for someone who cannot see it.
    """

    view_box: str
    path: str
    zones: list[str]
    words: str


def draw(member: Member, units: str) -> Drawing:
    """Draw a member's outline and limit zones; lengths in `units`, the structure's unit."""
    stations = [corner[0] for corner in member.outline]
    offsets = [corner[1] for corner in member.outline]
    width, height = max(stations) - min(stations), max(offsets) - min(offsets)
    edge = MARGIN * max(width, height) or 1.0
    box = (min(stations) - edge, -max(offsets) - edge, width + 2 * edge, height + 2 * edge)
    return Drawing(
        view_box=" ".join(f"{value:.6g}" for value in box),
        path=_path(member.outline),
        zones=[_path(zone.outline) for zone in member.limit_zones],
        words=f"Outline of {member.id}: {width:g} by {height:g} {units}, {len(member.outline)} corners",
    )


def _path(ring: Ring) -> str:
    return "M" + "L".join(f"{s:.6g} {o:.6g}" for s, o in ring) + "Z"
