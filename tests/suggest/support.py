"""Small pictures with one pit, shared by the tests."""

from __future__ import annotations

from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray

from tests.suggest.scenes import Scene

Outline = NDArray[np.float64]
Pixels = NDArray[np.uint8]
CLICK = (140.0, 120.0)


@cache
def one_pit(*, primed: bool = False, radius: float = 24.0, seed: int = 41) -> tuple[Pixels, Outline]:
    """Picture of 280 x 240 px with one pit at `CLICK`, and the pit's true outline."""
    scene = Scene(280, 240, seed)
    if primed:
        scene.prime()
    scene.pit(CLICK, radius, product=0.1, stripped=primed)
    return scene.shoot(), scene.pits[0]


def plain_disc(size: int, radius: float, inside: float, outside: float) -> tuple[Pixels, Outline]:
    """Anti-aliased disc in the middle of a square of one tone, with a little fixed noise."""
    y, x = np.mgrid[:size, :size].astype(float)
    middle = (size - 1) / 2
    cover = np.clip(radius + 0.5 - np.hypot(x - middle, y - middle), 0, 1)
    noise = np.random.default_rng(2).normal(0, 1.0, (size, size))
    tone = outside + (inside - outside) * cover + noise
    turn = np.arange(360) * np.pi / 180
    rim = np.column_stack([middle + radius * np.cos(turn), middle + radius * np.sin(turn)])
    return np.rint(np.clip(tone, 0, 255)).astype(np.uint8), rim


def overlap(a: Outline, b: Outline) -> float:
    """Intersection over union."""
    p, q = (shapely.make_valid(shapely.Polygon(o)) for o in (a, b))
    return float(p.intersection(q).area / p.union(q).area)


def area(outline: Outline) -> float:
    """Area inside, px2."""
    return float(shapely.Polygon(outline).area)


def apart(a: Outline, b: Outline) -> float:
    """Largest distance between two outlines, px."""
    lines = [shapely.segmentize(shapely.LinearRing(o), 0.5) for o in (a, b)]
    return float(shapely.hausdorff_distance(*lines))
