"""Training pictures in many manners: tones laid over one another, each picture to a recipe of its own.

The other drawn pictures (`tests.suggest.scenes`, `tests.suggest.clutter`) have one way to show a thing
each; here, and in `tests.suggest.collage_clutter`, grounds, pits, fasteners, stains and papers are drawn in
as many ways as a few lines allow, so that what is learnt is what they have in common. Everything follows
from the seed.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from corrosion.opencv import cv2

Plane = NDArray[np.float64]
Outline = NDArray[np.float64]
Pixels = NDArray[np.uint8]


class Collage:
    """A picture being drawn: display tones from 0 to 1, and its truth.

    Attributes
    ----------
    tones : ndarray of shape (H, W, 3)
    pits : list of ndarray of shape (n, 2), px
    taken : list of (x, y, radius)
        Places that no other thing is drawn on.
    """

    def __init__(self, seed: int, width: int, height: int) -> None:
        self.rng = np.random.default_rng([seed, 31_000])
        self.width, self.height = width, height
        self.lamp = self.uniform(0, 2 * math.pi)
        self.tones = self._ground()
        self.pits: list[Outline] = []
        self.taken: list[tuple[float, float, float]] = []

    def uniform(self, low: float, high: float) -> float:
        """Draw a number."""
        return float(self.rng.uniform(low, high))

    def maybe(self, chance: float) -> bool:
        """Toss a weighted coin."""
        return bool(self.rng.random() < chance)

    def grain(self, shape: tuple[int, int], size: float, along: float = 1.0) -> Plane:
        """Noise of unit spread, `size` px across and `along` times as long in x."""
        white = self.rng.standard_normal(shape)
        plane = cv2.GaussianBlur(white, (0, 0), sigmaX=max(0.3, size * along), sigmaY=max(0.3, size))
        return np.asarray(plane / max(float(plane.std()), 1e-9), np.float64)

    def _ground(self) -> Plane:
        size = (self.height, self.width)
        level = self.uniform(0.25, 0.85)
        tint = 1 + self.uniform(0, 0.06) * self.rng.uniform(-1, 1, 3)
        if self.maybe(0.35):
            tint = self.rng.uniform(0.5, 1.0, 3)
            tint = tint / tint.max()
        plane = np.zeros(size)
        for chance, low, high, along in ((0.7, 0.5, 1.2, 1.0), (0.5, 3, 40, 1.0), (0.5, 0.5, 1.5, 40.0)):
            if self.maybe(chance):
                noise = self.grain(size, self.uniform(low, high), along)
                if along > 1 and self.maybe(0.6):
                    noise = self._turned(noise, self.uniform(-90, 90))
                plane += self.uniform(0.01, 0.08) * noise
        return np.clip(level * tint * (1 + plane[..., None]), 0.02, 1.0)

    def _turned(self, plane: Plane, degrees: float) -> Plane:
        middle = (self.width / 2, self.height / 2)
        turn = cv2.getRotationMatrix2D(middle, degrees, 1.0)
        moved = cv2.warpAffine(plane, turn, (self.width, self.height), borderMode=cv2.BORDER_REFLECT_101)
        return np.asarray(moved, np.float64)

    def spot(self, radius: float, room: float = 1.5) -> tuple[float, float] | None:
        """Find a free place inside the picture for a thing of that radius, and take it."""
        reach = radius * room
        if 2.2 * reach > min(self.width, self.height):
            return None
        for _ in range(40):
            x, y = (self.uniform(reach, side - reach) for side in (self.width, self.height))
            if all(math.hypot(x - a, y - b) > reach + r for a, b, r in self.taken):
                self.taken.append((x, y, reach))
                return x, y
        return None

    def window(self, at: tuple[float, float], reach: float) -> tuple[tuple[slice, slice], Plane, Plane]:
        """Part of the picture within `reach`, with x and y from the middle."""
        x0, x1 = max(0, int(at[0] - reach)), min(self.width, int(at[0] + reach) + 2)
        y0, y1 = max(0, int(at[1] - reach)), min(self.height, int(at[1] + reach) + 2)
        y, x = np.mgrid[y0:y1, x0:x1].astype(np.float64)
        return (slice(y0, y1), slice(x0, x1)), x - at[0], y - at[1]

    def lay(self, here: tuple[slice, slice], tone: Plane | float, cover: Plane) -> None:
        """Lay a tone over the part."""
        self.tones[here] = self.tones[here] * (1 - cover[..., None]) + np.asarray(tone) * cover[..., None]

    def rim(self, radius: float, count: int = 120) -> Outline:
        """Draw the outline of a pit about (0, 0): an oval with lobes, smooth or ragged, seldom plain."""
        turn = np.arange(count) * 2 * math.pi / count
        long = math.sqrt(self.uniform(1.0, 2.0))
        oval = 1 / np.hypot(np.cos(turn) / long, np.sin(turn) * long)
        fall, size = self.uniform(0.6, 1.6), self.uniform(0, 0.16) * self.maybe(0.85)
        for k in range(2, 14):
            oval = oval * (1 + size / k**fall * math.sqrt(2) * np.cos(k * turn + self.uniform(0, 6.3)))
        lean = self.uniform(0, math.pi)
        x, y = oval * np.cos(turn), oval * np.sin(turn)
        outline = np.c_[x * math.cos(lean) - y * math.sin(lean), x * math.sin(lean) + y * math.cos(lean)]
        area = float(shapely.make_valid(shapely.Polygon(outline)).area)
        return np.asarray(outline * radius * math.sqrt(math.pi / area))

    def pit(self, at: tuple[float, float], radius: float) -> None:
        """Draw a pit in one of many manners, and keep its outline."""
        outline = self.rim(radius)
        here, x, y = self.window(at, 3.0 * radius + 4)
        inside = signed_distance(outline, x, y)
        shape = x.shape
        cover = sigmoid(4 * inside / self.uniform(0.6, 2.5))
        depth = np.clip(inside / max(float(inside.max()), 1.0), 0, 1)
        under = np.median(self.tones[here].reshape(-1, 3), axis=0)
        if self.maybe(0.35):  # a stained, scrubbed or flaked surround, wider than the pit
            reach = radius * self.uniform(0.15, 1.0)
            ragged = self.grain(shape, radius / 3) * self.uniform(0, 0.3) * reach
            around = sigmoid((inside + reach + ragged) / self.uniform(0.6, 0.3 * reach + 1))
            tone = under * self.uniform(0.65, 1.5) * self.rng.uniform(0.9, 1.1, 3)
            self.lay(here, tone, self.uniform(0.4, 1) * around)
        floor = self._floor(shape, depth, under, radius)
        self.lay(here, np.clip(floor, 0.01, 1), cover * self.uniform(0.75, 1.0))
        if self.maybe(0.65):  # lit from one side: the near wall in shade, the far one bright
            soft = cv2.GaussianBlur(cover, (0, 0), self.uniform(0.8, 0.25 * radius + 1))
            slope_y, slope_x = np.gradient(soft)
            lit = -(slope_x * math.cos(self.lamp) + slope_y * math.sin(self.lamp))
            lit *= self.uniform(0.15, 0.9) / max(float(np.abs(lit).max()), 1e-6)
            self.tones[here] *= 1 + np.maximum(lit * (cover if self.maybe(0.5) else 1.0), -0.9)[..., None]
        if self.maybe(0.35):
            ring = np.exp(-((inside / self.uniform(0.8, 2.2)) ** 2)) * self.uniform(-0.6, 0.7)
            self.tones[here] *= 1 + ring[..., None]
        if self.maybe(0.3):  # product, in it and over its edge
            crust = self.grain(shape, self.uniform(1.0, radius / 3 + 1)) + 2.2 * self.uniform(-0.6, 0.5)
            crust = crust - np.abs(depth - 0.4)
            white = np.clip(3 * crust, 0, 1) * (inside > -0.2 * radius)
            hue = self.rng.uniform(0.75, 0.95) * np.array(
                [1.0, self.uniform(0.85, 1), self.uniform(0.6, 1)]
            )
            salt = hue * (1 + 0.08 * self.grain(shape, 0.8)[..., None])
            self.lay(here, salt, white * self.uniform(0.5, 0.95))
        self.pits.append(outline + np.array(at))

    def _floor(self, shape: tuple[int, int], depth: Plane, under: Plane, radius: float) -> Plane:
        shade = self.uniform(0.2, 0.75)
        tint = np.ones(3)
        if self.maybe(0.35):
            tint = np.array([1.0, self.uniform(0.6, 0.95), self.uniform(0.35, 0.9)])
        if self.maybe(0.1):
            tint = np.array([self.uniform(0.5, 0.9), 1.0, self.uniform(0.6, 1.0)])
        rough = self.uniform(0, 0.4) * self.grain(shape, self.uniform(0.8, radius / 3 + 0.8))
        if self.maybe(0.5):
            rough = rough + self.uniform(0, 0.3) * self.grain(shape, self.uniform(0.6, 1.5))
        bowl = 1.0 if self.maybe(0.5) else 1 - self.uniform(0.2, 0.7) * depth ** self.uniform(0.4, 1.5)
        return np.asarray(under * tint * shade * (np.asarray(bowl) * (1 + rough))[..., None])

    def shoot(self) -> Pixels:
        """Light falls off, the lens blurs, the sensor is noisy, the file is packed: RGB, uint8."""
        y, x = np.mgrid[: self.height, : self.width].astype(np.float64)
        seen: Plane = self.tones
        if self.maybe(0.6):
            cx, cy = self.uniform(0, self.width), self.uniform(0, self.height)
            far = np.hypot(x - cx, y - cy) / (self.width * self.uniform(0.4, 1.2))
            fall = 1 - self.uniform(0, 0.7) * (1 - np.exp(-(far**2)))
            seen = seen * fall[..., None] * self.uniform(0.9, 1.3)
        if self.maybe(0.3):
            across = (x - self.uniform(0, self.width)) / self.uniform(40, 300)
            along = (y - self.uniform(0, self.height)) / self.uniform(40, 300)
            glare = np.exp(-(across**2 + along**2))
            seen = seen + self.uniform(0, 0.5) * glare[..., None]
        lens = self.uniform(0.3, 1.4)
        seen = np.asarray(cv2.GaussianBlur(np.clip(seen, 0, 1.1), (0, 0), lens), np.float64)
        noise = self.rng.standard_normal(seen.shape)
        if self.maybe(0.5):
            noise = np.repeat(noise[..., :1], 3, axis=2)
        rgb = np.rint(np.clip(seen + self.uniform(0, 0.03) * noise, 0, 1) * 255).astype(np.uint8)
        quality = int(self.rng.integers(70, 98))
        _, packed = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
        decoded = cv2.imdecode(packed, cv2.IMREAD_COLOR)
        assert decoded is not None
        return np.ascontiguousarray(decoded[..., ::-1]).astype(np.uint8)


def signed_distance(outline: Outline, x: Plane, y: Plane) -> Plane:
    """Distance from the outline, px, positive inside; to a fifth of a px."""
    fine = 4
    corner = np.array([x[0, 0], y[0, 0]])
    drawn = np.zeros((x.shape[0] * fine, x.shape[1] * fine), np.uint8)
    points = (outline - corner + 0.5) * fine - 0.5
    cv2.fillPoly(drawn, [np.rint(points * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    ways = [cv2.distanceTransform(p, cv2.DIST_L2, 5) for p in (drawn, 255 - drawn)]
    far = (ways[0] - ways[1]) / fine
    size = (x.shape[1], x.shape[0])
    return np.asarray(cv2.resize(far, size, interpolation=cv2.INTER_AREA), np.float64)


def sigmoid(value: Plane) -> Plane:
    """Rise from 0 to 1 about 0."""
    return np.asarray(1 / (1 + np.exp(np.clip(-value, -50, 50))))
