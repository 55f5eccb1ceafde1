"""Surveys with known growth, read with the errors they state: U holds the truth as often as it should."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from corrosion.compare import compare
from corrosion.model import parse_survey
from corrosion.results import Assessment
from corrosion.survey import assess
from tests.compare.scenes import PX_PER_MM, depth, document, mark, photo

PLACES = [(215.0 + 17.0 * column, 185.0 - 20.0 * row) for column in range(4) for row in range(2)]
SIZES, SIZES_NOW = np.linspace(3.0, 6.5, 8), np.linspace(4.0, 9.5, 8)
DEPTHS, DEPTHS_NOW = np.linspace(0.05, 0.2, 8), np.linspace(0.06, 0.4, 8)
PAIRS = 30
SIGMA_PX, U_EDGE_PX, U_PLANE, U_LAYOUT, U_READING, U_GAUGE = 0.5, 0.5, 0.05, 0.2, 0.01, 0.01


def read(date: str, sizes: Any, depths: Any, gauge: float, rng: np.random.Generator) -> Assessment:
    """Make a survey as a person would: every click, edge, reference and reading off by its stated error."""
    edge = 2.0 * rng.normal(0.0, U_EDGE_PX) / PX_PER_MM
    marks = []
    for number, (place, size, deep) in enumerate(zip(PLACES, sizes, depths, strict=True)):
        value = float(abs(deep + gauge + rng.normal(0.0, U_READING)))
        one = mark(f"P{number}", place, float(size) + edge, depth(value, U_READING))
        ring = np.array(one["shape"]["coordinates"][0])
        one["shape"]["coordinates"] = [(ring + rng.normal(0.0, SIGMA_PX, ring.shape)).tolist()]
        marks.append(one)
    taken = photo(marks)
    for part, name, u in (("scale", "plane", U_PLANE), ("placement", "layout", U_LAYOUT)):
        image, known = np.array(taken[part]["image"]), np.array(taken[part][name])
        taken[part]["image"] = np.clip(image + rng.normal(0.0, SIGMA_PX, image.shape), -0.5, 999.0).tolist()
        taken[part][name] = (known + rng.normal(0.0, u, known.shape)).tolist()
    return assess(parse_survey(document(date, [taken])))


@pytest.fixture(scope="module")
def found() -> list[tuple[str, float, float]]:
    """Give quantity, error of the growth and its U, of every pit of every pair of surveys."""
    rng = np.random.default_rng(2031)
    grown = {
        "area": SIZES_NOW**2 - SIZES**2,
        "depth": DEPTHS_NOW - DEPTHS,
    }
    rows = []
    for _ in range(PAIRS):
        gauge = rng.normal(0.0, U_GAUGE)
        then = read("2031-04-17", SIZES, DEPTHS, gauge, rng)
        now = read("2033-04-17", SIZES_NOW, DEPTHS_NOW, gauge, rng)
        for change in compare(then, now).findings:
            assert change.later is not None
            assert change.earlier[0].id == change.later.id
            number = int(change.later.id.removeprefix("f1/P"))
            rows += [
                (g.quantity, g.difference.value - float(grown[g.quantity][number]), g.difference.expanded)
                for g in change.growths
            ]
    return rows


@pytest.mark.parametrize("quantity", ["area", "depth"])
def test_the_true_growth_lies_inside_u(found: list[tuple[str, float, float]], quantity: str) -> None:
    """Of 240 pits at least 93 % hold the true growth within U (k = 2), and U is no wider than it need be.

    Too wide a U would hold everything: the errors' root mean square is at least 0.7 of u.
    """
    errors = np.array([(off, wide) for name, off, wide in found if name == quantity])
    assert len(errors) == PAIRS * len(PLACES)
    assert (np.abs(errors[:, 0]) <= errors[:, 1]).mean() >= 0.93
    assert np.sqrt(((2.0 * errors[:, 0] / errors[:, 1]) ** 2).mean()) >= 0.7
