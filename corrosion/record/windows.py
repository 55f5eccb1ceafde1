"""Where to look closer: a window for every mark, marks near each other sharing one.

Windows are edges in the full picture, px: left, top, right, bottom; (0, 0, W, H) is all of it.
"""

from __future__ import annotations

from dataclasses import dataclass

from corrosion.record.drawing import Box, Traced
from corrosion.terms import MarkKind

CROP_PX = 480
"""Width of a close-up: about 210 pixels per inch as printed, three to a row."""
ASPECT = 4.0 / 3.0
MOST = 8
ROOM = 1.6
LEAST_PX = 160.0
SHARED_PX = 320.0
"""Marks that fit into a window of this width share it."""
WHOLE_SHARE = 0.6
"""A mark whose close-up would show more of the photo than this is shown on the overview alone."""


@dataclass(frozen=True)
class Window:
    """A close-up and the names of the marks it is for."""

    box: Box
    marks: list[str]

    @property
    def width(self) -> float:
        """Px of the full picture."""
        return self.box[2] - self.box[0]


def close_ups(traced: list[Traced], size: tuple[int, int]) -> list[Window]:
    """Choose the close-ups of a photo.

    Pits and blend-outs each get one; those that fit into one close-up with hardly a loss share it,
    and so do those that largely show the same metal. At most `MOST`: the nearest are then joined.

    Parameters
    ----------
    traced : list of Traced
    size : (width, height)
        Of the upright picture, px.
    """
    asked = [one for one in traced if one.kind in (MarkKind.PIT, MarkKind.BLEND_OUT)]
    windows: list[Window] = []
    for one in sorted(asked, key=lambda t: (-_width_for(t.box), t.box)):
        if _width_for(one.box) > WHOLE_SHARE * size[0]:
            continue
        _add(windows, Window(_fitted(one.box, ROOM), [one.name]))
    while len(windows) > MOST:
        _join_nearest(windows)
    shown = [Window(_inside(w.box, size), w.marks) for w in windows]
    return sorted(shown, key=lambda w: (w.box[1] // 200, w.box[0], w.box))


def _add(windows: list[Window], new: Window) -> None:
    """Put a window into the one it makes least larger, or beside them."""
    best, at = float("inf"), -1
    for number, one in enumerate(windows):
        joined = _joined(one, new).width
        if (joined <= max(SHARED_PX, 1.15 * one.width)) and joined - one.width < best:
            best, at = joined - one.width, number
    if at < 0:
        windows.append(new)
    else:
        windows[at] = _joined(windows[at], new)


def _join_nearest(windows: list[Window]) -> None:
    pairs = [(i, j) for i in range(len(windows)) for j in range(i)]
    i, j = min(pairs, key=lambda ij: _joined(windows[ij[0]], windows[ij[1]]).width)
    joined = _joined(windows[i], windows[j])
    del windows[i], windows[j]
    windows.append(joined)


def _joined(a: Window, b: Window) -> Window:
    boxes = a.box, b.box
    hull = (
        min(box[0] for box in boxes),
        min(box[1] for box in boxes),
        max(box[2] for box in boxes),
        max(box[3] for box in boxes),
    )
    return Window(_fitted(hull, 1.0), [*a.marks, *b.marks])


def _width_for(box: Box) -> float:
    return ROOM * max(box[2] - box[0], ASPECT * (box[3] - box[1]))


def _fitted(box: Box, room: float) -> Box:
    """Grow a box about its middle to the close-ups' shape, with room round it."""
    wide = max(room * (box[2] - box[0]), room * ASPECT * (box[3] - box[1]), LEAST_PX)
    x, y = (box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0
    return x - wide / 2.0, y - wide / ASPECT / 2.0, x + wide / 2.0, y + wide / ASPECT / 2.0


def _inside(box: Box, size: tuple[int, int]) -> Box:
    """Move a window into the picture; one larger than the picture is cut to it."""
    wide, high = min(box[2] - box[0], float(size[0])), min(box[3] - box[1], float(size[1]))
    left = min(max(box[0], 0.0), size[0] - wide)
    top = min(max(box[1], 0.0), size[1] - high)
    return left, top, left + wide, top + high
