"""A hand-made assessment, in inches and in millimetres; invented, every number chosen by hand."""

from __future__ import annotations

import math
from typing import Any, Literal

import numpy as np
from shapely.geometry import Point, Polygon, box

from corrosion.model import Mark, SurveyFile, in_millimetres, parse_survey
from corrosion.quantity import FloatArray, Measured
from corrosion.removal import RemovalField
from corrosion.results import (
    Assessment,
    BinSummary,
    Coverage,
    Finding,
    LedgerLine,
    MarkMeasures,
    MemberAssessment,
    PhotoMeasures,
    PlacedOutline,
    PlacedPhoto,
    SectionLoss,
    Spot,
)
from corrosion.terms import Face, Flag, MarkKind, Origin, Verdict

LIMIT_MM = 0.102
MM_PER_INCH = 25.4


class StubRemoval:
    """Two dishes on the outer face that together go over the limit, one alone on the inner face."""

    dishes = (
        ((400.0, 120.0), 22.0, 0.09, Face.OUTER),
        ((428.0, 120.0), 22.0, 0.12, Face.OUTER),
        ((425.0, 118.0), 18.0, 0.03, Face.INNER),
    )

    def field(self, points_mm: FloatArray, *, face: Face | None = None) -> RemovalField:
        """Sum the dishes at (n, 2) points."""
        total = {Face.OUTER: np.zeros(len(points_mm)), Face.INNER: np.zeros(len(points_mm))}
        for at, radius, depth, side in self.dishes:
            r2 = ((points_mm - np.array(at)) ** 2).sum(axis=1) / radius**2
            total[side] = np.maximum(total[side], depth * np.clip(1.0 - r2, 0.0, None))
        removed = total[face] if face is not None else total[Face.OUTER] + total[Face.INNER]
        limit = np.full(len(removed), LIMIT_MM)
        verdict = np.where(removed > limit, 3, np.where(removed > 0.9 * limit, 2, 0))
        chance = np.where(removed > limit, 0.9, 0.02)
        return RemovalField(
            removed, 0.02 * removed, limit, removed / limit, limit - removed, chance, verdict
        )


def survey_document(units: Literal["mm", "in"] = "mm") -> dict[str, Any]:
    """Give a survey file with one limited and one unlimited member; lengths in `units`."""
    k = 1.0 if units == "mm" else 1.0 / MM_PER_INCH
    skin = {
        "id": "SK1",
        "name": "lower skin, left",
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3 clad",
        "thickness": 1.02 * k,
        "offset_is": "chordwise",
        "outline": [[0, 0], [900 * k, 0], [900 * k, 220 * k], [0, 220 * k]],
        "limit": {"depth": LIMIT_MM * k, "source": "invented manual 51-10-02, rev 3"},
        "limit_zones": [
            {
                "id": "LZ1",
                "outline": [[0, 10 * k], [900 * k, 10 * k], [900 * k, 46 * k], [0, 46 * k]],
                "limit": {"fraction": 0.05, "source": "invented manual 51-10-02, rev 3"},
            }
        ],
        "fasteners": [{"at": [(10 + 40 * i) * k, 28 * k], "diameter": 3.18 * k} for i in range(22)],
        "stations": [{"label": "RIB 3", "at": 340 * k}, {"label": "RIB 4", "at": 570 * k}],
    }
    web = {
        "id": "SP1",
        "kind": "spar web",
        "zone": "335",
        "material": "7075-T6",
        "thickness": 1.6 * k,
        "outline": [[0, 0], [900 * k, 0], [900 * k, 120 * k], [0, 120 * k]],
    }
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": units,
        "structure": {"name": "Invented stabilizer", "zone": "330", "members": [skin, web]},
        "survey": {"name": "First look", "date": "2031-04-17", "inspector": "Inspector A"},
    }


def survey(units: Literal["mm", "in"] = "mm") -> SurveyFile:
    """Give the survey in millimetres; `units` decides what people see."""
    return in_millimetres(parse_survey(survey_document(units)))


def a_mark(name: str, kind: MarkKind) -> Mark:
    """Give a square mark."""
    shape = {"type": "Polygon", "coordinates": [[[0, 0], [9, 0], [9, 9], [0, 9]]]}
    return Mark.model_validate({"id": name, "kind": kind, "shape": shape})


def depth_of(value: float, u: float, *flags: Flag) -> Measured:
    """Give a depth with a reading part and a gauge part that make up `u`."""
    gauge = np.array([0.6 * u])
    return Measured(value, "mm", {"instrument DG-2": gauge}, {"reading": 0.8 * u}, frozenset(flags))


def photo_measures() -> list[PhotoMeasures]:
    """Give one measured photo with a pit, a blend-out without uncertainty and a failed mark, one lost."""
    area = Measured(8.31, "mm2", {"photo f1: reference": np.array([0.21])}, {"outline": 0.1})
    pit = MarkMeasures(
        a_mark("P1", MarkKind.PIT),
        {
            "area": area,
            "equivalent_diameter": Measured(3.2527, "mm", own={"all": 0.047}),
            "longest_calliper": Measured(3.9, "mm", own={"all": 0.06}),
            "shortest_calliper": Measured(2.8, "mm", own={"all": 0.06}),
            "spacing": Measured(11.04, "mm", own={"all": 0.2}, flags=frozenset({Flag.EXTRAPOLATED})),
        },
        np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 2.8]]),
        depth=depth_of(0.31, 0.0102, Flag.LOWER_BOUND),
    )
    blend = MarkMeasures(
        a_mark("B1", MarkKind.BLEND_OUT),
        {"area": Measured(400.0, "mm2", flags=frozenset({Flag.TILT_NOT_STATED}), known=False)},
        np.zeros((3, 2)),
    )
    failed = MarkMeasures(
        a_mark("P2", MarkKind.PIT), {}, np.zeros((0, 2)), problem="photo f1, mark P2: crosses itself."
    )
    totals = {"pit_area": area, "pit_count": Measured(1.0, "1")}
    scale = {"mm_per_px": Measured(0.052, "mm", own={"bar": 0.0004})}
    measured = PhotoMeasures(
        "f1", "bar", [pit, blend, failed], totals, scale, frozenset({Flag.TILT_ASSUMED})
    )
    return [measured, PhotoMeasures("f2", None, [], {}, problem="photo f2: has no scale reference.")]


def deepest_spot() -> Spot:
    """Give the spot where outer and inner removal add up to more than the limit."""
    ledger = [
        LedgerLine("R1", Face.OUTER, Origin.EARLIER, "2029-02-11", "original", 0.06, 0.06, 0.06),
        LedgerLine("B1", Face.OUTER, Origin.SURVEY, "2031-04-17", "original", 0.1182, 0.1182, 0.0582),
        LedgerLine("B2", Face.INNER, Origin.SURVEY, None, "current", 0.0292, 0.0292, 0.0292),
    ]
    return Spot(
        at=(427.2, 119.4),
        thickness=1.02,
        removed=depth_of(0.1474, 0.0061),
        by_face={Face.OUTER: 0.1182, Face.INNER: 0.0292},
        limit=LIMIT_MM,
        limit_source="invented manual 51-10-02, rev 3",
        probability_over=0.9999,
        verdict=Verdict.OVER,
        ledger=ledger,
    )


def findings() -> list[Finding]:
    """Give three blend-outs, a cluster of pits and a pit on the other face."""
    listed = []
    for number, (at, radius, depth, face) in enumerate(StubRemoval.dishes, start=1):
        outline = Point(at).buffer(radius)
        listed.append(_finding(f"B{number}", MarkKind.BLEND_OUT, face, outline, depth_of(depth, 0.005)))
    for number, at in enumerate([(404.0, 74.0), (418.0, 58.5), (440.0, 68.0), (462.0, 76.0)], start=1):
        outline = Point(at).buffer(1.0 + 0.4 * number)
        listed.append(_finding(f"P{number}", MarkKind.PIT, Face.OUTER, outline, depth_of(0.1, 0.01)))
    listed.append(_finding("P7", MarkKind.PIT, Face.INNER, Point(720.0, 176.0).buffer(2.2), None))
    return listed


def _finding(name: str, kind: MarkKind, face: Face, outline: Polygon, depth: Measured | None) -> Finding:
    at = (outline.centroid.x, outline.centroid.y)
    return Finding(
        name, kind, "SK1", face, "334", outline, at, (0.6, 0.6), depth, None, {}, [("f1", name)],
        station_text="412",
    )  # fmt: skip


def placed_photos() -> list[PlacedPhoto]:
    """Give one photo on the outer face, one that could not be placed."""
    outline = PlacedOutline(
        "f1", a_mark("P1", MarkKind.PIT), Point(404, 74).buffer(1.4), (404, 74), (0.6, 0.6)
    )
    footprint = Polygon([(370, 40), (480, 44), (478, 160), (372, 156)])
    placed = PlacedPhoto("f1", "SK1", Face.OUTER, footprint, [outline], [(0.1, -0.2)], 0.16)
    lost = PlacedPhoto("f2", "SK1", Face.INNER, None, [], [], None, problem="photo f2: no scale.")
    return [placed, lost]


def assessment(units: Literal["mm", "in"] = "mm") -> Assessment:
    """Give the whole assessment."""
    whole = survey(units)
    skin, web = whole.structure.members
    spot = deepest_spot()
    outer_seen = box(300, 0, 600, 220)
    assessed = MemberAssessment(
        member=skin,
        verdict=Verdict.OVER,
        reasons=["Not seen: 67 % of the outer face."],
        deepest=spot,
        least_margin=spot,
        over_area_mm2=812.0,
        not_within_area_mm2=1010.0,
        removed_volume_mm3=Measured(128.4, "mm3", own={"depths": 6.2}),
        removed_mass_kg=Measured(0.000357, "kg", own={"depths": 1.7e-5}),
        section_losses=[SectionLoss(427.0, 4.1, 224.4)],
        bins=[
            BinSummary(0.0, 300.0, None, SectionLoss(150.0, 0.0, 0.0), 0.0, 0, Verdict.NOT_DETERMINED),
            BinSummary(300.0, 600.0, spot, SectionLoss(427.0, 4.1, 224.4), 812.0, 7, Verdict.OVER),
            BinSummary(600.0, 900.0, None, SectionLoss(750.0, 0.0, 0.0), 0.0, 1, Verdict.NOT_DETERMINED),
        ],
        readings=[],
        coverage={
            Face.OUTER: Coverage(Face.OUTER, outer_seen, box(0, 0, 900, 220) - outer_seen, 1 / 3),
            Face.INNER: Coverage(Face.INNER, box(0, 0, 900, 220), Polygon(), 1.0),
        },
        unblended_pits=["P1", "P2", "P3", "P4", "P7"],
        cell_mm=0.5,
        cell_error_mm=math.nan,
        flags=frozenset({Flag.NOMINAL_THICKNESS}),
    )
    bare = MemberAssessment(
        web, Verdict.NOT_DETERMINED, ["No limit is set, and no removal was measured or recorded."], None,
        None, 0.0, 0.0, Measured(0.0, "mm3"), None, [], [], [], {}, [], 0.0, 0.0,
    )  # fmt: skip
    return Assessment(
        survey=whole,
        photos=photo_measures(),
        placed=placed_photos(),
        findings=findings(),
        members=[assessed, bare],
        problems=["photo f1, mark P2: crosses itself.", "photo f2: has no scale reference."],
        verdict=Verdict.OVER,
    )
