"""Pictures of references on painted metal, made by warping a drawing with OpenCV: quick, own, with truth.

The drawing is 16 px/mm, seen by the pinhole camera of `pinhole` (twice as fine as the picture, then
averaged), lit unevenly, blurred, bent by the tone curve of sRGB and given noise, all from a fixed seed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corrosion.opencv import cv2
from corrosion.photo import Picture, load_picture
from corrosion.target import Sheet
from corrosion.target.markers import cells
from tests.metrology.pinhole import Pinhole

FloatArray = NDArray[np.float64]
PER_MM = 16.0
_FINER = 2


@dataclass
class Drawing:
    """Reflectance over a rectangle of the plane about (0, 0), x right, y down."""

    size_mm: tuple[float, float]
    ink: NDArray[np.float32]

    @classmethod
    def metal(cls, size_mm: tuple[float, float], rng: np.random.Generator) -> Drawing:
        """Grained metal, about 0.35 bright."""
        w, h = (round(s * PER_MM) for s in size_mm)
        grain = cv2.GaussianBlur(rng.normal(0, 1, (h, w)).astype(np.float32), (0, 0), sigmaX=12, sigmaY=1.2)
        return cls(size_mm, 0.35 + 0.03 * grain / grain.std())

    def _cell(self, x: float, y: float) -> tuple[int, int]:
        return round((x + self.size_mm[0] / 2) * PER_MM), round((y + self.size_mm[1] / 2) * PER_MM)

    def box(self, x: float, y: float, w: float, h: float, shade: float) -> None:
        """Fill a rectangle from its upper left corner, mm, antialiased by rounding to 1/16 mm."""
        left, top = self._cell(x, y)
        self.ink[top : top + round(h * PER_MM), left : left + round(w * PER_MM)] = shade

    def disc(self, x: float, y: float, diameter: float, shade: float) -> None:
        """Fill a circle, antialiased."""
        centre = ((x + self.size_mm[0] / 2) * PER_MM - 0.5, (y + self.size_mm[1] / 2) * PER_MM - 0.5)
        rows, columns = np.mgrid[: self.ink.shape[0], : self.ink.shape[1]].astype(np.float32)
        away = np.hypot(columns - centre[0], rows - centre[1]) - diameter / 2 * PER_MM
        inside = np.clip(0.5 - away, 0, 1)
        self.ink[:] = self.ink * (1 - inside) + shade * inside

    def sheet(self, sheet: Sheet, x: float = 0.0, y: float = 0.0, paper: float = 0.8) -> None:
        """Draw a printed target with its middle at (x, y)."""
        w, h = sheet.size
        under = self.ink.copy()
        self.box(x - w / 2, y - h / 2, w, h, paper)
        if sheet.window:
            a, b = sheet.window
            left, top = (
                round((c + s / 2) * PER_MM)
                for c, s in zip((x - a / 2, y - b / 2), self.size_mm, strict=True)
            )
            part = np.s_[top : top + round(b * PER_MM), left : left + round(a * PER_MM)]
            self.ink[part] = under[part]
        for block in sheet.blocks:
            for left, top, side in block.squares():
                self.box(x + left, y + top, side, side, 0.04)
        for one in sheet.markers:
            self.marker(sheet.dictionary, one.number, one.side, x + one.x, y + one.y, margin=0.0)

    def marker(
        self, dictionary: str, number: int, side: float, x: float = 0.0, y: float = 0.0, margin: float = 3.0
    ) -> None:
        """Draw a square marker with its white margin."""
        if margin:
            full = side + 2 * margin
            self.box(x - full / 2, y - full / 2, full, full, 0.8)
        black = cells(dictionary, number)
        n = round(side * PER_MM)
        grid = cv2.resize((~black).astype(np.float32), (n, n), interpolation=cv2.INTER_NEAREST)
        left, top = (
            round((c - side / 2 + s / 2) * PER_MM) for c, s in zip((x, y), self.size_mm, strict=True)
        )
        self.ink[top : top + n, left : left + n] = 0.04 + 0.76 * grid

    def rule(self, tick: float, count: int, y: float, width: float = 12.0) -> None:
        """Draw a steel rule whose ticks stand on its lower edge at height `y`, the middle one at x = 0."""
        start = -tick * (count // 2)
        length = tick * (count - 1)
        self.box(start - 4, y - width, length + 8, width, 0.62)
        for k in range(count):
            tall = 5.0 if k % 10 == 0 else 4.0 if k % 5 == 0 else 2.8
            wide = max(2 / PER_MM, 0.16 * tick)
            self.box(start + k * tick - wide / 2, y - tall, wide, tall, 0.06)


def photograph(
    drawing: Drawing,
    camera: Pinhole,
    rng: np.random.Generator,
    *,
    noise: float = 2.0,
    blur: float = 0.7,
    light: float = 1.0,
) -> NDArray[np.uint8]:
    """Take the picture, (H, W, 3) uint8 RGB."""
    width, height = camera.size
    w, h = drawing.size_mm
    corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
    on_drawing = (corners + np.array([w / 2, h / 2])) * PER_MM - 0.5
    seen = (camera.see(corners) + 0.5) * _FINER - 0.5
    matrix = cv2.getPerspectiveTransform(on_drawing.astype(np.float32), seen.astype(np.float32))
    fine = cv2.warpPerspective(
        drawing.ink, matrix, (width * _FINER, height * _FINER), flags=cv2.INTER_AREA, borderValue=0.3
    )
    linear = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA)
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    angle = rng.uniform(0, 2 * math.pi)
    linear = linear * light * (1 + 0.25 * (x * math.cos(angle) + y * math.sin(angle)))
    linear = cv2.GaussianBlur(linear, (0, 0), blur)
    tone = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    )
    grey = 255 * tone[..., None] * np.array([1.0, 0.99, 0.96]) + rng.normal(0, noise, (height, width, 3))
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def picture_of(pixels: NDArray[np.uint8]) -> Picture:
    """Wrap pixels as the loader would."""
    _, encoded = cv2.imencode(".png", pixels[..., ::-1])
    return load_picture(encoded.tobytes(), name="f1.png")
