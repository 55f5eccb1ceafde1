"""Every finding stands in the table where its place on the metal stands, never better."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from api.pages.rows import Row, finding_rows
from api.results import Kept
from corrosion.model import parse_survey
from corrosion.survey import assess
from corrosion.terms import Verdict
from tests.api.samples import PLACEMENT, SCALE, STRUCTURE

SIZES = {"f1": (400, 300)}


def survey(marks: list[dict[str, Any]], **parts: Any) -> Kept:
    """Assess a survey with one placed photo: 4 px are 1 mm, (100, 100) px is (400, 120) mm."""
    photo = {
        "id": "f1",
        "file": "f1.jpg",
        "view": "daylight",
        "member": "SK1",
        "face": "inner",
        "scale": SCALE,
        "placement": PLACEMENT,
        "marks": marks,
    }
    document = {"format": "corrosion-survey", "version": 1, "units": "mm", "structure": STRUCTURE}
    file = parse_survey(document | {"photos": [photo]} | parts)
    return Kept(assess(file, sizes=SIZES), "mm")


def mark(identifier: str, kind: str, depth: float | None, **more: Any) -> dict[str, Any]:
    """Make a round mark of radius 5 mm round pixel (200, 150)."""
    depths = [] if depth is None else [{"value": depth, "u": 0.001, "method": "micrometer"}]
    shape = {"type": "Circle", "center": [200, 150], "radius": 20}
    measured = {"measured_from": "original"} if kind == "blend-out" else {}
    return {"id": identifier, "kind": kind, "shape": shape, "depths": depths} | measured | more


def only(kept: Kept) -> Row:
    """Return the single row of a survey with one finding."""
    (row,) = finding_rows(kept)
    return row


@pytest.mark.parametrize(
    ("depth", "verdict"), [(0.05, Verdict.WITHIN), (0.15, Verdict.OVER), (0.1015, Verdict.TOO_CLOSE)]
)
def test_a_blend_out_is_judged_against_the_limit_there(depth: float, verdict: Verdict) -> None:
    """The limit is 10 % of 1.02 mm; 0.1015 mm with u = 0.001 mm lies 0.5 u below it, P over is 31 %."""
    row = only(survey([mark("B1", "blend-out", depth)]))
    assert row.verdict is verdict
    assert row.share == pytest.approx(depth / 0.102, rel=1e-9)


def test_a_pit_is_loss_not_removal() -> None:
    """A pit gets no verdict, even a shallow one; a deep one says what blending it would do."""
    shallow, deep = only(survey([mark("P1", "pit", 0.05)])), only(survey([mark("P1", "pit", 0.3)]))
    assert (shallow.verdict, shallow.standing) == (None, "pit, not blended")
    assert deep.verdict is None
    assert "over the limit" in deep.standing


def test_a_blend_out_without_depth_is_not_determined() -> None:
    """A photo alone never gives a depth, so nothing is said to be within."""
    row = only(survey([mark("B1", "blend-out", None)]))
    assert (row.verdict, row.standing) == (Verdict.NOT_DETERMINED, "no depth read")


def test_a_thickness_reading_that_shows_more_gone_governs() -> None:
    """A reading of 0.80 mm in the middle of a 0.05 mm blend-out makes its row over the limit."""
    reading = {"id": "T1", "member": "SK1", "at": [425, 132.5], "value": 0.80, "u": 0.002}
    kept = survey([mark("B1", "blend-out", 0.05)], thickness_readings=[reading])
    middle = only(survey([mark("B1", "blend-out", 0.05)])).finding.position
    assert middle is not None
    at = {"at": [round(middle[0], 3), round(middle[1], 3)]}
    kept = survey([mark("B1", "blend-out", 0.05)], thickness_readings=[reading | at])
    row = only(kept)
    assert row.verdict is Verdict.OVER
    assert row.spot is not None
    assert row.spot.removed.value == pytest.approx(1.02 - 0.80, abs=1e-9)


def test_both_faces_add_up_in_a_row() -> None:
    """0.06 mm inside and 0.06 mm of earlier rework outside are 0.12 mm against 0.102 mm: over."""
    middle = only(survey([mark("B1", "blend-out", 0.06)])).finding.position
    assert middle is not None
    record = {
        "id": "R1",
        "member": "SK1",
        "face": "outer",
        "footprint": {"type": "Circle", "center": list(middle), "radius": 20},
        "depth": {"value": 0.06, "u": 0.001},
        "measured_from": "original",
        "date": "2030-02-01",
    }
    row = only(survey([mark("B1", "blend-out", 0.06)], removals=[record]))
    assert row.spot is not None
    assert row.spot.removed.value == pytest.approx(0.12, abs=1e-9)
    assert row.verdict is Verdict.OVER


def test_rows_come_by_zone_and_station() -> None:
    """Rows of one member and face come in the order of their stations."""
    other = {"shape": {"type": "Circle", "center": [120, 150], "radius": 8}}
    rows = finding_rows(survey([mark("P1", "pit", 0.1), mark("P2", "pit", 0.1, **other)]))
    stations = [row.finding.position[0] for row in rows if row.finding.position]
    assert stations == sorted(stations)
    assert len(stations) == 2
    assert dataclasses.is_dataclass(rows[0])
