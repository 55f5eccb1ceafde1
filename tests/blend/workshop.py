"""Members with pits to plan for; invented."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from corrosion.blend import MemberPlan, plan_member
from corrosion.layout import MemberLayout
from corrosion.model import SurveyFile, in_millimetres, parse_survey
from corrosion.quantity import Measured
from corrosion.results import Finding
from corrosion.terms import Face, Flag, MarkKind
from tests.bench import Bench

SOURCE = "invented manual, 3-4"


class Workshop(Bench):
    """A bench whose member also has pits and a planning section."""

    def __init__(self) -> None:
        super().__init__()
        self.planning: dict[str, Any] = {
            "allowance": {"depth": 0.02, "source": SOURCE},
            "run_out": {"ratio": {"total": 20}, "source": SOURCE},
        }
        self.findings: list[Finding] = []
        self.marks: list[dict[str, Any]] = []

    def pit(
        self,
        at: tuple[float, float] = (450.0, 200.0),
        depth: float | None = 0.03,
        *,
        radius: float = 2.0,
        u: float = 0.0,
        face: Face = Face.OUTER,
        **changes: Any,
    ) -> Workshop:
        """Add a round pit; `changes` go to the finding."""
        outline: BaseGeometry = Point(at).buffer(radius) if radius else Point(at)
        gauge = {}
        if instrument := changes.pop("instrument", ""):
            gauge = {f"instrument {instrument}": np.array([changes.pop("u_systematic")])}
        flags: frozenset[Flag] = changes.pop("flags", frozenset())
        read = None if depth is None else Measured(depth, "mm", gauge, {"reading": u}, flags)
        fields: dict[str, Any] = {
            "id": f"P{len(self.findings) + 1}",
            "kind": MarkKind.PIT,
            "member_id": "SK1",
            "face": face,
            "zone": "334",
            "outline": outline,
            "position": at,
            "u_position": (0.0, 0.0),
            "depth": read,
            "grade": None,
            "quantities": {},
            "sources": [],
        }
        self.findings.append(Finding(**(fields | changes)))
        return self

    def blend_out(
        self,
        depth: float | None,
        *,
        at: tuple[float, float] = (450.0, 200.0),
        radius: float = 9.0,
        mark: dict[str, Any] | None = None,
        **changes: Any,
    ) -> Workshop:
        """Add a round blend-out of this survey, dished from the original; `mark` goes to its mark."""
        self.pit(
            at, depth, radius=radius, kind=MarkKind.BLEND_OUT, sources=[self._mark(mark or {})], **changes
        )
        return self

    def named_pit(self, mark: dict[str, Any], **changes: Any) -> Workshop:
        """Add a pit with a mark of its own in the survey."""
        return self.pit(sources=[self._mark({"kind": "pit", "measured_from": None} | mark)], **changes)

    def _mark(self, changes: dict[str, Any]) -> tuple[str, str]:
        name = f"m{len(self.marks)}"
        shape = {"type": "Polygon", "coordinates": [[[0, 0], [9, 0], [9, 9]]]}
        usual = {"id": name, "kind": "blend-out", "profile": "dished", "measured_from": "original"}
        self.marks.append(usual | {"shape": shape} | changes)
        return "f", name

    def survey(self) -> SurveyFile:
        """Build the survey in millimetres."""
        document = super().survey().model_dump(mode="json", exclude_none=True)
        photos = [{"id": "f", "file": "f.jpg", "marks": self.marks}] if self.marks else []
        return in_millimetres(parse_survey(document | {"planning": self.planning, "photos": photos}))

    @property
    def layout(self) -> MemberLayout:
        """The member's layout."""
        survey = self.survey()
        return MemberLayout.of(survey.structure.members[0], survey.structure)

    def plan(self) -> MemberPlan:
        """Plan the member's blends."""
        return plan_member(self.layout, self.survey(), self.findings)
