"""Small survey folders for the command line; invented. One pixel is 0.1 mm."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any, Literal

from PIL import Image

MM_PER_INCH = 25.4
PIT_AREA_MM2 = 16.0
"""Area of the square pit, 40 x 40 px."""
BLEND_DEPTH_MM = 0.06


def square(x: float, y: float, side: float) -> dict[str, Any]:
    """Give a square shape by its top-left corner, px."""
    return {
        "type": "Polygon",
        "coordinates": [[[x, y], [x + side, y], [x + side, y + side], [x, y + side]]],
    }


def survey_document(units: Literal["mm", "in"], folder: Path) -> dict[str, Any]:
    """Make a survey with a pit and a blend-out on one placed photo; the same metal in either unit."""
    k = 1.0 if units == "mm" else 1.0 / MM_PER_INCH
    gauge = {"method": "gauge", "instrument": "DG-2"}
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": units,
        "structure": {
            "name": "Invented stabilizer",
            "members": [
                {
                    "id": "SK1",
                    "kind": "skin",
                    "zone": "334",
                    "material": "2024-T3 clad",
                    "thickness": 1.0 * k,
                    "outline": [[0, 0], [200 * k, 0], [200 * k, 100 * k], [0, 100 * k]],
                    "limit": {"fraction": 0.1, "source": "invented manual, 1-2"},
                    "stations": [{"label": "RIB 3", "at": 50 * k}],
                }
            ],
        },
        "instruments": [{"id": "DG-2", "u_systematic": 0.001 * k}],
        "photos": [
            {
                "id": "f1",
                "file": "photos/f1.png",
                "sha256": hashlib.sha256((folder / "photos" / "f1.png").read_bytes()).hexdigest(),
                "member": "SK1",
                "face": "outer",
                "scale": {
                    "kind": "bar",
                    "image": [[10, 200], [310, 200]],
                    "length": 30 * k,
                    "u_length": 0.05 * k,
                    "max_tilt_deg": 5,
                },
                "placement": {
                    "image": [[0, 239], [319, 239]],
                    "layout": [[20 * k, 20 * k], [51.9 * k, 20 * k]],
                    "u_layout": 0.5 * k,
                },
                "marks": [
                    {
                        "id": "P1",
                        "kind": "pit",
                        "shape": square(40, 40, 40),
                        "depths": [{"value": 0.2 * k, "u": 0.01 * k, **gauge}],
                    },
                    {
                        "id": "B1",
                        "kind": "blend-out",
                        "shape": square(150, 40, 100),
                        "measured_from": "original",
                        "depths": [{"value": BLEND_DEPTH_MM * k, "u": 0.003 * k, **gauge}],
                    },
                ],
            }
        ],
    }


def survey_folder(folder: Path, units: Literal["mm", "in"] = "mm", **changes: Any) -> Path:
    """Write picture and survey file; `changes` replace fields of the photo. Return the survey's path."""
    (folder / "photos").mkdir()
    Image.new("RGB", (320, 240), "#9a9a90").save(folder / "photos" / "f1.png")
    document = survey_document(units, folder)
    document["photos"][0] |= changes
    path = folder / "survey.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return path
