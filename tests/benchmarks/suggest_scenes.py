"""Pictures for judging suggestions, drawn by other means than those the parameters were set with.

Nothing here is shared with ``tests/suggest/scenes.py``: no height map is lit; tones are laid over one
another, rims are level lines of noise (they need not be star-shaped), and truth is the level line itself.
Everything follows from the seed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from corrosion.opencv import cv2

Plane = NDArray[np.float64]
Outline = NDArray[np.float64]
SURFACES = ("brushed", "painted", "light paint", "mottled", "plain")
FONTS = (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX)
MM_PER_PX = 0.1
"""Scale the drawn pictures are said to have."""


@dataclass
class Picture:
    """A picture being drawn, linear light from 0 to 1, and its truth."""

    width: int
    height: int
    seed: int
    surface: str = ""
    pits: list[Outline] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng([self.seed, 20_000])
        self.surface = self.surface or SURFACES[int(self.rng.integers(len(SURFACES)))]
        self.lamp = self.rng.uniform(0, 2 * math.pi)
        self.tones = self._ground()
        self.taken: list[tuple[float, float, float]] = []

    def uniform(self, low: float, high: float) -> float:
        """Draw a number."""
        return float(self.rng.uniform(low, high))

    def grain(self, shape: tuple[int, int], size: float, along: float = 1.0, turn: float = 0.0) -> Plane:
        """Noise of unit spread: white noise shaped by an oriented Gaussian in the frequency plane."""
        v = np.fft.fftfreq(shape[0])[:, None]
        u = np.fft.rfftfreq(shape[1])[None, :]
        a, b = u * math.cos(turn) + v * math.sin(turn), v * math.cos(turn) - u * math.sin(turn)
        keep = np.exp(-2 * (math.pi * size) ** 2 * ((a * along) ** 2 + b**2))
        plane = np.fft.irfft2(np.fft.rfft2(self.rng.standard_normal(shape)) * keep, s=shape)
        return np.asarray(plane / plane.std(), np.float64)

    def _ground(self) -> Plane:
        size = (self.height, self.width)
        if self.surface == "brushed":
            turn = self.uniform(0, math.pi)
            marks = 0.7 * self.grain(size, 0.6, 30, turn) + 0.5 * self.grain(size, 1.5, 40, turn)
            plane = self.uniform(0.3, 0.55) * (1 + self.uniform(0.05, 0.2) * marks)
            return np.asarray(plane[..., None] * np.array([1.0, 1.0, self.uniform(0.97, 1.04)]))
        if self.surface in {"painted", "light paint"}:
            dull = self.surface == "painted"
            hue = self.rng.uniform(0.1, 0.35, 3) if dull else self.uniform(0.5, 0.75) * np.ones(3)
            peel = 0.05 * self.grain(size, 1.5) + 0.03 * self.grain(size, 25)
            return np.asarray((1 + peel)[..., None] * hue)
        if self.surface == "mottled":
            cloud = 0.09 * self.grain(size, 8) + 0.07 * self.grain(size, 3) + 0.05 * self.grain(size, 0.8)
            return np.asarray(
                (self.uniform(0.3, 0.5) * (1 + cloud))[..., None] * np.array([1.0, 0.99, 0.96])
            )
        return np.full((*size, 3), self.uniform(0.4, 0.65))

    def _patch(self, at: tuple[float, float], reach: float) -> tuple[slice, slice, Plane, Plane]:
        x0, y0 = (max(0, math.floor(c - reach)) for c in at)
        x1, y1 = (
            min(self.width, math.ceil(at[0] + reach) + 1),
            min(self.height, math.ceil(at[1] + reach) + 1),
        )
        y, x = np.mgrid[y0:y1, x0:x1].astype(np.float64)
        return slice(y0, y1), slice(x0, x1), x - at[0], y - at[1]

    def _ragged(self, x: Plane, y: Plane, radius: float, ragged: float, stretch: float) -> Plane:
        """Signed distance-like plane, px, positive inside an oval with a wavering rim."""
        lean = self.uniform(0, math.pi)
        a = (x * math.cos(lean) + y * math.sin(lean)) / math.sqrt(stretch)
        b = (y * math.cos(lean) - x * math.sin(lean)) * math.sqrt(stretch)
        waver = self.grain((x.shape[0], x.shape[1]), max(1.0, radius / 2.5))
        return radius - np.hypot(a, b) * (1 + ragged * waver)

    def pit(self, at: tuple[float, float], radius: float) -> None:
        """Lay down a pit: dark or dull, uneven, with shaded walls and product more often than not."""
        ys, xs, x, y = self._patch(at, 2.2 * radius + 4)
        level = self._ragged(x, y, radius, self.uniform(0.02, 0.14), self.uniform(1.0, 1.7))
        every = find_contours(level, 0.0)  # type: ignore[no-untyped-call]
        lines = [c for c in every if len(c) > 8]
        if not lines:
            return
        outline = max(lines, key=lambda c: float(np.ptp(c[:, 0]) * np.ptp(c[:, 1])))
        self.pits.append(outline[:-1, ::-1] + [xs.start, ys.start])
        mask = np.zeros(x.shape, np.uint8)
        cv2.fillPoly(mask, [np.rint(outline[:, ::-1] * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        cover = (mask / 255.0)[..., None]
        here = self.tones[ys, xs]
        rough = self.grain((x.shape[0], x.shape[1]), max(0.8, radius / self.uniform(5, 12)))
        dark = self.uniform(0.3, 0.7)
        floor = here.mean(axis=(0, 1)) * dark * (1 + self.uniform(0.05, 0.3) * rough[..., None])
        if self.rng.random() < 0.3:
            floor = floor * np.array([1.15, 0.95, 0.75])
        soft = cv2.GaussianBlur(cover[..., 0], (0, 0), max(0.8, 0.12 * radius))
        gy, gx = np.gradient(soft)
        wall = (gx * math.cos(self.lamp) + gy * math.sin(self.lamp)) * max(0.8, 0.12 * radius)
        floor = floor * (1 + self.uniform(0.0, 1.8) * wall[..., None])
        if self.rng.random() < 0.5:
            much = self.uniform(0.3, 1.6)
            salt = np.clip(3 * (self.grain(rough.shape, max(0.8, radius / 8)) - 2 + much), 0, 1)[..., None]
            floor = floor * (1 - salt) + self.uniform(0.5, 0.8) * salt
        self.tones[ys, xs] = here * (1 - cover) + np.clip(floor, 0.01, 1) * cover

    def chip(self, at: tuple[float, float], radius: float) -> None:
        """Take paint off: flat, brighter or of another hue, with a hard ragged rim."""
        ys, xs, x, y = self._patch(at, 2.5 * radius + 4)
        level = self._ragged(x, y, radius, self.uniform(0.1, 0.3), self.uniform(1.0, 2.0))
        cover = np.clip(level + 0.5, 0, 1)[..., None]
        metal = self.uniform(0.35, 0.7) * (1 + 0.06 * self.grain(level.shape, 0.6, 12, 0.4))[..., None]
        self.tones[ys, xs] = self.tones[ys, xs] * (1 - cover) + metal * cover

    def rivet(self, at: tuple[float, float], radius: float, look: str) -> None:
        """Set a dome (bright and dark side, glint), a flush head (fine ring) or a cross-slot screw."""
        ys, xs, x, y = self._patch(at, 1.6 * radius + 4)
        r = np.hypot(x, y)
        inside = np.clip(radius - r + 0.5, 0, 1)
        shade = np.ones_like(r)
        along = (x * math.cos(self.lamp) + y * math.sin(self.lamp)) / radius
        if look == "dome":
            shade += inside * 0.5 * along * (r / radius) ** 2
            u, v = (c + 0.4 * radius * f(self.lamp) for c, f in ((x, math.cos), (y, math.sin)))
            glint = np.exp(-((u**2 + v**2) / (0.2 * radius) ** 2))
            shade += 0.6 * glint
            cast = np.clip(
                radius - np.hypot(x - 3 * math.cos(self.lamp), y - 3 * math.sin(self.lamp)), 0, 1
            )
            shade *= 1 - 0.5 * np.clip(cast - inside, 0, 1)
        else:
            shade *= 1 - 0.55 * np.exp(-(((r - radius) / 1.1) ** 2))
            shade *= 1 + inside * 0.08
        if look == "screw":
            slot = (np.minimum(abs(x), abs(y)) < 0.14 * radius) & (r < 0.65 * radius)
            shade *= np.where(slot, 0.4, 1.0)
        self.tones[ys, xs] *= shade[..., None]
        self.taken.append((*at, 1.3 * radius))

    def scratch(self) -> None:
        """Draw a wavering line one to three px wide."""
        layer = np.zeros((self.height, self.width), np.uint8)
        start = self.rng.uniform(0, 1, 2) * [self.width, self.height]
        turn, bend = self.uniform(0, 2 * math.pi), self.uniform(-0.004, 0.004)
        s = np.linspace(0, self.uniform(0.1, 0.6) * self.width, 60)
        line = start + np.cumsum(np.c_[np.cos(turn + bend * s), np.sin(turn + bend * s)], 0) * s[1]
        width = int(self.rng.integers(1, 4))
        cv2.polylines(layer, [np.rint(line * 8).astype(np.int32)], False, 255, width, cv2.LINE_AA, 3)
        self.tones *= 1 + self.uniform(-0.5, 0.7) * (layer / 255.0)[..., None]

    def smudge(self, at: tuple[float, float], radius: float) -> None:
        """Leave a grease mark or dust: soft-edged, faint to strong."""
        ys, xs, x, y = self._patch(at, 3.0 * radius)
        r = np.hypot(x * self.uniform(0.6, 1.0), y) / radius
        soft = np.exp(-(r**2)) * (1 + 0.2 * self.grain(r.shape, radius / 2))
        tint = self.uniform(0.1, 0.5) * np.array([1.0, 1.0, self.uniform(0.8, 1.2)])
        self.tones[ys, xs] *= np.clip(1 - soft[..., None] * tint, 0.05, 2)

    def text(self, words: str, at: tuple[int, int], size: float) -> None:
        """Print words, dark on light metal and light on dark paint."""
        layer = np.zeros((self.height, self.width), np.uint8)
        font = FONTS[int(self.rng.integers(3))]
        cv2.putText(layer, words, at, font, size, 255, max(1, round(2 * size)), cv2.LINE_AA)
        ink = 0.03 if self.tones.mean() > 0.25 else 0.8
        cover = 0.85 * (layer / 255.0)[..., None]
        self.tones = self.tones * (1 - cover) + ink * cover

    def specks(self, count: int) -> None:
        """Scatter dust and tiny knocks up to 5 px across."""
        for _ in range(count):
            at = (self.uniform(0, self.width), self.uniform(0, self.height))
            ys, xs, x, y = self._patch(at, 6)
            cover = 0.7 * np.clip(self.uniform(0.6, 2.5) - np.hypot(x, y) + 0.5, 0, 1)
            self.tones[ys, xs] *= 1 + cover[..., None] * self.uniform(-0.8, 0.8)

    def shoot(self) -> NDArray[np.uint8]:
        """Light unevenly, blur, add sensor noise, round and compress."""
        y, x = np.mgrid[0 : self.height, 0 : self.width]
        across = (x / self.width - 0.5) * math.cos(self.lamp) + (y / self.height - 0.5) * math.sin(
            self.lamp
        )
        fall = 1 + self.uniform(0.0, 0.6) * across
        fall -= self.uniform(0.0, 0.5) * ((x / self.width - 0.5) ** 2 + (y / self.height - 0.5) ** 2)
        light = np.clip(self.tones * fall[..., None] * self.uniform(0.85, 1.25), 0, 1)
        light = cv2.GaussianBlur(light, (0, 0), self.uniform(0.5, 1.4))
        noisy = light + self.rng.standard_normal(light.shape) * np.sqrt(
            self.uniform(2e-5, 5e-4) * (light + 0.02)
        )
        code = np.rint(255 * np.clip(noisy, 0, 1) ** (1 / 2.2)).astype(np.uint8)
        _, packed = cv2.imencode(
            ".jpg", code[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(self.rng.integers(80, 97))]
        )
        back = cv2.imdecode(packed, cv2.IMREAD_COLOR)
        assert back is not None
        return np.ascontiguousarray(back[..., ::-1]).astype(np.uint8)

    def place(self, radius: float, apart: float) -> tuple[float, float] | None:
        """Find a free spot."""
        for _ in range(200):
            at = (self.uniform(2.2 * radius, self.width - 2.2 * radius),
                  self.uniform(2.2 * radius, self.height - 2.2 * radius))  # fmt: skip
            if all(math.hypot(at[0] - x, at[1] - y) > r + apart * radius for x, y, r in self.taken):
                self.taken.append((*at, apart * radius))
                return at
        return None


def bench_picture(seed: int, pits: int) -> Picture:
    """Draw a cluttered picture of one of five surfaces with `pits` pits 12 to 90 px across."""
    rng = np.random.default_rng([seed, 10_000])
    width, height = int(rng.integers(800, 1200)), int(rng.integers(600, 900))
    one = Picture(width, height, seed, SURFACES[seed % len(SURFACES)])
    one.specks(int(rng.integers(10, 60)))
    look = ("dome", "flush", "screw")[seed % 3]
    pitch, head, row = one.uniform(90, 160), one.uniform(12, 26), one.uniform(0.08, 0.2) * height
    for k in range(int(width / pitch)):
        one.rivet((pitch * (k + 0.5), row), head, look)
    if seed % 4 == 1:
        one.text(f"LOT {seed} / 4-B7", (int(0.05 * width), int(0.95 * height)), one.uniform(0.6, 1.4))
        one.taken.append((0.05 * width + 110, 0.95 * height - 10, 160))
    for _ in range(int(rng.integers(2, 7))):
        radius = one.uniform(12, 60)
        at = one.place(radius, 0.4)
        if at is not None:
            one.smudge(at, radius)
    for _ in range(int(rng.integers(2, 7)) if "paint" in one.surface else 0):
        radius = one.uniform(4, 24)
        at = one.place(radius, 1.6)
        if at is not None:
            one.chip(at, radius)
    _pitted(one, pits)
    for _ in range(int(rng.integers(2, 8))):
        one.scratch()
    return one


def _pitted(one: Picture, pits: int) -> None:
    for _ in range(pits):
        radius = math.exp(one.uniform(math.log(6), math.log(45)))
        at = one.place(radius, 1.9)
        if at is not None:
            one.pit(at, radius)


def plain_picture(seed: int, pits: int = 6) -> Picture:
    """Draw dark ovals on even light metal with a little noise: nothing may go wrong here."""
    rng = np.random.default_rng([seed, 30_000])
    one = Picture(700, 520, seed, "plain")
    y, x = np.mgrid[0:520, 0:700].astype(np.float64)
    for _ in range(pits):
        radius = math.exp(one.uniform(math.log(10), math.log(34)))
        at = one.place(radius, 1.8)
        if at is None:
            continue
        stretch, lean = math.sqrt(rng.uniform(1.0, 1.6)), rng.uniform(0, math.pi)
        u = (x - at[0]) * math.cos(lean) + (y - at[1]) * math.sin(lean)
        v = (y - at[1]) * math.cos(lean) - (x - at[0]) * math.sin(lean)
        cover = np.clip(radius - np.hypot(u / stretch, v * stretch) + 0.5, 0, 1)[..., None]
        one.tones = one.tones * (1 - cover * rng.uniform(0.35, 0.8))
        turn = np.arange(90) * 2 * math.pi / 90
        a, b = radius * stretch * np.cos(turn), radius / stretch * np.sin(turn)
        one.pits.append(np.c_[at[0] + a * math.cos(lean) - b * math.sin(lean),
                              at[1] + a * math.sin(lean) + b * math.cos(lean)])  # fmt: skip
    return one


def grey_picture(seed: int, pits: int = 6) -> Picture:
    """Draw dark ragged blobs with a bright rim on noisy grey metal, at scales a factor of four apart."""
    rng = np.random.default_rng([seed, 40_000])
    one = Picture(900, 680, seed, "mottled")
    one.tones = one.tones.mean(axis=2, keepdims=True) * np.ones(3)
    scale = float(rng.uniform(0.7, 2.8))
    for _ in range(pits):
        radius = scale * math.exp(one.uniform(math.log(11), math.log(26)))
        at = one.place(radius, 1.8)
        if at is None:
            continue
        ys, xs, x, y = one._patch(at, 2.2 * radius + 4)
        level = one._ragged(x, y, radius, one.uniform(0.03, 0.1), one.uniform(1.0, 1.6))
        lines = find_contours(level, 0.0)  # type: ignore[no-untyped-call]
        line = max(lines, key=len)
        one.pits.append(line[:-1, ::-1] + [xs.start, ys.start])
        cover = np.clip(level + 0.5, 0, 1)[..., None]
        floor = one.uniform(0.25, 0.6) * (1 + 0.2 * one.grain(level.shape, max(0.8, radius / 8)))[..., None]
        rim = one.uniform(0.2, 0.7) * np.exp(-(((level + 1.5) / one.uniform(1.0, 2.5)) ** 2))[..., None]
        one.tones[ys, xs] *= (1 - cover + floor * cover) * (1 + rim)
    for _ in range(int(rng.integers(2, 8))):
        one.scratch()
    return one
