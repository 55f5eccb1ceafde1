"""What lies about on the pictures of `tests.suggest.collage`, and how such a picture is put together."""

from __future__ import annotations

import math

import numpy as np

from corrosion.opencv import cv2
from tests.suggest.collage import Collage, Outline, Plane, sigmoid, signed_distance

SMALLEST, LARGEST = 6.0, 60.0
"""Mean radius of a pit, px."""
WORDS = (
    "TOP", "7", "R12", "LEFT", "48-3", "mm", "0", "B",
    "CHECK 5", "C-90", "UP", "3", "fuel", "88", "OK", "Q6",
)  # fmt: skip
FACES = (
    cv2.FONT_HERSHEY_PLAIN,
    cv2.FONT_HERSHEY_SIMPLEX,
    cv2.FONT_HERSHEY_DUPLEX,
    cv2.FONT_HERSHEY_TRIPLEX,
)


def fastener(one: Collage, at: tuple[float, float], radius: float, recipe: np.random.Generator) -> None:
    """Draw a head: a row of them shares one recipe."""
    here, x, y = one.window(at, 2.2 * radius + 4)
    r = np.hypot(x, y)
    soft = float(recipe.uniform(0.6, 1.8))
    disc = sigmoid(4 * (radius - r) / soft)
    kind = recipe.random()
    along = (x * math.cos(one.lamp) + y * math.sin(one.lamp)) / radius
    if kind < 0.75:
        under = one.tones[here].mean(axis=(0, 1))
        shade = float(recipe.choice([1.0, recipe.uniform(0.55, 1.4)]))
        face = under * shade * (1 + 0.03 * one.grain(r.shape, 0.8)[..., None])
        one.lay(here, face, disc * float(recipe.uniform(0.5, 1)))
    if kind < 0.5:
        dome = float(recipe.uniform(0.1, 0.6)) * along
        dome = dome * np.clip(r / radius, 0, 1) ** float(recipe.uniform(0, 3))
        one.tones[here] *= 1 + (disc * dome)[..., None]
        far = np.hypot(x - 0.4 * radius * math.cos(one.lamp), y - 0.4 * radius * math.sin(one.lamp))
        spark = np.exp(-((far / (radius * float(recipe.uniform(0.1, 0.4)))) ** 2))
        one.tones[here] += (float(recipe.uniform(0, 0.6)) * spark * disc)[..., None]
    if recipe.random() < 0.5:
        off = float(recipe.uniform(0.1, 1.0)) * radius
        far = np.hypot(x + off * math.cos(one.lamp), y + off * math.sin(one.lamp))
        shadow = sigmoid((radius - far) * 4 / float(recipe.uniform(1, 0.5 * radius + 1)))
        one.tones[here] *= 1 - (float(recipe.uniform(0.2, 0.8)) * shadow * (1 - disc))[..., None]
    if recipe.random() < 0.75:
        ring = np.exp(-(((r - radius) / float(recipe.uniform(0.6, 2.0))) ** 2))
        one.tones[here] *= 1 + (float(recipe.uniform(-0.8, 0.3)) * ring)[..., None]
    if recipe.random() < 0.3:
        inner = radius * float(recipe.uniform(0.4, 0.8))
        ring = np.exp(-(((r - inner) / float(recipe.uniform(0.6, 1.5))) ** 2))
        one.tones[here] *= 1 + (float(recipe.uniform(-0.6, 0.3)) * ring)[..., None]
    if recipe.random() < 0.35:
        turn, long = one.uniform(0, 3.2), float(recipe.uniform(0.4, 0.9))
        wide, ways = float(recipe.uniform(0.08, 0.2)), (turn, turn + math.pi / 2)
        a, b = (np.abs(x * math.cos(q) + y * math.sin(q)) / radius for q in ways)
        slot = (a < wide) & (b < long)
        if recipe.random() < 0.5:
            slot |= (b < wide) & (a < long)
        dark = one.tones[here] * float(recipe.uniform(0.15, 0.6))
        slots = cv2.GaussianBlur(slot.astype(np.float64), (0, 0), 0.7)
        one.lay(here, dark, np.asarray(slots, np.float64))


def stain(one: Collage) -> None:
    """Wipe a stain, dark or bright, its edge soft against its size; or a run of one."""
    radius = one.uniform(6, 90)
    at = one.uniform(0, one.width), one.uniform(0, one.height)
    here, x, y = one.window(at, 2.6 * radius)
    lean, long = one.uniform(0, 3.2), one.uniform(1, 2.5)
    u, v = x * math.cos(lean) + y * math.sin(lean), y * math.cos(lean) - x * math.sin(lean)
    r = np.hypot(u / long, v) / radius * 1.4 + one.uniform(0, 0.2) * one.grain(x.shape, radius / 3)
    cover = np.exp(-(np.clip(r, 0, None) ** one.uniform(1.5, 2.6)))
    hue = one.uniform(0.1, 0.9) * one.rng.uniform(0.7, 1, 3) if one.maybe(0.8) else np.full(3, 0.95)
    one.lay(here, hue, cover * one.uniform(0.1, 0.6))


def lines(one: Collage) -> None:
    """Draw scratches, straight or bent, bright or dark, and now and then a seam right across."""
    for _ in range(int(one.rng.integers(0, 12))):
        count = int(one.rng.integers(2, 5))
        points = one.rng.uniform(0, [one.width, one.height]) + np.cumsum(
            one.rng.normal(0, one.uniform(10, 90), (count, 2)), axis=0)  # fmt: skip
        _stroke(one, points, int(one.rng.integers(1, 4)), one.uniform(-0.6, 0.7))
    if one.maybe(0.25):
        y, slope = one.uniform(0.1, 0.9) * one.height, one.uniform(-60, 60)
        ends = np.array([[-5, y], [one.width + 5, y + slope]])
        _stroke(one, ends, int(one.rng.integers(1, 6)), one.uniform(-0.8, -0.2))


def _stroke(one: Collage, points: Outline, thick: int, bright: float) -> None:
    drawn = np.zeros((one.height, one.width), np.uint8)
    cv2.polylines(drawn, [np.rint(points * 16).astype(np.int32)], False, 255, thick, cv2.LINE_AA, 4)
    one.tones *= 1 + bright * (drawn / 255.0)[..., None]


def word(one: Collage) -> None:
    """Paint or print a word of any size, and keep pits off it."""
    drawn = np.zeros((one.height, one.width), np.uint8)
    tall = math.exp(one.uniform(math.log(0.5), math.log(4)))
    face, text = FACES[int(one.rng.integers(len(FACES)))], str(one.rng.choice(WORDS))
    thick = max(1, round(tall * one.uniform(0.8, 4)))
    (wide, high), _ = cv2.getTextSize(text, face, tall, thick)
    at = one.spot(wide / 2, 1.0)
    if at is None:
        return
    place = (int(at[0] - wide / 2), int(at[1] + high / 2))
    cv2.putText(drawn, text, place, face, tall, 255, thick, cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D(at, one.uniform(-180, 180), 1.0)
    cover = cv2.warpAffine(drawn, turn, (one.width, one.height)).astype(np.float64) / 255.0
    worn = np.clip(1.2 - one.uniform(0, 0.9) * one.grain(cover.shape, 6), 0, 1)
    ink = one.rng.uniform(0, 0.9, 3)
    one.lay((slice(None), slice(None)), ink, cover * worn * one.uniform(0.5, 1))


def paper(one: Collage) -> None:
    """Lay a sheet, tape or coin on the metal: checks, marks, ticks or a plain face."""
    half = one.uniform(14, 70)
    at = one.spot(half * 1.5, 1.0)
    if at is None:
        return
    here, x, y = one.window(at, half * 1.5)
    lean = one.uniform(0, 3.2)
    u, v = x * math.cos(lean) + y * math.sin(lean), y * math.cos(lean) - x * math.sin(lean)
    low = half * one.uniform(0.3, 1)
    kind = int(one.rng.integers(4))
    inside = np.hypot(u, v) - half if kind == 3 else np.maximum(np.abs(u) - half, np.abs(v) - low)
    face: Plane = np.full(x.shape, one.uniform(0.6, 1.0))
    cell = half / one.uniform(1.5, 6)
    if kind == 0:
        face = np.where((np.floor(u / cell) + np.floor(v / cell)) % 2 == 0, face, 0.08)
    elif kind == 1:
        bits = one.rng.integers(0, 2, (9, 9)).astype(np.float64)
        row, column = ((np.clip(p / cell, -4, 4) + 4).astype(int) for p in (u, v))
        mark = bits[row, column]
        face = np.where(np.maximum(np.abs(u), np.abs(v)) < 0.8 * low, 0.1 + 0.8 * mark, face)
    elif kind == 2:
        face = np.where((u % cell < 0.2 * cell) & (v < low * one.uniform(-0.8, 0)), 0.1, face)
    else:
        face = face * (0.8 + 0.1 * one.grain(x.shape, half / 8) + 0.15 * u / half)
    shadow = one.uniform(0, 0.6) * np.exp(-np.clip(inside, 0, None) / one.uniform(1, 6))
    one.tones[here] *= 1 - shadow[..., None]
    one.lay(here, face[..., None] * one.rng.uniform(0.85, 1, 3), np.clip(0.5 - inside, 0, 1))


def chips(one: Collage) -> None:
    """Scatter specks and flat chips of one tone each: they have no floor of their own."""
    for _ in range(int(one.rng.integers(0, 40))):
        radius = math.exp(one.uniform(math.log(0.8), math.log(5)))
        at = one.uniform(0, one.width), one.uniform(0, one.height)
        here, x, y = one.window(at, radius * 2 + 2)
        cover = np.clip(0.5 + signed_distance(one.rim(radius, 24), x, y), 0, 1)
        tone = one.tones[here].mean(axis=(0, 1)) * one.uniform(0.3, 1.8)
        one.lay(here, tone, cover * one.uniform(0.4, 1))
    for _ in range(int(one.rng.integers(0, 6)) * one.maybe(0.4)):
        radius = one.uniform(6, 40)
        free = one.spot(radius, 1.2)
        if free is not None:
            here, x, y = one.window(free, radius * 2 + 2)
            cover = np.clip(0.5 + signed_distance(one.rim(radius), x, y) / one.uniform(0.8, 2), 0, 1)
            bright = one.tones[here].mean(axis=(0, 1)) * 0.5 + 0.5 * one.uniform(0.5, 1.0)
            grain = 1 + one.uniform(0.01, 0.06) * _streaks(one, x.shape)
            one.lay(here, bright * grain[..., None], cover)


def _streaks(one: Collage, shape: tuple[int, int]) -> Plane:
    plane = one.grain(shape, 0.8, 12.0)
    return plane if one.maybe(0.5) else one.grain((shape[1], shape[0]), 0.8, 12.0).T


def collage(seed: int, *, pits: int = 5, width: int = 640, height: int = 480) -> Collage:
    """Draw a picture after a recipe of its own."""
    one = Collage(seed, width, height)
    rng = one.rng
    for _ in range(int(rng.integers(0, 3)) * one.maybe(0.4)):
        paper(one)
    for _ in range(int(rng.integers(0, 4)) * one.maybe(0.4)):
        word(one)
    _rows(one)
    before = one.maybe(0.5)
    if before:
        _spoil(one)
    for _ in range(pits):
        largest = LARGEST if one.maybe(0.5) else LARGEST / 2
        radius = math.exp(one.uniform(math.log(SMALLEST), math.log(largest)))
        at = one.spot(radius, one.uniform(1.2, 2.0))
        if at is not None:
            one.pit(at, radius)
    if not before:
        _spoil(one)
    return one


def _rows(one: Collage) -> None:
    for _ in range(int(one.rng.integers(0, 3))):
        radius, recipe = one.uniform(5, 36), int(one.rng.integers(1 << 30))
        pitch, y = radius * one.uniform(2.6, 7), one.uniform(0, one.height)
        for k in range(int(one.width / pitch) + 1):
            at = (k + 0.3) * pitch + one.uniform(-1, 1), y + one.uniform(-1, 1)
            if all(math.hypot(at[0] - a, at[1] - b) > 1.2 * radius + r for a, b, r in one.taken):
                fastener(one, at, radius, np.random.default_rng(recipe))
                one.taken.append((*at, 1.2 * radius))


def _spoil(one: Collage) -> None:
    chips(one)
    for _ in range(int(one.rng.integers(0, 7))):
        stain(one)
    lines(one)
