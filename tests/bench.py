"""Small members and removals to sum; invented."""

from __future__ import annotations

from typing import Any

from corrosion.layout import MemberLayout
from corrosion.model import SurveyFile, parse_survey
from corrosion.removal import MemberResult, assess_member


class Bench:
    """Builds a one-member survey out of removals and readings, and assesses it."""

    def __init__(self) -> None:
        self.member: dict[str, Any] = {
            "id": "SK1",
            "kind": "skin",
            "zone": "334",
            "material": "2024-T3 clad",
            "thickness": 1.0,
            "outline": [[0, 0], [900, 0], [900, 400], [0, 400]],
            "limit": {"fraction": 0.1, "source": "invented manual, 1-2"},
        }
        self.removals: list[dict[str, Any]] = []
        self.readings: list[dict[str, Any]] = []
        self.instruments: list[dict[str, Any]] = []
        self.settings: dict[str, Any] = {}
        self.units = "mm"

    def remove(self, depth: float, **changes: Any) -> Bench:
        """Add a removal: a flat disc of 20 mm radius at (450, 200) on the outer face unless told."""
        self.removals.append(
            {
                "id": f"R{len(self.removals) + 1}",
                "member": "SK1",
                "face": "outer",
                "footprint": {"type": "Circle", "center": [450, 200], "radius": 20},
                "depth": {"value": depth, "u": changes.pop("u", 0.0)},
                "measured_from": "original",
            }
            | changes
        )
        return self

    def read(self, at: tuple[float, float], value: float, u: float, **changes: Any) -> Bench:
        """Add a remaining-thickness reading."""
        number = len(self.readings) + 1
        self.readings.append(
            {"id": f"T{number}", "member": "SK1", "at": at, "value": value, "u": u} | changes
        )
        return self

    def survey(self) -> SurveyFile:
        """Build the survey file."""
        return parse_survey(
            {
                "format": "corrosion-survey",
                "version": 1,
                "units": self.units,
                "structure": {"name": "bench", "members": [self.member]},
                "settings": self.settings,
                "instruments": self.instruments,
                "removals": self.removals,
                "thickness_readings": self.readings,
            }
        )

    def assess(self) -> MemberResult:
        """Assess the member on its own."""
        survey = self.survey()
        layout = MemberLayout.of(survey.structure.members[0], survey.structure)
        return assess_member(layout, survey, [], {})
