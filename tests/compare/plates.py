"""Photos of one invented plate from two places: its layout is known, so the warp can be judged."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from PIL import Image

from corrosion.opencv import cv2
from tests.compare.scenes import depth, document

SIZE = (1000, 700)
PLATE = (200.0, 140.0, 300.0, 200.0)
"""Stations and offsets that the plate spans, mm."""
RASTER = 10.0
Pit = tuple[str, float, float, float, float | None]
"""Name, station, offset, radius (mm), depth (mm)."""

THEN: list[Pit] = [
    ("P1", 230.0, 175.0, 2.0, 0.10),
    ("P2", 252.0, 160.0, 1.5, 0.20),
    ("P3", 272.0, 180.0, 2.0, 0.12),
    ("P4", 284.0, 155.0, 1.6, 0.10),
]
NOW: list[Pit] = [
    ("Q1", 230.0, 175.0, 3.4, 0.24),
    ("Q2", 252.0, 160.0, 1.5, 0.205),
    ("Q4", 284.0, 155.0, 1.7, None),
    ("N1", 215.0, 150.0, 1.2, 0.05),
]
CORNERS_THEN = [[60.0, 80.0], [940.0, 40.0], [960.0, 640.0], [40.0, 620.0]]
CORNERS_NOW = [[20.0, 30.0], [900.0, 90.0], [930.0, 600.0], [70.0, 680.0]]


def to_picture(corners: list[list[float]]) -> Any:
    """Give the homography (3, 3) from layout mm to pixels that puts the plate's corners there.

    The outer face is seen with stations to the right and offsets up.
    """
    s0, o0, s1, o1 = PLATE
    plate = np.array([[s0, o1], [s1, o1], [s1, o0], [s0, o0]], dtype=np.float64)
    return cv2.findHomography(plate, np.array(corners, dtype=np.float64), 0)[0]


def seen(corners: list[list[float]], points: Any) -> list[list[float]]:
    """Map layout points to the picture."""
    found = cv2.perspectiveTransform(np.asarray(points, dtype=np.float64)[None], to_picture(corners))[0]
    return [[float(x), float(y)] for x, y in found]


def take(corners: list[list[float]], pits: list[Pit], *, light: int = 200) -> bytes:
    """Take the photo: a plate with dark pits, as PNG."""
    s0, o0, s1, o1 = PLATE
    width, height = round((s1 - s0) * RASTER), round((o1 - o0) * RASTER)
    grain = np.random.default_rng(3).normal(0.0, 9.0, (height, width))
    plate = np.clip(light + cv2.GaussianBlur(grain, (0, 0), 2.0) * 3.0, 0, 255).astype(np.uint8)
    for _, s, o, r, _ in pits:
        centre = (round((s - s0) * RASTER), round((o1 - o) * RASTER))
        cv2.circle(plate, centre, round(r * RASTER), 60, -1, cv2.LINE_AA)
    raster_to_layout = np.array([[1 / RASTER, 0, s0], [0, -1 / RASTER, o1], [0, 0, 1.0]])
    photo = cv2.warpPerspective(plate, to_picture(corners) @ raster_to_layout, SIZE, borderValue=90)
    stream = io.BytesIO()
    Image.fromarray(np.dstack([photo] * 3)).save(stream, "PNG")
    return stream.getvalue()


def survey(date: str, corners: list[list[float]], pits: list[Pit], **parts: Any) -> dict[str, Any]:
    """Make the survey file of one photo ``f1.png`` with every pit outlined by 24 corners."""
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    marks = []
    for name, s, o, r, deep in pits:
        ring = seen(corners, np.column_stack([s + r * np.cos(turn), o + r * np.sin(turn)]))
        marks.append(
            {
                "id": name,
                "kind": "pit",
                "shape": {"type": "Polygon", "coordinates": [ring]},
                "depths": [] if deep is None else [depth(deep)],
            }
        )
    s0, o0, s1, o1 = PLATE
    plate = [[s0 + 5, o1 - 5], [s1 - 5, o1 - 5], [s1 - 5, o0 + 5], [s0 + 5, o0 + 5]]
    image = seen(corners, plate)
    photo = {
        "id": "f1",
        "file": "f1.png",
        "size": list(SIZE),
        "member": "SK1",
        "face": "outer",
        "scale": {"kind": "points", "image": image, "plane": [[s, -o] for s, o in plate], "u_plane": 0.05},
        "placement": {"image": image, "layout": plate, "u_layout": 0.2},
        "marks": marks,
    }
    return document(date, [photo], **parts)
