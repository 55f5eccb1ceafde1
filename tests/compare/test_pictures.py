"""Photos of two surveys in one window of the layout: the same metal lies at the same pixel."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image

from corrosion.compare import Comparison, compare
from corrosion.compare.pictures import OUTSIDE_GREY, Window, photo_for, rectified, window_of
from corrosion.model import parse_survey
from corrosion.results import Assessment
from corrosion.survey import assess
from corrosion.terms import Face
from tests.compare.plates import CORNERS_NOW, CORNERS_THEN, NOW, THEN, survey, take

LOOKS = {"then": (CORNERS_THEN, THEN), "now": (CORNERS_NOW, NOW)}


@pytest.fixture(scope="module")
def looks() -> dict[str, tuple[Assessment, Any]]:
    """Give both assessments with their pictures."""
    made = {}
    for year, (name, (corners, pits)) in enumerate(LOOKS.items(), start=2031):
        pixels = np.asarray(Image.open(io.BytesIO(take(corners, pits))))
        made[name] = (assess(parse_survey(survey(f"{year}-05-05", corners, pits))), pixels)
    return made


@pytest.fixture(scope="module")
def comparison(looks: dict[str, tuple[Assessment, Any]]) -> Comparison:
    """Compare them."""
    return compare(looks["then"][0], looks["now"][0])


@pytest.mark.parametrize("which", ["then", "now"])
def test_a_pit_comes_to_lie_where_the_layout_has_it(
    looks: dict[str, tuple[Assessment, Any]], comparison: Comparison, which: str
) -> None:
    """The dark disc's centroid in either picture is its layout place within 0.1 mm, though seen askew."""
    assessment, pixels = looks[which]
    row = next(one for one in comparison.findings if one.key == "later:f1/Q1")
    window = window_of(row)
    assert window is not None
    choice = photo_for(assessment, window, [])
    assert choice.photo is not None
    assert choice.placed is not None
    picture = rectified(pixels, choice.photo, choice.placed, assessment, window)
    assert picture.shape[:2] == window.size_px[::-1]
    y, x = np.nonzero(picture[:, :, 0] < 120)
    wanted = window.to_picture @ np.array([230.0, 175.0, 1.0])
    tolerance = 0.1 * window.to_picture[0, 0]
    assert (x.mean(), y.mean()) == pytest.approx((wanted[0], wanted[1]), abs=tolerance)
    # And its area is the disc's, within the raster of the rendering (0.1 mm on the radius).
    radius = {"then": 2.0, "now": 3.4}[which]
    found = np.sqrt(len(x) / np.pi) / window.to_picture[0, 0]
    assert found == pytest.approx(radius, abs=0.1)


def test_what_no_photo_shows_is_said_and_grey(looks: dict[str, tuple[Assessment, Any]]) -> None:
    """Beside the photo there is no picture but the reason; at its edge the rest is grey, and said so."""
    assessment, pixels = looks["now"]
    off = Window("SK1", Face.OUTER, (600.0, 10.0), (620.0, 30.0))
    assert "nobody looked" in photo_for(assessment, off, []).words
    assert (
        photo_for(assessment, Window("SK1", Face.INNER, (230.0, 160.0), (250.0, 180.0)), []).photo is None
    )
    edge = Window("SK1", Face.OUTER, (180.0, 160.0), (220.0, 180.0))
    choice = photo_for(assessment, edge, [])
    assert choice.photo is not None
    assert choice.placed is not None
    assert choice.words == "Grey is outside the photo."
    picture = rectified(pixels, choice.photo, choice.placed, assessment, edge)
    assert (picture[:, 0] == OUTSIDE_GREY).all()


def test_an_unplaced_photo_is_named(looks: dict[str, tuple[Assessment, Any]]) -> None:
    """A photo that is not placed is named instead of the claim that nobody looked."""
    given = survey("2031-05-05", CORNERS_THEN, THEN)
    del given["photos"][0]["placement"]
    window = Window("SK1", Face.OUTER, (230.0, 160.0), (250.0, 180.0))
    words = photo_for(assess(parse_survey(given)), window, []).words
    assert "Not placed on the layout: f1" in words
