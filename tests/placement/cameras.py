"""A pinhole camera over a flat member, in closed form, and photos taken with it; all invented."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from corrosion.layout import MemberLayout
from corrosion.model import SurveyFile, parse_survey
from corrosion.placement import place_photo
from corrosion.quantity import FloatArray
from corrosion.results import PlacedPhoto
from corrosion.scale import fit_scale

SIZE = (1600, 1200)
FOCAL_PX = 1500.0


@dataclass(frozen=True)
class PinholeCamera:
    """Camera at `distance` over the layout point `at`, tilted and rolled.

    `hand` is -1 where the layout's offsets grow up in the picture, +1 where they grow down.
    """

    at: tuple[float, float] = (450.0, 200.0)
    distance: float = 300.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    hand: int = -1

    def sees(self, layout: Any) -> FloatArray:
        """Project layout points (n, 2), mm, to pixels (n, 2): x = f X / Z about the picture's centre."""
        across = np.asarray(layout, dtype=np.float64) - self.at
        x, y = across[:, 0], self.hand * across[:, 1]
        roll, tilt = math.radians(self.roll_deg), math.radians(self.tilt_deg)
        turned = np.array(
            [x * math.cos(roll) - y * math.sin(roll), x * math.sin(roll) + y * math.cos(roll)]
        )
        depth = self.distance + turned[1] * math.sin(tilt)
        seen = np.array([turned[0], turned[1] * math.cos(tilt)]) * FOCAL_PX / depth
        centre = np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2])
        return np.asarray(seen.T + centre)


MEMBER: dict[str, Any] = {
    "id": "SK1",
    "kind": "skin",
    "zone": "334",
    "material": "2024-T3 clad",
    "thickness": 1.0,
    "outline": [[0, 0], [900, 0], [900, 400], [0, 400]],
}

REFERENCE = [[400, 170], [480, 170], [480, 220], [400, 220]]
"""Layout points that carry the photo's scale."""


def a_photo(camera: PinholeCamera, layout_points: Any, **changes: Any) -> dict[str, Any]:
    """Describe a photo with an exact four-point scale, point pairs and one round pit."""
    reference = np.array(REFERENCE, dtype=float)
    pit = np.array(changes.pop("pit", [455.0, 195.0]))
    ring = pit + 4.0 * np.column_stack([np.cos(np.linspace(0, 6, 24)), np.sin(np.linspace(0, 6, 24))])
    placement = {
        "image": camera.sees(layout_points).tolist(),
        "layout": [list(map(float, p)) for p in layout_points],
        "u_layout": 0.5,
    }
    photo = {
        "id": "f1",
        "file": "photos/f1.jpg",
        "member": "SK1",
        "face": "outer",
        "size": SIZE,
        "scale": {
            "kind": "points",
            "image": camera.sees(reference).tolist(),
            # The plane's own frame is turned and shifted against the layout.
            "plane": [[220.0 - o, s - 400.0] for s, o in reference.tolist()],
            "u_plane": 0.0,
        },
        "placement": placement | changes.pop("placement", {}),
        "marks": [
            {
                "id": "P1",
                "kind": "pit",
                "shape": {"type": "Polygon", "coordinates": [camera.sees(ring).tolist()]},
            }
        ],
    }
    return {k: v for k, v in (photo | changes).items() if v is not None}


def a_survey(photo: dict[str, Any], *, settings: dict[str, Any] | None = None, **member: Any) -> SurveyFile:
    """Give the survey of one photo."""
    structure = {"name": "bench", "members": [MEMBER | member]}
    return parse_survey(
        {
            "format": "corrosion-survey",
            "version": 1,
            "units": "mm",
            "structure": structure,
            "photos": [photo],
            "settings": settings or {},
        }
    )


def place(photo: dict[str, Any], *, settings: dict[str, Any] | None = None, **member: Any) -> PlacedPhoto:
    """Place a photo with its own scale, or with none."""
    survey = a_survey(photo, settings=settings, **member)
    one = survey.photos[0]
    scale = None if one.scale is None else fit_scale(one, survey, one.size)
    layout = MemberLayout.of(survey.structure.members[0], survey.structure)
    return place_photo(one, scale, layout, survey.settings, one.size)


def centre_of(placed: PlacedPhoto) -> FloatArray:
    """Mean corner of the first mark, for comparison with a mapped ring's mean corner."""
    return np.asarray(placed.marks[0].outline.exterior.coords[:-1]).mean(axis=0)


def ring_centre(pit: tuple[float, float] = (455.0, 195.0)) -> FloatArray:
    """Mean corner of the ring that `a_photo` draws round a pit, mm."""
    turn = np.linspace(0, 6, 24)
    return np.asarray(pit) + 4.0 * np.array([np.cos(turn).mean(), np.sin(turn).mean()])
