"""One click outlines a blend-out by the direction of its sanding marks."""

from __future__ import annotations

import numpy as np
import pytest

from corrosion.errors import MarkError
from corrosion.suggest import outline_blend
from corrosion.terms import MarkKind
from tests.suggest.scenes import Scene
from tests.suggest.support import overlap


def test_turned_marks_are_outlined() -> None:
    """A dish that differs from the metal round it by the direction of its marks alone is outlined."""
    scene = Scene(360, 300, 12).blend((175.0, 150.0), (80.0, 60.0))
    found = outline_blend(scene.shoot(), (182.0, 146.0))
    assert found.kind is MarkKind.BLEND_OUT
    # A gathering window of 4 px on a radius of 70 px is 6 % of it, 12 % of the area, either way.
    assert overlap(found.outline_px, scene.blends[0]) > 0.75
    assert found.edge_u_px >= 2.0


def test_metal_of_one_grain_has_no_blend() -> None:
    """Without a change of marks nothing is outlined."""
    with pytest.raises(MarkError, match="by hand"):
        outline_blend(np.full((260, 260), 120, np.uint8), (130.0, 130.0))


def test_a_click_off_the_picture_is_refused() -> None:
    """The message names the click."""
    with pytest.raises(MarkError, match=r"\(400.0, 10.0\)"):
        outline_blend(np.full((200, 200), 120, np.uint8), (400.0, 10.0))
