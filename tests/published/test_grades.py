"""Corrosion grades by depth: NAVEDTRA 14022, p. 146; TM 1-1520-238-23 (Change 9), para 1.49.14.

Both give light to 1 mil, moderate to 10 mils, severe beyond. The pit rating chart is that of
ASTM G46-94, from memory.
"""

from __future__ import annotations

import pytest

from corrosion.grades import (
    PIT_DENSITY_PER_M2,
    PIT_DEPTH_MM,
    PIT_SIZE_MM2,
    RATING_RULE,
    DepthGrade,
    PitRating,
    depth_grade,
    pit_rating,
)
from corrosion.units import MM_PER_INCH


@pytest.mark.parametrize(
    ("depth_in", "grade"),
    [
        (0.0005, "light"),
        (0.001, "light"),
        (0.0011, "moderate"),
        (0.005, "moderate"),
        (0.010, "moderate"),
        (0.0101, "severe"),
        (0.040, "severe"),
    ],
)
def test_depth_grades_in_inches(depth_in: float, grade: str) -> None:
    """1 mil "maximum" is light, "as deep as 10 mils" moderate, "deeper than 10 mils" severe."""
    assert depth_grade(depth_in * MM_PER_INCH) == DepthGrade(grade)


@pytest.mark.parametrize(
    ("depth_mm", "grade"),
    [(0.0, "light"), (0.0254, "light"), (0.0255, "moderate"), (0.254, "moderate"), (0.2541, "severe")],
)
def test_depth_grades_in_millimetres(depth_mm: float, grade: str) -> None:
    """10 mils are 0.254 mm (NIST SP 811: 1 in = 25.4 mm), the edge of moderate."""
    assert depth_grade(depth_mm) == DepthGrade(grade)


@pytest.mark.parametrize("rating", [1, 2, 3, 4, 5])
def test_an_exemplar_has_its_own_rating(rating: int) -> None:
    """Each exemplar of the chart (ASTM G46-94, from memory) is rated with its own number."""
    density = (2.5e3, 1e4, 5e4, 1e5, 5e5)[rating - 1]
    size = (0.5, 2.0, 8.0, 12.5, 24.5)[rating - 1]
    depth = (0.4, 0.8, 1.6, 3.2, 6.4)[rating - 1]
    assert pit_rating(density, size, depth) == PitRating(rating, rating, rating)


def test_the_rating_is_written_as_in_the_standard() -> None:
    """5e4 pits/m2 of 2.0 mm2 and 1.6 mm depth read A-3, B-2, C-3 (ASTM G46-94, from memory)."""
    assert str(pit_rating(5e4, 2.0, 1.6)) == "A-3, B-2, C-3"


def test_between_exemplars_the_lower_rating_is_given() -> None:
    """The chart has no class edges; "at least" is this program's choice and it says so."""
    assert pit_rating(4.9e4, 7.9, 1.59) == PitRating(2, 2, 2)
    assert "exemplar is reached" in RATING_RULE


def test_below_the_chart_and_not_measured_are_different() -> None:
    """A pit below the first exemplar is rated below 1; what nobody measured is not rated."""
    assert str(pit_rating(None, 0.1, 0.05)) == "B-below 1, C-below 1"
    assert str(pit_rating(None, None, None)) == "not rated"


def test_severe_on_the_mil_scale_is_below_the_chart() -> None:
    """C-1 (0.4 mm) is already severe at 10 mils: both scales are shown, neither replaces the other."""
    assert depth_grade(PIT_DEPTH_MM[0]) is DepthGrade.SEVERE
    assert pit_rating(None, None, 0.3).depth == 0
    assert depth_grade(0.3) is DepthGrade.SEVERE


def test_the_chart_rises() -> None:
    """Each scale of the chart rises from rating to rating."""
    for scale in (PIT_DENSITY_PER_M2, PIT_SIZE_MM2, PIT_DEPTH_MM):
        assert list(scale) == sorted(set(scale))
        assert len(scale) == 5
