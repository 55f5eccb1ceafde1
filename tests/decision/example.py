"""An invented structure, its survey and a decision about it; and one second-hand candidate's survey."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from pydantic import TypeAdapter

from corrosion.model import Member, SurveyFile, parse_survey
from corrosion.model.decision import Decision
from corrosion.quantity import Measured
from corrosion.results import Assessment, Coverage, Finding, MemberAssessment
from corrosion.terms import Face, MarkKind, Verdict


def spread(low: float, likely: float | None = None, high: float | None = None) -> dict[str, float]:
    """Give a spread; one number is a value without doubt."""
    return {"low": low, "likely": low if likely is None else likely, "high": low if high is None else high}


NONE = spread(0.0)

EXAMPLE: dict[str, Any] = {
    "rates": {"currency": "EUR", "hour": spread(70, 85, 110), "day": spread(0), "source": "shop list 2031"},
    "actions": [
        {
            "id": "A1",
            "name": "blend and protect",
            "member": "SK1",
            "hours": spread(20, 30, 60),
            "money": spread(100, 150, 300),
            "days": spread(4, 6, 12),
            "source": "invented",
        },
        {
            "id": "A2",
            "name": "replace the skin",
            "member": "SK1",
            "hours": spread(60, 90, 160),
            "money": spread(800, 1000, 1600),
            "days": spread(10, 15, 30),
            "needed": 0.2,
        },
    ],
    "hidden": {
        "hours": spread(1, 2, 5),
        "money": spread(10, 20, 60),
        "days": spread(0.2, 0.4, 1),
        "worse": spread(1, 1.2, 2),
        "block": 100,
        "least_depth": 0.02,
    },
    "candidates": [
        {
            "id": "N1",
            "kind": "new",
            "name": "new assembly",
            "price": spread(9000, 9500, 11000),
            "days": spread(60, 90, 180),
            "actions": [
                {
                    "id": "F1",
                    "name": "fit",
                    "hours": spread(20, 25, 40),
                    "money": NONE,
                    "days": spread(3, 4, 6),
                }
            ],
        },
        {
            "id": "S1",
            "kind": "second-hand",
            "price": spread(2500, 3000, 3500),
            "days": spread(7, 10, 20),
            "survey": "surveys/S1.json",
            "actions": [
                {
                    "id": "F1",
                    "name": "fit",
                    "hours": spread(20, 25, 40),
                    "money": NONE,
                    "days": spread(3, 4, 6),
                }
            ],
        },
    ],
    "draws": 20_000,
    "seed": 7,
}


def decision(**changes: Any) -> Decision:
    """Build the example with changes, as JSON would bring it."""
    return TypeAdapter(Decision).validate_python(EXAMPLE | changes)


def surveyed(
    *,
    pits: Sequence[tuple[float, float, float]] = (),
    seen_width: float = 600.0,
    verdict: Verdict = Verdict.WITHIN,
    limit: float | None = 0.3,
    member: str = "SK1",
) -> Assessment:
    """Assess one skin of 1000 by 400 mm: its inner face is seen up to `seen_width`, its outer face whole.

    `pits` are (station, offset, depth) on the inner face.
    """
    survey = _survey(member, limit)
    whole = shapely.box(0, 0, 1000, 400)
    seen = shapely.box(0, 0, seen_width, 400) if seen_width > 0 else shapely.Polygon()
    inner = Coverage(Face.INNER, seen, whole.difference(seen), seen_width / 1000)
    outer = Coverage(Face.OUTER, whole, shapely.Polygon(), 1.0)
    findings = [
        Finding(
            f"P{i}", MarkKind.PIT, member, Face.INNER, "334", None, (s, o), (1, 1), _depth(d), None, {}, []
        )
        for i, (s, o, d) in enumerate(pits)
    ]
    assessed = _member(survey.structure.members[0], verdict, {Face.INNER: inner, Face.OUTER: outer})
    return Assessment(survey, [], [], findings, [assessed], [], verdict)


def scattered(count: int, *, width: float = 600.0, seed: int = 1) -> list[tuple[float, float, float]]:
    """Scatter pits of exponential depth (mean 0.05 mm) over the seen part."""
    rng = np.random.default_rng(seed)
    return [
        (float(rng.uniform(0, width)), float(rng.uniform(0, 400)), float(rng.exponential(0.05)))
        for _ in range(count)
    ]


def _depth(value: float) -> Measured:
    return Measured(value, "mm", own={"reading": 0.005})


def _survey(member: str, limit: float | None) -> SurveyFile:
    skin: dict[str, Any] = {
        "id": member,
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3 clad",
        "thickness": 1.0,
        "outline": [[0, 0], [1000, 0], [1000, 400], [0, 400]],
    }
    if limit is not None:
        skin["limit"] = {"depth": limit, "source": "invented manual, 1-2"}
    return parse_survey(
        {
            "format": "corrosion-survey",
            "version": 1,
            "units": "mm",
            "structure": {"name": "bench", "members": [skin]},
        }
    )


def _member(member: Member, verdict: Verdict, coverage: dict[Face, Coverage]) -> MemberAssessment:
    return MemberAssessment(
        member=member,
        verdict=verdict,
        reasons=[],
        deepest=None,
        least_margin=None,
        over_area_mm2=0.0,
        not_within_area_mm2=0.0,
        removed_volume_mm3=Measured(0.0, "mm3"),
        removed_mass_kg=None,
        section_losses=[],
        bins=[],
        readings=[],
        coverage=coverage,
        unblended_pits=[],
        cell_mm=1.0,
        cell_error_mm=0.0,
    )
