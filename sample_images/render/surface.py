"""Paints the patch of a face that one shot sees."""

from __future__ import annotations

import numpy as np

import finish
from camera import Array
from finish import Skin
from noise import clouds, step
from pictures import Shot


def paint_side(shot: Shot, low: Array, high: Array, texel_mm: float) -> Skin:
    """Textures over the view-frame rectangle low..high; row 0 is the top (largest y)."""
    columns, rows = (int(np.ceil((high[k] - low[k]) / texel_mm)) for k in (0, 1))
    x = low[0] + (np.arange(columns) + 0.5) * (high[0] - low[0]) / columns
    y = high[1] - (np.arange(rows) + 0.5) * (high[1] - low[1]) / rows
    sign = -1.0 if shot.mirrored else 1.0
    s, o = np.meshgrid(
        (shot.origin[0] + sign * x).astype(np.float32), (shot.origin[1] + y).astype(np.float32)
    )
    skin = Skin.blank(s, o)
    side = shot.side
    dents = [
        d for d in side.dents if abs(d.at[0] - shot.origin[0]) < 150 and abs(d.at[1] - shot.origin[1]) < 120
    ]
    finish.bare_metal(skin, side.seed)
    if side.finish == "primer":
        finish.primer(skin, side.seed + 20, 0.30)
        finish.scratches(skin, side.seed + 15, 30, 0.6)
        _strip(skin, dents, side.seed)
    if side.finish == "painted":
        finish.primer(skin, side.seed + 20, 0.10)
        finish.paint(skin, side.seed + 40, np.ones_like(s))
        _feather(skin, dents, side.seed)
    finish.around_rivets(skin, list(side.rivets), side.seed + 60)
    finish.dirt(skin, side.seed + 70, 0.65 if side.finish == "primer" else 0.5)
    for dent in dents:
        if dent.kind == "blend-out":
            # Sanding reaches a little past the dish, unevenly, then stops hard at the true outline.
            rho = dent.rho(s, o).astype(np.float32)
            wide = step(-rho + 0.10 * clouds(s, o, 6.0, side.seed + 91), -1.13, -1.08)
            finish.sanded(skin, wide * 0.55, side.seed + 92)
            finish.sanded(skin, step(-rho, -1.005, -0.985), side.seed + 93)
    finish.corrosion(skin, dents, side.seed + 80)
    for at in shot.prints:
        finish.fingerprint(skin, (at[0], at[1]), at[2])
    for text, at in side.crosses:
        _cross(skin, text, at, shot.mirrored)
    return skin


def _strip(skin: Skin, dents: list[finish.Dent], seed: int) -> None:
    """Primer scrubbed off round a finding before it was measured or blended."""
    for dent in dents:
        reach = dent.rho(skin.s, skin.o).astype(np.float32)
        margin = (1.45, 0.22) if dent.kind != "pit" else (2.0, 0.7)
        ragged = clouds(skin.s, skin.o, 7.0 if dent.kind != "pit" else 3.0, seed + dent.seed, 5)
        bare = step(-reach + margin[1] * ragged, -margin[0], -margin[0] + 0.05)
        shade = 0.62 + 0.1 * ragged
        skin.cover(bare, finish.tint(finish.METAL, shade), 1.0, np.clip(0.42 + 0.06 * ragged, 0.2, 0.8))
        skin.bump *= 1 - bare


def _feather(skin: Skin, dents: list[finish.Dent], seed: int) -> None:
    """Paint sanded back in rings: paint, primer, metal, with an old wash of primer in the dish."""
    for dent in dents:
        rho = dent.rho(skin.s, skin.o).astype(np.float32) + 0.07 * clouds(skin.s, skin.o, 9.0, seed + 5, 5)
        ring = step(-rho, -1.75, -1.66)
        shade = 1.0 + 0.1 * clouds(skin.s, skin.o, 12.0, seed + 6)
        skin.cover(ring, finish.tint(finish.PRIMER, shade), 0.0, 0.5)
        skin.bump -= ring * 0.03
        finish.sanded(skin, step(-rho, -1.42, -1.36), seed + 7)
        true_rho = dent.rho(skin.s, skin.o).astype(np.float32)
        wash = step(-true_rho, -1.0, -0.985) * (0.55 + 0.3 * clouds(skin.s, skin.o, 8.0, seed + 8))
        tired = finish.tint((0.50, 0.50, 0.40), 0.95 + 0.15 * clouds(skin.s, skin.o, 4.0, seed + 9))
        skin.cover(np.clip(wash, 0, 0.8), tired, 0.15, 0.5)


def _cross(skin: Skin, text: str, at: tuple[float, float], mirrored: bool) -> None:
    """An inked cross with its station/offset: control points of the placement."""
    ds, do = skin.s - at[0], skin.o - at[1]
    near = (np.abs(ds) < 3) & (np.abs(do) < 3)
    stroke = np.minimum(
        np.where(np.abs(ds) < 2.2, np.abs(do), 9.0), np.where(np.abs(do) < 2.2, np.abs(ds), 9.0)
    )
    ink = np.where(near, step(-stroke, -0.19, -0.11), 0.0).astype(np.float32)
    skin.cover(ink * 0.9, (0.02, 0.03, 0.10), 0.0, 0.5)
    shift = -1.2 if mirrored else 1.2
    finish.stamp(skin, text, (at[0] + shift, at[1] + 0.9), 2.3, mirrored, (0.02, 0.03, 0.10))
