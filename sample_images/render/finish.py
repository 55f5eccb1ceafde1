"""How a face looks: bare clad metal, primer, paint, sanding, corrosion product, dirt.

Every function paints on `Skin`, four images over the same patch of layout. Colours are linear RGB.
Looks carry no truth: only the shapes in `features` do.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from features import Dent, Rivet
from noise import Image, clouds, noise, step

METAL = (0.86, 0.87, 0.88)
PRIMER = (0.225, 0.235, 0.105)
PAINT = (0.74, 0.73, 0.68)
POWDER = (0.80, 0.80, 0.77)


@dataclass
class Skin:
    """Textures of a patch: `s`, `o` layout coordinates per texel, colour, and surface character."""

    s: Image
    o: Image
    colour: Image
    metallic: Image
    roughness: Image
    bump: Image

    @classmethod
    def blank(cls, s: Image, o: Image) -> Skin:
        """A patch with nothing on it yet."""
        zero = np.zeros_like(s)
        return cls(s, o, np.repeat(zero[..., None], 3, 2), zero.copy(), zero.copy(), zero.copy())

    def cover(
        self,
        mask: Image,
        colour: Image | tuple[float, float, float],
        metallic: float,
        roughness: Image | float,
    ) -> None:
        """Lay a coat over the patch where `mask` is 1."""
        m = mask[..., None]
        self.colour[:] = self.colour * (1 - m) + np.asarray(colour, np.float32) * m
        self.metallic[:] = self.metallic * (1 - mask) + metallic * mask
        self.roughness[:] = self.roughness * (1 - mask) + roughness * mask

    def darken(self, factor: Image) -> None:
        """Multiply the colour."""
        self.colour *= factor[..., None]


def tint(colour: tuple[float, float, float], shade: Image) -> Image:
    """A colour varied by a shade image (1 = unchanged)."""
    return np.asarray(colour, np.float32) * shade[..., None]


def bare_metal(skin: Skin, seed: int) -> None:
    """Rolled and clad sheet, dulled with age: grain along the station axis, stains, water marks."""
    s, o = skin.s, skin.o
    grain = 0.6 * noise(s, o, (14.0, 0.10), seed) + 0.4 * noise(s, o, (5.0, 0.22), seed + 1)
    dull = clouds(s, o, 46.0, seed + 2)
    stain = step(clouds(s, o, 24.0, seed + 3), 0.12, 0.55)
    shade = 0.86 + 0.10 * dull + 0.05 * grain - 0.16 * stain
    skin.cover(
        np.ones_like(s),
        tint(METAL, shade),
        1.0,
        np.clip(0.36 + 0.08 * dull + 0.05 * grain + 0.12 * stain, 0.2, 0.8),
    )
    skin.colour *= 1.0 + stain[..., None] * np.array([0.0, -0.015, -0.05], np.float32)
    skin.bump += 0.0016 * grain
    scratches(skin, seed + 9, 26)


def primer(skin: Skin, seed: int, chips: float = 0.35, mask: Image | None = None) -> None:
    """Sprayed chromate-coloured primer with orange peel, runs and chips down to the metal."""
    s, o = skin.s, skin.o
    thick = clouds(s, o, 30.0, seed, 5)
    peel = noise(s, o, (0.55, 0.55), seed + 1) + 0.5 * noise(s, o, (0.25, 0.25), seed + 2)
    ragged = clouds(s, o, 9.0, seed + 3, 6)
    worn = step(clouds(s, o, 40.0, seed + 4, 3) + 0.9 * ragged, 0.95 - chips, 1.02 - chips)
    spots = step(clouds(s, o, 2.2, seed + 5, 4) + 0.1 * thick, 0.70, 0.75)
    coat = np.clip(1.0 - np.maximum(worn, spots), 0.0, 1.0)
    if mask is not None:
        coat = coat * mask
    skin.cover(
        coat, tint(PRIMER, 0.98 + 0.30 * thick + 0.06 * peel), 0.0, np.clip(0.46 + 0.12 * thick, 0.3, 0.7)
    )
    skin.bump += coat * (0.022 + 0.003 * peel)


def paint(skin: Skin, seed: int, mask: Image) -> None:
    """Old gloss paint: chalked, faintly stained."""
    s, o = skin.s, skin.o
    chalk = clouds(s, o, 35.0, seed, 5)
    stain = step(clouds(s, o, 60.0, seed + 1), 0.1, 0.7)
    colour = tint(PAINT, 0.98 + 0.05 * chalk) * (
        1 - stain[..., None] * np.array([0.06, 0.08, 0.12], np.float32)
    )
    skin.cover(mask, colour, 0.0, np.clip(0.34 + 0.1 * chalk, 0.2, 0.6))
    skin.bump += mask * (0.05 + 0.0025 * noise(s, o, (0.8, 0.8), seed + 2))


def sanded(skin: Skin, mask: Image, seed: int) -> None:
    """Metal worked with abrasive paper: bright, fine cross-hatched scratches."""
    s, o = skin.s, skin.o
    hatch = np.zeros_like(s)
    for k, (angle, weight) in enumerate(((12.0, 1.2), (-9.0, 0.8), (58.0, 0.35))):
        hatch += weight * noise(s, o, (13.0, 0.085), seed + k, angle)
    shade = 0.97 + 0.045 * hatch
    skin.cover(mask, tint(METAL, shade), 1.0, np.clip(0.30 + 0.05 * hatch, 0.2, 0.6))
    skin.bump *= 1 - mask
    skin.bump += mask * 0.0013 * hatch


def scratches(skin: Skin, seed: int, count: int, through_coat: float = 0.0) -> None:
    """Handling scratches, placed on the layout so that overlapping pictures share them."""
    draw = np.random.default_rng(seed)
    mask = np.zeros(skin.s.shape, np.uint8)
    rows, columns = skin.s.shape
    ds, do = (skin.s[0, -1] - skin.s[0, 0]) / (columns - 1), (skin.o[-1, 0] - skin.o[0, 0]) / (rows - 1)
    for _ in range(count * 10):
        start = np.array([draw.uniform(0, 900), draw.uniform(0, 400)])
        angle, length, bow = draw.normal(0.2, 0.9), draw.exponential(14.0), draw.normal(0, 0.02)
        t = np.linspace(0, length, 24)
        path = start + np.c_[t * np.cos(angle + bow * t), t * np.sin(angle + bow * t)]
        texel = np.c_[(path[:, 0] - skin.s[0, 0]) / ds, (path[:, 1] - skin.o[0, 0]) / do]
        cv2.polylines(
            mask,
            [np.round(texel * 16).astype(np.int32)],
            False,
            int(draw.integers(90, 255)),
            1,
            cv2.LINE_AA,
            4,
        )
    line = mask.astype(np.float32) / 255
    if through_coat:
        skin.cover(line * through_coat, METAL, 1.0, 0.4)
    skin.colour *= 1 - 0.25 * line[..., None]
    skin.roughness[:] = np.clip(skin.roughness - 0.12 * line, 0.12, 1)
    skin.bump -= 0.004 * line


def corrosion(skin: Skin, dents: list[Dent], seed: int) -> None:
    """Dark floors and powdery white-grey product in and around pits."""
    s, o = skin.s, skin.o
    for dent in dents:
        if dent.kind != "pit":
            continue
        reach = max(dent.semi_axes) * 3.2
        rows, columns = _window(skin, dent.at, reach)
        ss, oo = s[rows, columns], o[rows, columns]
        if ss.size == 0:
            continue
        part = Skin(
            ss,
            oo,
            skin.colour[rows, columns],
            skin.metallic[rows, columns],
            skin.roughness[rows, columns],
            skin.bump[rows, columns],
        )
        rho = dent.rho(ss, oo).astype(np.float32)
        grit = noise(ss, oo, (0.16, 0.16), seed + 5) * 0.6 + 0.4 * noise(ss, oo, (0.4, 0.4), seed + 6)
        blotch = clouds(ss, oo, 2.6, seed + dent.seed, 4)
        stain = step(-rho + 0.9 * blotch, -2.4, -0.9) * (0.25 + 0.5 * dent.product)
        part.darken(1 - 0.35 * stain)
        part.roughness[:] = np.clip(part.roughness + 0.25 * stain, 0, 0.9)
        inside = step(-rho, -1.015, -0.985)
        part.cover(inside * 0.75, tint((0.26, 0.25, 0.235), 0.9 + 0.40 * grit), 0.4, 0.62)
        powder = step(
            dent.product * 1.5 - np.abs(rho - 0.75) * 0.9 + 0.75 * blotch + 0.2 * grit, 0.45, 0.95
        )
        part.cover(powder * 0.92, tint(POWDER, 0.92 + 0.16 * grit), 0.0, 0.95)
        part.bump += (0.010 * inside * step(-rho, -0.98, -0.85) + 0.022 * powder) * (0.6 + 0.7 * grit)


def _window(skin: Skin, at: tuple[float, float], reach: float) -> tuple[slice, slice]:
    columns = np.flatnonzero(np.abs(skin.s[0] - at[0]) < reach)
    rows = np.flatnonzero(np.abs(skin.o[:, 0] - at[1]) < reach)
    if not len(columns) or not len(rows):
        return slice(0, 0), slice(0, 0)
    return slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)


def around_rivets(skin: Skin, rivets: list[Rivet], seed: int) -> None:
    """Dirt rings round every head, worn tops, and the hairline gap of flush heads."""
    for k, rivet in enumerate(rivets):
        rows, columns = _window(skin, rivet.at, rivet.head_diameter * 1.6)
        ss, oo = skin.s[rows, columns], skin.o[rows, columns]
        if ss.size == 0:
            continue
        distance = np.hypot(ss - rivet.at[0], oo - rivet.at[1]) - rivet.head_diameter / 2
        ragged = clouds(ss, oo, 1.8, seed + 3, 4)
        part = Skin(
            ss,
            oo,
            skin.colour[rows, columns],
            skin.metallic[rows, columns],
            skin.roughness[rows, columns],
            skin.bump[rows, columns],
        )
        if rivet.flush:
            part.cover(step(-distance, -0.02, 0.1), tint(METAL, 0.80 + 0.05 * ragged), 1.0, 0.42)
            part.darken(1 - 0.72 * step(-np.abs(distance), -0.13, -0.03))
            part.darken(1 - 0.22 * step(-distance + 0.6 * ragged, -1.2, 0.2) * (distance > 0))
            part.bump -= 0.02 * step(-np.abs(distance), -0.16, -0.02)
        else:
            if (k * 7 + seed) % 3 == 0:
                worn = step(-distance + 0.5 * ragged, 0.9, 1.2)
                part.cover(worn, tint(METAL, 0.8 + 0.1 * ragged), 1.0, 0.4)
            part.darken(1 - 0.6 * step(-np.abs(distance - 0.1) + 0.3 * ragged, -0.55, 0.1))


def dirt(skin: Skin, seed: int, amount: float, streak_angle_deg: float = 90.0) -> None:
    """Grease film, streaks, specks and a few fingermarks."""
    s, o = skin.s, skin.o
    film = step(clouds(s, o, 55.0, seed, 5), -0.1, 0.7) * amount
    streak = (
        step(
            noise(s, o, (60.0, 2.4), seed + 1, streak_angle_deg) + 0.4 * clouds(s, o, 12.0, seed + 2),
            0.35,
            1.0,
        )
        * amount
    )
    skin.colour *= 1 - (0.34 * film + 0.36 * streak)[..., None] * np.array([0.85, 0.95, 1.15], np.float32)
    crowd = step(clouds(s, o, 40.0, seed + 4, 3), -0.1, 0.5)
    speck = step(clouds(s, o, 0.9, seed + 3, 3) + 0.12 * crowd, 0.70, 0.80) * amount
    skin.cover(speck * 0.8, (0.05, 0.045, 0.04), 0.0, 0.8)
    skin.roughness[:] = np.clip(skin.roughness + 0.14 * film, 0.15, 0.95)


def fingerprint(skin: Skin, at: tuple[float, float], angle_deg: float) -> None:
    """A greasy fingermark: fine whorl lines that dull the metal."""
    rows, columns = _window(skin, at, 13.0)
    ss, oo = skin.s[rows, columns], skin.o[rows, columns]
    if ss.size == 0:
        return
    c, w = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    u, v = c * (ss - at[0]) + w * (oo - at[1]), -w * (ss - at[0]) + c * (oo - at[1])
    body = step(-np.hypot(u / 9.5, v / 6.5), -1.0, -0.7)
    warp = 1.4 * clouds(ss, oo, 7.0, 77, 3)
    ridges = 0.5 + 0.5 * np.sin(2 * np.pi * (np.hypot(u * 0.8, v * 1.25 + 1.5) + warp) / 0.55)
    mark = (body * (0.3 + 0.7 * ridges) * (0.55 + 0.45 * clouds(ss, oo, 5.0, 78))).astype(np.float32)
    skin.roughness[rows, columns] = np.clip(skin.roughness[rows, columns] + 0.20 * mark, 0, 0.9)
    skin.colour[rows, columns] *= 1 - 0.22 * mark[..., None]


def stamp(
    skin: Skin,
    text: str,
    at: tuple[float, float],
    height_mm: float,
    mirrored: bool,
    colour: tuple[float, float, float],
    angle_deg: float = 0.0,
) -> None:
    """Hand-inked lettering, readable from the side the picture is taken from."""
    factor = 40.0 / height_mm
    (width, tall), base = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, 1.8, 5)
    plate = np.zeros((tall + base + 20, width + 20), np.uint8)
    cv2.putText(plate, text, (10, tall + 8), cv2.FONT_HERSHEY_SIMPLEX, 1.8, 255, 5, cv2.LINE_AA)
    x, y = (skin.s - at[0]) * (-1 if mirrored else 1), skin.o - at[1]
    c, w = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    u, v = (c * x + w * y) * factor, tall + 8 - (-w * x + c * y) * factor
    ink = (
        cv2.remap(
            plate, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderValue=0
        ).astype(np.float32)
        / 255
    )
    ink *= 0.65 + 0.35 * step(clouds(skin.s, skin.o, 1.5, 501), -0.5, 0.2)
    skin.cover(ink * 0.85, colour, 0.0, 0.6)
