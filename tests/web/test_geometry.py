"""The browser and the Python side agree: both are held to the cases of geometry_cases.json."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Polygon

from corrosion.errors import MarkError
from corrosion.marks import outline_of
from corrosion.measure._shape import perimeter, ring_area
from corrosion.model import EllipseShape, Mark, PolygonShape, Settings
from corrosion.terms import MarkKind
from corrosion.units import mm_per
from tests.support import need

HERE = Path(__file__).parent
WEB = HERE.parents[1] / "api" / "web"
CASES: dict[str, Any] = json.loads((HERE / "geometry_cases.json").read_text("utf-8"))


def _named(kind: str) -> list[Any]:
    return [pytest.param(case, id=case["name"].replace(" ", "-")) for case in CASES[kind]]


def _mark(shape: PolygonShape | EllipseShape) -> Mark:
    return Mark(id="P1", kind=MarkKind.PIT, shape=shape)


@pytest.mark.parametrize("case", _named("rings"))
def test_rings(case: dict[str, Any]) -> None:
    """Area, perimeter and centroid of simple rings are the closed forms; spoilt rings are refused."""
    mark = _mark(PolygonShape(coordinates=[case["ring"]]))
    if not case["simple"]:
        with pytest.raises(MarkError):
            outline_of(mark, Settings(), None, "case")
        return
    ring = outline_of(mark, Settings(), None, "case").points_px
    assert abs(float(ring_area(ring))) == pytest.approx(case["area"], rel=1e-9)
    assert float(perimeter(ring)) == pytest.approx(case["perimeter"], rel=1e-9)
    centroid = Polygon(case["ring"]).centroid
    assert (centroid.x, centroid.y) == pytest.approx(case["centroid"], abs=1e-6)


@pytest.mark.parametrize("case", _named("ellipses"))
def test_ellipses(case: dict[str, Any]) -> None:
    """An ellipse has the area pi a b, and its first vertex lies towards the end of its first axis."""
    shape = EllipseShape(
        center=tuple(case["center"]), semi_axes=tuple(case["semi_axes"]), angle_deg=case["angle_deg"]
    )
    ring = outline_of(_mark(shape), Settings(), None, "case").points_px
    assert abs(float(ring_area(ring))) == pytest.approx(case["area"], rel=1e-9)
    # The polygon has the ellipse's area, so its vertices lie 4 parts in 10 000 outside it.
    for end in ("first_end", "second_end"):
        nearest = float(np.hypot(*(ring - np.array(case[end])).T).min())
        assert nearest < 5e-4 * max(case["semi_axes"])


@pytest.mark.parametrize("case", CASES["lengths"])
def test_units(case: dict[str, Any]) -> None:
    """Lengths and areas convert by the inch of exactly 25.4 mm (NIST SP 811, 2008, Appendix B.8)."""
    factor = mm_per(case["from"]) / mm_per(case["to"])
    assert case["value"] * factor ** case["power"] == pytest.approx(case["expected"], rel=1e-12)


def test_browser_modules(tmp_path: Path) -> None:
    """The pages' own geometry, units, merge and undo meet the same cases, under Node's test runner."""
    node = shutil.which("node")
    need(node, "Node is not installed")
    need((WEB / "node_modules" / "esbuild").is_dir(), "run 'npm ci --ignore-scripts' in api/web")
    assert node is not None
    built = subprocess.run(
        [node, "build.mjs", "--test", str(tmp_path)], cwd=WEB, capture_output=True, text=True, check=False
    )
    assert built.returncode == 0, built.stderr
    ran = subprocess.run(
        [node, "--test", str(HERE / "geometry.test.mjs")],
        env=os.environ | {"CORROSION_TEST_BUILD": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout[-4000:] + ran.stderr[-2000:]
