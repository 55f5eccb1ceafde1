"""Scale references as solid objects with a print, and the exact points a person would click.

All of them are inventions of this project: a steel rule, a plain ID-1 sized card, a printed window
sheet with a checker and square markers, and a plain brass disc.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image as Picture
from PIL import ImageDraw, ImageFont

from mesh import Array, Mesh, join, placed, plate, revolve, rounded_rectangle
from noise import Image, clouds, noise, step

# ISO/IEC 7810 ID-1: nominal size, thickness and corner radius in mm (from memory).
CARD = (85.60, 53.98, 0.76, 3.18)
RULE = (160.0, 15.0, 0.50)
RULE_ZERO = 5.0
SHEET = (136.0, 96.0, 0.10)
WINDOW = (96.0, 52.0)
SQUARE = 5.0
DISC = (22.00, 1.90)


@dataclass
class Reference:
    """A reference lying on the metal.

    Attributes
    ----------
    kind : str
        ``rule``, ``card``, ``target`` or ``disc``.
    mesh : Mesh
        In the view frame, mm.
    look : dict
        ``colour`` (H, W, 3), ``metallic`` and ``roughness``: numbers or (H, W) images over the print.
    points : list
        (name, (x, y, z) in the view frame, (u, v) in the reference's own plan), mm.
    size : dict
        True sizes, for the truth file.
    outline : Array
        Footprint on the surface, (N, 2).
    window : Array or None
        Hole in the footprint.
    """

    kind: str
    mesh: Mesh
    look: dict[str, object]
    points: list[tuple[str, tuple[float, float, float], tuple[float, float]]]
    size: dict[str, object]
    outline: Array
    window: Array | None = None


def _local(
    at: tuple[float, float], angle_deg: float, size: tuple[float, float]
) -> Callable[[Array, Array], Array]:
    """Texture coordinates of a rectangle `size` centred at `at`: (0, 0) bottom left, (1, 1) top right."""
    c, w = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))

    def uv(x: Array, y: Array) -> Array:
        dx, dy = x - at[0], y - at[1]
        return np.stack([(c * dx + w * dy) / size[0] + 0.5, (-w * dx + c * dy) / size[1] + 0.5], -1)

    return uv


def _points(
    named: list[tuple[str, tuple[float, float]]], z: float, at: tuple[float, float], angle: float
) -> list[tuple[str, tuple[float, float, float], tuple[float, float]]]:
    where = placed(np.array([p for _, p in named], dtype=float), at, angle)
    return [(n, (float(x), float(y), z), p) for (n, p), (x, y) in zip(named, where, strict=True)]


def _wear(shape: tuple[int, int], per_mm: float, seed: int) -> Image:
    """Smudges and specks over a print, about 1."""
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32) / per_mm
    speck = step(clouds(x, y, 1.6, seed, 3), 0.62, 0.75)
    return (
        1.0
        - 0.05 * clouds(x, y, 25.0, seed + 1)
        - 0.10 * step(clouds(x, y, 14.0, seed + 2), 0.2, 0.8)
        - 0.35 * speck
    )


def _letters(
    ink: Image, text: str, origin: tuple[int, int], scale: float, value: float, thickness: int
) -> None:
    """Print text into `ink`; OpenCV writes into 8 bit images only."""
    mask = np.zeros(ink.shape, np.uint8)
    cv2.putText(mask, text, origin, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, thickness, cv2.LINE_AA)
    ink[:] = ink + (value - ink) * mask.astype(np.float32) / 255


def rule(at: tuple[float, float], angle_deg: float = 0.0) -> Reference:
    """A 150 mm satin steel rule: millimetres along the lower edge, half millimetres along the upper."""
    per = 24.0
    width, height, thick = RULE
    ink = np.ones((round(height * per), round(width * per)), np.float32)

    def line(x: float, y0: float, y1: float, half: float) -> None:
        a, b = round((RULE_ZERO + x - half) * per), round((RULE_ZERO + x + half) * per)
        ink[round((height - y1) * per) : round((height - y0) * per), a:b] = 0.06

    for k in range(151):
        line(k, 0, 5.4 if k % 10 == 0 else 4.2 if k % 5 == 0 else 2.9, 0.085)
    for k in range(301):
        line(k / 2, height - (4.2 if k % 10 == 0 else 3.0 if k % 2 == 0 else 1.9), height, 0.06)
    for k in range(0, 151, 10):
        text, scale = str(k), 2.3
        (w, h), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, scale, 5)
        x0 = round((RULE_ZERO + k) * per - w - 0.5 * per) if k else round((RULE_ZERO + 0.5) * per)
        _letters(ink, text, (x0, round((height - 4.6) * per)), scale, 0.06, 5)
    _letters(ink, "mm", (round(7 * per), round(5.8 * per)), 1.2, 0.1, 3)
    y, x = np.mgrid[: ink.shape[0], : ink.shape[1]].astype(np.float32) / per
    satin = noise(x, y, (0.10, 5.0), 71)
    rust = step(clouds(x, y, 5.0, 73, 5), 0.42, 0.62)
    shade = (0.63 + 0.05 * satin) * _wear(ink.shape, per, 72)
    steel = shade[..., None] * (1 - 0.4 * rust[..., None] * np.array([0.35, 0.55, 0.75], np.float32))
    look = {
        "colour": steel * ink[..., None],
        "metallic": np.clip(ink, 0.1, 1.0) * (1 - 0.5 * rust),
        "roughness": 0.40 + 0.05 * satin + 0.3 * (1 - ink),
    }
    outline = rounded_rectangle(width, height, 0.8)
    marks = [(f"{k} mm at lower edge", (RULE_ZERO + k - width / 2, -height / 2)) for k in range(0, 151, 10)]
    return Reference(
        "rule",
        plate(placed(outline, at, angle_deg), 0.0, thick, _local(at, angle_deg, (width, height))),
        look,
        _points(marks, thick, at, angle_deg),
        {"graduated_mm": 150.0, "body_mm": [width, height], "thickness_mm": thick},
        placed(outline, at, angle_deg),
    )


def card(at: tuple[float, float], angle_deg: float = 0.0) -> Reference:
    """An ID-1 sized plastic card with an invented print."""
    per = 24.0
    width, height, thick, radius = CARD
    picture = Picture.new("RGB", (round(width * per), round(height * per)), (232, 230, 222))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 0, picture.width, round(11 * per)), fill=(28, 62, 84))
    pen.rectangle((0, round(11 * per), picture.width, round(12.2 * per)), fill=(206, 142, 44))
    pen.text(
        (5 * per, 3.0 * per),
        "OSTRAND HOLLOW RESTORATION SHED",
        font=ImageFont.load_default(3.6 * per),
        fill=(236, 234, 226),
    )
    for k, text in enumerate(("Photo card", "lay flat, next to the finding, same surface", "no. 14")):
        pen.text(
            (5 * per, (17 + 8.5 * k) * per),
            text,
            font=ImageFont.load_default((4.6, 3.1, 3.1)[k] * per),
            fill=(40, 44, 48),
        )
    for k in range(6):
        shade = round(20 + 43 * k)
        pen.rectangle(((46 + 5.6 * k) * per, 40 * per, (51.6 + 5.6 * k) * per, 48 * per), fill=(shade,) * 3)
    colour = (np.asarray(picture, np.float32) / 255) ** 2.2
    colour *= _wear(colour.shape[:2], per, 81)[..., None]
    w, h, r = width / 2, height / 2, radius
    corners = [
        ("corner bottom left", (-w, -h)),
        ("corner bottom right", (w, -h)),
        ("corner top right", (w, h)),
        ("corner top left", (-w, h)),
    ]
    edges = [
        (f"edge {name} {k + 1}", p)
        for name, ends in (
            ("bottom", ((-w, -h), (w, -h))),
            ("right", ((w, -h), (w, h))),
            ("top", ((w, h), (-w, h))),
            ("left", ((-w, h), (-w, -h))),
        )
        for k, p in enumerate(_inset(ends, 2.5 * r))
    ]
    outline = rounded_rectangle(width, height, radius)
    return Reference(
        "card",
        plate(placed(outline, at, angle_deg), 0.0, thick, _local(at, angle_deg, (width, height))),
        {"colour": colour, "metallic": 0.0, "roughness": 0.32},
        _points(corners + edges, thick, at, angle_deg),
        {"size_mm": [width, height], "corner_radius_mm": radius, "thickness_mm": thick},
        placed(outline, at, angle_deg),
    )


def _inset(ends: tuple[tuple[float, float], tuple[float, float]], by: float) -> list[tuple[float, float]]:
    a, b = np.asarray(ends[0]), np.asarray(ends[1])
    along = (b - a) / np.linalg.norm(b - a)
    return [tuple(float(v) for v in p) for p in (a + by * along, (a + b) / 2, b - by * along)]


def _checker_blocks() -> list[tuple[float, float, int, int]]:
    """Lower left corner, columns and rows of each block of squares on the sheet."""
    return [(-40.0, 30.0, 16, 2), (-40.0, -40.0, 16, 2), (-63.0, -20.0, 2, 8), (53.0, -20.0, 2, 8)]


def target(at: tuple[float, float], angle_deg: float = 0.0) -> Reference:
    """A window sheet of paper: checker strips on four sides, markers in the corners, a 100 mm check bar."""
    per = 26.0
    width, height, thick = SHEET
    ink = np.ones((round(height * per), round(width * per)), np.float32)

    def box(x0: float, y0: float, x1: float, y1: float, value: float) -> None:
        ink[
            round((height / 2 - y1) * per) : round((height / 2 - y0) * per),
            round((x0 + width / 2) * per) : round((x1 + width / 2) * per),
        ] = value

    for x0, y0, columns, rows in _checker_blocks():
        for k in range(columns):
            for j in range(rows):
                if (k + j) % 2 == 0:
                    box(
                        x0 + k * SQUARE, y0 + j * SQUARE, x0 + (k + 1) * SQUARE, y0 + (j + 1) * SQUARE, 0.04
                    )
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for number, (x, y) in enumerate(_marker_centres()):
        side = round(14 * per)
        image = cv2.aruco.generateImageMarker(book, number, side).astype(np.float32) / 255
        top, left = round((height / 2 - y - 7) * per), round((x + width / 2 - 7) * per)
        ink[top : top + side, left : left + side] = np.maximum(image, 0.04)
    box(-50, -44.9, 50, -44.5, 0.04)
    for x in (-50.0, 50.0):
        box(x - 0.15, -46.2, x + 0.15, -43.2, 0.04)
    for text, x, y in (
        ("check bar: 100 mm between the end strokes", -35, -43.9),
        ("print at 100 %, measure the check bar", -33, 42.5),
    ):
        _letters(ink, text, (round((x + width / 2) * per), round((height / 2 - y) * per)), 1.5, 0.1, 3)
    paper = ink * _wear(ink.shape, per, 91) * 0.82
    w, h = width / 2, height / 2
    a, b = WINDOW[0] / 2, WINDOW[1] / 2
    strips = [
        ((0, (h + b) / 2), (width, h - b)),
        ((0, -(h + b) / 2), (width, h - b)),
        (((w + a) / 2, 0), (w - a, 2 * b)),
        ((-(w + a) / 2, 0), (w - a, 2 * b)),
    ]
    uv = _local(at, angle_deg, (width, height))
    parts = []
    for (cx, cy), (sx, sy) in strips:
        corner = np.array([[-sx / 2, -sy / 2], [sx / 2, -sy / 2], [sx / 2, sy / 2], [-sx / 2, sy / 2]]) + (
            cx,
            cy,
        )
        parts.append(plate(placed(corner, at, angle_deg), 0.0, thick, uv))
    named = [(f"check bar end {n}", (x, -44.7)) for n, x in (("left", -50.0), ("right", 50.0))]
    for n, (x0, y0, columns, rows) in zip(
        ("top", "bottom", "left", "right"), _checker_blocks(), strict=True
    ):
        named += [
            (f"checker {n} {k},{j}", (x0 + k * SQUARE, y0 + j * SQUARE))
            for k in range(1, columns)
            for j in range(1, rows)
        ]
    whole = placed(np.array([[-w, -h], [w, -h], [w, h], [-w, h]]), at, angle_deg)
    return Reference(
        "target",
        join(parts),
        {
            "colour": np.repeat(paper[..., None], 3, 2) * np.array([1.0, 0.99, 0.95], np.float32),
            "metallic": 0.0,
            "roughness": 0.75,
        },
        _points(named, thick, at, angle_deg),
        {
            "sheet_mm": [width, height],
            "window_mm": list(WINDOW),
            "square_mm": SQUARE,
            "check_bar_mm": 100.0,
            "markers": "DICT_4X4_50, 0-3, side 14 mm",
            "thickness_mm": thick,
        },
        whole,
        placed(rounded_rectangle(*WINDOW, 1e-6), at, angle_deg),
    )


def _marker_centres() -> list[tuple[float, float]]:
    return [(-58.0, 35.0), (58.0, 35.0), (58.0, -35.0), (-58.0, -35.0)]


def disc(at: tuple[float, float]) -> Reference:
    """A plain brass disc; its widest circle, the upper edge of the side, stands 1.75 mm up."""
    per = 40.0
    diameter, thick = DISC
    bevel = 0.15
    r = diameter / 2
    section = np.array(
        [
            [0, thick - 0.25],
            [r - 1.5, thick - 0.25],
            [r - 1.3, thick],
            [r - bevel, thick],
            [r, thick - bevel],
            [r, 0.0],
        ]
    )
    dense = np.concatenate(
        [np.linspace(p, q, 8, endpoint=False) for p, q in zip(section, section[1:], strict=False)]
        + [section[-1:]]
    )
    y, x = np.mgrid[: round(diameter * per), : round(diameter * per)].astype(np.float32) / per
    tarnish = clouds(x, y, 7.0, 61, 5)
    shade = 0.80 + 0.10 * tarnish + 0.03 * noise(x, y, (4.0, 0.07), 62, 35.0)
    look = {
        "colour": np.array([0.72, 0.53, 0.25], np.float32) * shade[..., None],
        "metallic": 1.0,
        "roughness": np.clip(0.34 - 0.08 * tarnish, 0.15, 0.6),
    }
    angle = np.arange(32) * 2 * math.pi / 32
    named = [(f"rim {k * 11.25:g} deg", (r * math.cos(a), r * math.sin(a))) for k, a in enumerate(angle)]
    body = revolve(dense, at, 0.0, _local(at, 0.0, (diameter, diameter)), 160)
    return Reference(
        "disc",
        body,
        look,
        _points(named, thick - bevel, at, 0.0),
        {"diameter_mm": diameter, "thickness_mm": thick, "widest_circle_height_mm": thick - bevel},
        placed(r * np.c_[np.cos(angle), np.sin(angle)], at, 0.0),
    )
