"""Small pictures and a full survey file of an invented structure, for the service's tests."""

from __future__ import annotations

import io
from typing import Any

import httpx
import numpy as np
from PIL import Image

STRUCTURE: dict[str, Any] = {
    "name": "Stabilizer, left",
    "zone": "330",
    "plugs": [{"station": "340B", "at": 350.0}],
    "members": [
        {
            "id": "SK1",
            "kind": "skin",
            "zone": "334",
            "material": "2024-T3 clad",
            "thickness": 1.02,
            "outline": [[0, 0], [900, 0], [900, 400], [0, 400]],
            "limit": {"fraction": 0.1, "source": "Invented scheme RS-12, paragraph 4, revision B"},
            "limit_zones": [
                {
                    "id": "row",
                    "outline": [[0, 0], [900, 0], [900, 20], [0, 20]],
                    "limit": {"depth": 0.05, "source": "Invented scheme RS-12, paragraph 5"},
                }
            ],
            "fasteners": [{"at": [10, 10], "diameter": 3.2}],
            "stations": [{"label": "Rib 3", "at": 300}],
        },
        {
            "id": "RB1",
            "kind": "rib",
            "zone": "334",
            "material": "7075-T6",
            "thickness": 0.81,
            "outline": [[0, 0], [400, 0], [400, 120], [0, 120]],
        },
    ],
}
SCALE: dict[str, Any] = {
    "kind": "bar",
    "image": [[100, 100], [300, 100]],
    "length": 50.0,
    "u_length": 0.1,
    "max_tilt_deg": 15,
}
PLACEMENT: dict[str, Any] = {"image": [[100, 100], [300, 100]], "layout": [[400, 120], [450, 120]]}
MARKS: list[dict[str, Any]] = [
    {
        "id": "P1",
        "kind": "pit",
        "shape": {"type": "Polygon", "coordinates": [[[150, 110], [170, 110], [170, 130], [150, 130]]]},
        "depths": [{"value": 0.31, "u": 0.01, "method": "gauge", "instrument": "DG-2"}],
    },
    {
        "id": "B1",
        "kind": "blend-out",
        "shape": {"type": "Ellipse", "center": [200, 150], "semi_axes": [30, 20], "angle_deg": 12.5},
        "depths": [{"value": 0.06, "u": 0.004, "method": "gauge", "instrument": "DG-2"}],
        "profile": "dished",
        "measured_from": "original",
        "date": "2031-04-17",
    },
]
REMOVAL: dict[str, Any] = {
    "id": "R1",
    "member": "SK1",
    "face": "outer",
    "footprint": {"type": "Circle", "center": [412, 130], "radius": 12.0},
    "depth": {"value": 0.05, "u": 0.01, "instrument": "DG-2"},
    "profile": "dished",
    "measured_from": "original",
    "date": "2030-02-01",
}
READING: dict[str, Any] = {
    "id": "T1",
    "member": "SK1",
    "at": [412, 130],
    "value": 0.97,
    "u": 0.01,
    "instrument": "UT-1",
}
LENS: dict[str, Any] = {
    "id": "probe-1",
    "size": [400, 300],
    "matrix": [300.0, 300.0, 199.5, 149.5],
    "distortion": [-0.1, 0.01, 0.0, 0.0, 0.0],
}


def picture(
    seed: int = 0, *, size: tuple[int, int] = (400, 300), kind: str = "JPEG", **options: Any
) -> bytes:
    """Make a small textured picture; another seed gives other bytes."""
    noise = np.random.default_rng(seed).integers(40, 215, (size[1], size[0], 3), dtype=np.uint8)
    stream = io.BytesIO()
    Image.fromarray(noise).save(stream, kind, **options)
    return stream.getvalue()


def survey_file(photos: list[dict[str, Any]] | None = None, *, units: str = "mm") -> dict[str, Any]:
    """Make a survey file that uses every part of the format once."""
    one = {
        "id": "f1",
        "file": "photos/f1.jpg",
        "view": "flashlight",
        "zone": "334",
        "member": "SK1",
        "face": "inner",
        "station": "340B+10.25",
        "lens": "probe-1",
        "distance": {"value": 180.5, "u": 5},
        "scale": SCALE,
        "placement": PLACEMENT,
        "marks": MARKS,
        "note": "Left of the drain hole — Überlappung ½",
    }
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": units,
        "display_units": "in",
        "structure": STRUCTURE,
        "survey": {"name": "First look", "date": "2031-04-17", "inspector": "Inspector A"},
        "settings": {"within_probability": 0.03, "station_bin": 50},
        "instruments": [{"id": "DG-2", "kind": "depth gauge", "u_systematic": 0.005}],
        "lenses": [LENS],
        "photos": [one] if photos is None else photos,
        "removals": [REMOVAL],
        "thickness_readings": [READING],
    }


def new_survey(client: httpx.Client, **head: Any) -> str:
    """Enter a structure, open a survey on it and return the survey's id."""
    structure = client.post("/api/structures", json={"units": "mm", "structure": STRUCTURE}).json()
    made = client.post("/api/surveys", json={"structure_id": structure["id"], **head})
    assert made.status_code == 201, made.text
    return str(made.json()["id"])


def upload(
    client: httpx.Client, survey: str, *files: tuple[str, bytes], **tags: str
) -> list[dict[str, Any]]:
    """Upload files and return their results."""
    form = [("files", (name, data)) for name, data in files]
    answer = client.post(f"/api/surveys/{survey}/photos", files=form, data=tags)
    assert answer.status_code == 200, answer.text
    results: list[dict[str, Any]] = answer.json()["files"]
    return results


def new_photo(client: httpx.Client, survey: str | None = None, seed: int = 0) -> dict[str, Any]:
    """Upload one picture into a survey (a new one by default) and return the photo's record."""
    taken = upload(client, survey or new_survey(client), (f"IMG_{seed:04}.jpg", picture(seed)))
    photo: dict[str, Any] = taken[0]["photo"]
    return photo


def tag(version: int) -> dict[str, str]:
    """Make the If-Match header of a version."""
    return {"If-Match": f'"{version}"'}
