"""Triangle meshes: the skin as a displaced grid, solids of revolution, plates, sealant beads."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass
class Mesh:
    """Vertices (N, 3) mm, faces (M, 3), texture coordinates (N, 2), normals (N, 3) or None."""

    points: Array
    faces: NDArray[np.int64]
    uv: Array
    normals: Array | None = None


def join(meshes: list[Mesh]) -> Mesh:
    """One mesh of many."""
    shift = np.cumsum([0] + [len(m.points) for m in meshes[:-1]])
    normals = (
        None if any(m.normals is None for m in meshes) else np.concatenate([m.normals for m in meshes])
    )  # type: ignore[misc]
    return Mesh(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.faces + k for m, k in zip(meshes, shift, strict=True)]),
        np.concatenate([m.uv for m in meshes]),
        normals,
    )


def graded_line(
    low: float, high: float, coarse: float, fine: float, spans: list[tuple[float, float]]
) -> Array:
    """Coordinates from `low` to `high`, `fine` apart within the spans and `coarse` apart elsewhere."""
    edges = sorted({low, high} | {min(max(v, low), high) for span in spans for v in span})
    pieces = []
    for a, b in zip(edges, edges[1:], strict=False):
        middle = (a + b) / 2
        step = fine if any(p <= middle <= q for p, q in spans) else coarse
        pieces.append(np.linspace(a, b, max(1, math.ceil((b - a) / step)), endpoint=False))
    return np.concatenate([*pieces, [high]])


def grid(
    xs: Array, ys: Array, height: Callable[[Array, Array], Array], uv: Callable[[Array, Array], Array]
) -> Mesh:
    """Displaced grid z = height(x, y); normals by central differences, so rims stay sharp."""
    x, y = np.meshgrid(xs, ys)
    z = height(x, y)
    d = 0.004
    gx = (height(x + d, y) - height(x - d, y)) / (2 * d)
    gy = (height(x, y + d) - height(x, y - d)) / (2 * d)
    normals = np.stack([-gx, -gy, np.ones_like(gx)], -1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    index = np.arange(x.size).reshape(x.shape)
    a, b, c, e = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
    faces = np.concatenate([np.stack([a, b, e], -1).reshape(-1, 3), np.stack([a, e, c], -1).reshape(-1, 3)])
    return Mesh(
        np.stack([x, y, z], -1).reshape(-1, 3), faces, uv(x, y).reshape(-1, 2), normals.reshape(-1, 3)
    )


def revolve(
    profile: Array,
    at: tuple[float, float],
    base_z: float,
    uv: Callable[[Array, Array], Array],
    sides: int = 64,
) -> Mesh:
    """Solid of revolution about the vertical axis; `profile` is (N, 2) radius and height, axis first."""
    turn = np.arange(sides) * 2 * math.pi / sides
    x = at[0] + profile[:, :1] * np.cos(turn)
    y = at[1] + profile[:, :1] * np.sin(turn)
    z = np.broadcast_to(base_z + profile[:, 1:], x.shape)
    slope = np.gradient(profile, axis=0)
    outward = np.c_[-slope[:, 1], slope[:, 0]]
    outward /= np.linalg.norm(outward, axis=1, keepdims=True) + 1e-12
    outward[0] = (0.0, 1.0)
    normals = np.stack(
        [
            outward[:, :1] * np.cos(turn),
            outward[:, :1] * np.sin(turn),
            np.broadcast_to(outward[:, 1:], x.shape),
        ],
        -1,
    )
    index = np.arange(x.size).reshape(x.shape)
    a, b = index[:-1], index[1:]
    faces = np.concatenate(
        [
            np.stack([a, b, np.roll(b, -1, 1)], -1).reshape(-1, 3),
            np.stack([a, np.roll(b, -1, 1), np.roll(a, -1, 1)], -1).reshape(-1, 3),
        ]
    )
    return Mesh(
        np.stack([x, y, z], -1).reshape(-1, 3), faces, uv(x, y).reshape(-1, 2), normals.reshape(-1, 3)
    )


def plate(outline: Array, base_z: float, thickness: float, uv: Callable[[Array, Array], Array]) -> Mesh:
    """Flat plate over a convex outline (N, 2): top face and sides, without shared normals."""
    top = np.c_[outline, np.full(len(outline), base_z + thickness)]
    bottom = np.c_[outline, np.full(len(outline), base_z)]
    following = np.roll(np.arange(len(outline)), -1)
    fan = np.array([[0, k, k + 1] for k in range(1, len(outline) - 1)])
    pieces = [Mesh(top, fan, uv(top[:, 0], top[:, 1]), np.tile([0.0, 0.0, 1.0], (len(top), 1)))]
    quad = np.stack([bottom, bottom[following], top[following], top], 1)
    edge = outline[following] - outline
    side = np.c_[edge[:, 1], -edge[:, 0], np.zeros(len(edge))]
    side /= np.linalg.norm(side, axis=1, keepdims=True) + 1e-12
    faces = (np.arange(len(outline))[:, None, None] * 4 + np.array([[0, 1, 2], [0, 2, 3]])).reshape(-1, 3)
    flat, out = quad.reshape(-1, 3), np.repeat(side, 4, axis=0)
    # Sides are unrolled outwards: a wall seen from above has no width in the plan, and bump maps need one.
    rolled = flat[:, :2] + out[:, :2] * (base_z + thickness - flat[:, 2:])
    pieces.append(Mesh(flat, faces, uv(rolled[:, 0], rolled[:, 1]), out))
    return join(pieces)


def rounded_rectangle(width: float, height: float, radius: float) -> Array:
    """Counter-clockwise outline centred on the origin."""
    arcs = []
    for k, (cx, cy) in enumerate(((1, -1), (1, 1), (-1, 1), (-1, -1))):
        angle = np.linspace(-90 + 90 * k, 90 * k, 13) * math.pi / 180
        centre = np.array([cx * (width / 2 - radius), cy * (height / 2 - radius)])
        arcs.append(centre + radius * np.c_[np.cos(angle), np.sin(angle)])
    return np.concatenate(arcs)


def placed(outline: Array, at: tuple[float, float], angle_deg: float) -> Array:
    """Turn an outline counter-clockwise about the origin and move it."""
    c, w = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return outline @ np.array([[c, w], [-w, c]]) + np.asarray(at)


def bead(start: tuple[float, float], end: tuple[float, float], radius: float, seed: int) -> Mesh:
    """A bead of sealant laid along a line by hand: a half tube of uneven width and height."""
    draw = np.random.default_rng(seed)
    length = math.dist(start, end)
    count = max(20, int(length / 0.4))
    t = np.linspace(0, 1, count)
    # Wavelengths of 9 mm and more: a hand-laid bead is uneven, not ragged.
    waves = range(1, max(3, int(length / 9)))
    wave = sum(
        draw.normal(0, 0.30 / k**0.4) * np.cos(2 * math.pi * k * t + draw.uniform(0, 6.28)) for k in waves
    )
    taper = np.sqrt(np.clip(np.minimum(t, 1 - t) * length / 2.0, 0.0, 1.0))
    width = radius * (1 + 0.35 * np.clip(np.asarray(wave), -1.2, 1.2)) * np.maximum(taper, 0.02)
    along = (np.asarray(end) - np.asarray(start)) / length
    across = np.array([-along[1], along[0]])
    angle = np.linspace(0, math.pi, 17)
    centre = (
        np.asarray(start)
        + t[:, None] * length * along
        + (0.25 * radius * np.asarray(wave))[:, None] * across
    )
    xy = centre[:, None, :] + (width[:, None] * np.cos(angle))[..., None] * across
    z = 0.45 * width[:, None] * np.sin(angle)
    points = np.concatenate([xy, z[..., None]], -1)
    du, dv = np.gradient(points, axis=0), np.gradient(points, axis=1)
    normals = np.cross(du, dv)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True) + 1e-12
    normals *= np.sign(normals[..., 2:].mean()) or 1.0
    index = np.arange(count * 17).reshape(count, 17)
    a, b, c, e = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
    faces = np.concatenate([np.stack([a, b, e], -1).reshape(-1, 3), np.stack([a, e, c], -1).reshape(-1, 3)])
    return Mesh(points.reshape(-1, 3), faces, points[..., :2].reshape(-1, 2) / 10.0, normals.reshape(-1, 3))
