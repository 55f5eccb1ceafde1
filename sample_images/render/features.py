"""Pits, dishes and rivets as exact shapes on a member's layout (station, offset in mm)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Dent:
    """A pit or a dish: a star-shaped outline and a depth that falls to zero on it.

    The radius of the outline at angle a is ``ellipse(a) * (1 + sum_k c_k cos(k a - p_k))`` with
    coefficients drawn from the seed. Depth is ``depth * (1 - rho**power)``, rho = 1 on the outline:
    power 2 is the paraboloid of a dished blend-out, a higher power a steep-walled pit. `rough` adds
    floor roughness of that share, then the whole is scaled so that the deepest point is `depth`.

    Attributes
    ----------
    id, kind : str
        Kind is ``pit``, ``blend-out`` or ``earlier-rework``.
    at : (float, float)
        Station and offset of the centre, mm.
    semi_axes, angle_deg : (float, float), float
        Of the mean ellipse, angle counter-clockwise from the station axis.
    depth : float
        mm, at the deepest point, below the original surface.
    wobble : float
        Size of the outline's departure from the ellipse, relative.
    product : float
        Amount of corrosion product on it, 0 to 1.
    """

    id: str
    kind: str
    at: tuple[float, float]
    semi_axes: tuple[float, float]
    depth: float
    angle_deg: float = 0.0
    wobble: float = 0.12
    power: float = 2.6
    rough: float = 0.25
    product: float = 0.4
    seed: int = 1

    def _harmonics(self) -> list[tuple[int, float, float]]:
        draw = np.random.default_rng(self.seed)
        return [
            (k, self.wobble * draw.uniform(0.4, 1.0) / k**0.8, draw.uniform(0, 2 * math.pi))
            for k in range(2, 8)
        ]

    def radius(self, angle: Array) -> Array:
        """Radius of the outline in mm at angles (rad, counter-clockwise from the station axis)."""
        local = angle - math.radians(self.angle_deg)
        a, b = self.semi_axes
        ellipse = a * b / np.hypot(b * np.cos(local), a * np.sin(local))
        wave = np.zeros_like(ellipse)
        for k, size, phase in self._harmonics() if self.wobble else []:
            wave = wave + size * np.cos(k * local - phase)
        return ellipse * np.clip(1.0 + wave, 0.4, None)

    def rho(self, station: Array, offset: Array) -> Array:
        """Distance from the centre in units of the outline's radius."""
        ds, do = station - self.at[0], offset - self.at[1]
        return np.hypot(ds, do) / self.radius(np.arctan2(do, ds))

    def _raw(self, station: Array, offset: Array) -> Array:
        rho = self.rho(station, offset)
        base = np.clip(1.0 - rho**self.power, 0.0, None)
        if not self.rough:
            return base
        draw = np.random.default_rng(self.seed + 999)
        scale = min(self.semi_axes)
        bumps = np.zeros_like(base)
        for _ in range(14):
            k, turn, phase = (
                draw.uniform(2.0, 9.0) / scale,
                draw.uniform(0, 2 * math.pi),
                draw.uniform(0, 2 * math.pi),
            )
            bumps += np.cos(k * (math.cos(turn) * station + math.sin(turn) * offset) + phase)
        # Roughness fades out at the rim, so the outline stays exactly where it is stated to be.
        return base * np.clip(1.0 + self.rough * bumps / 3.0, 0.05, None)

    def _peak(self) -> float:
        reach = max(self.semi_axes) * 1.5
        line = np.linspace(-reach, reach, 401)
        s, o = np.meshgrid(self.at[0] + line, self.at[1] + line)
        return float(self._raw(s, o).max())

    def depth_at(self, station: Array, offset: Array) -> Array:
        """Depth in mm (zero outside the outline)."""
        return self.depth * self._raw(station, offset) / self._peak()

    def outline(self, count: int = 96) -> Array:
        """Outline on the layout, (count, 2) mm, counter-clockwise, not closed."""
        angle = np.arange(count) * 2 * math.pi / count
        radius = self.radius(angle)
        return np.c_[self.at[0] + radius * np.cos(angle), self.at[1] + radius * np.sin(angle)]

    def area(self) -> float:
        """Area inside the outline, mm2 (trapezium rule on a periodic function: exact to rounding)."""
        angle = np.arange(4096) * 2 * math.pi / 4096
        return float(0.5 * (self.radius(angle) ** 2).sum() * 2 * math.pi / 4096)

    def deepest_at(self) -> tuple[float, float]:
        """Where the deepest point is on the layout."""
        reach = max(self.semi_axes) * 1.5
        line = np.linspace(-reach, reach, 401)
        s, o = np.meshgrid(self.at[0] + line, self.at[1] + line)
        best = int(self._raw(s, o).argmax())
        return float(s.flat[best]), float(o.flat[best])

    def volume(self) -> float:
        """Metal missing under the outline, mm3, by the midpoint rule on a fine polar grid."""
        angle = (np.arange(256) + 0.5) * 2 * math.pi / 256
        share = (np.arange(200) + 0.5) / 200
        a, q = np.meshgrid(angle, share)
        r = self.radius(a) * q
        depth = self.depth_at(self.at[0] + r * np.cos(a), self.at[1] + r * np.sin(a))
        return float((depth * r * self.radius(a)).sum() * (2 * math.pi / 256) / 200)


@dataclass(frozen=True)
class Rivet:
    """A fastener head; `flush` heads are level with the skin, universal heads stand on it."""

    id: str
    at: tuple[float, float]
    shank: float
    flush: bool = False
    base_z: float = 0.0

    @property
    def head_diameter(self) -> float:
        """Twice the shank for a universal head; flush heads a little less (invented rivet)."""
        return self.shank * (1.8 if self.flush else 2.0)

    @property
    def head_height(self) -> float:
        """Height over the metal under the head, mm."""
        return 0.0 if self.flush else 0.42 * self.shank

    def profile(self) -> Array:
        """Half section of the head, (N, 2) radius and height, from the axis down to the base."""
        radius, height = self.head_diameter / 2, self.head_height
        turn = np.linspace(0.0, math.pi / 2, 24)
        # A superellipse: flatter on top and rounder at the edge than a sphere.
        return np.c_[radius * np.sin(turn) ** 0.9, height * np.cos(turn) ** 0.75]
