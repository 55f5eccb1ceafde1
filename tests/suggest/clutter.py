"""More of what a picture of old metal shows, drawn on `tests.suggest.scenes.Scene`: training pictures only.

Raised heads with cast shadows, painted digits, seams, bare patches with and without a pit, and pits as dark
ragged blobs with a bright or dark rim. Everything follows from the seed.
"""

from __future__ import annotations

import math

import numpy as np
from skimage.measure import find_contours

from corrosion.opencv import cv2
from tests.suggest.scenes import PRODUCT, Plane, Scene, _step

DIGITS = ("7", "3B", "208", "46/9", "A4", "R-5", "LH", "9", "60", "8", "Q", "15-62", "0")


def raised_head(scene: Scene, at: tuple[float, float], radius: float, turn: float, long: float) -> None:
    """Set a domed head that casts a shadow `long` radii away from the lamp, with dirt round its foot."""
    x, y = scene.x - at[0], scene.y - at[1]
    along = x * math.cos(turn) + y * math.sin(turn)
    across = y * math.cos(turn) - x * math.sin(turn)
    r = np.hypot(x, y)
    # The shadow is the disc swept along: a stadium with a soft far end.
    far = np.hypot(np.maximum(np.abs(along - long * radius / 2) - long * radius / 2, 0.0), across)
    shadow = _step(1.0 - far / radius, float(scene.rng.uniform(1.0, 4.0)) / radius)
    outside = _step(r / radius - 1.0, 1.0 / radius)
    scene.colour *= 1 - (float(scene.rng.uniform(0.3, 0.85)) * shadow * outside)[..., None]
    ring = np.exp(-(((r - radius) / float(scene.rng.uniform(0.8, 2.5))) ** 2))
    scene.colour *= 1 - float(scene.rng.uniform(0.0, 0.6)) * ring[..., None]
    dome = np.clip(1 - (r / radius) ** 2, 0, None)
    scene.relief = scene.relief + radius * float(scene.rng.uniform(0.2, 0.5)) * np.sqrt(dome)
    if scene.rng.random() < 0.3:
        scene._bare(_step(0.6 - r / radius + 0.08 * scene.clouds(radius / 3), 1.5 / radius), 1.3)
    middle = (at[0] + 0.5 * long * radius * math.cos(turn), at[1] + 0.5 * long * radius * math.sin(turn))
    scene.rivets.append((*middle, radius * (1 + long / 2)))


def painted_digits(scene: Scene, count: int) -> None:
    """Paint numbers of any size, hue and turn, worn here and there; nothing else lies under them."""
    size = (scene.width, scene.height)
    for _ in range(count):
        layer = np.zeros((scene.height, scene.width), np.uint8)
        tall = math.exp(scene.rng.uniform(math.log(0.5), math.log(4.0)))
        word = str(scene.rng.choice(DIGITS))
        face = (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX)[int(scene.rng.integers(2))]
        thick = max(1, round(tall * float(scene.rng.uniform(1.0, 4.0))))
        (wide, high), _ = cv2.getTextSize(word, face, tall, thick)
        at = scene.rng.uniform(0.05, 0.9, 2) * size
        place = (int(at[0] - wide / 2), int(at[1] + high / 2))
        cv2.putText(layer, word, place, face, tall, 255, thick, cv2.LINE_AA)
        turn = cv2.getRotationMatrix2D((float(at[0]), float(at[1])), float(scene.rng.normal(0, 12)), 1.0)
        cover: Plane = cv2.warpAffine(layer, turn, size).astype(np.float64) / 255
        cover = cover * _step(0.9 - scene.clouds(12) * float(scene.rng.uniform(0, 0.8)), 0.4)
        ink = float(scene.rng.choice([0.02, 0.08, 0.3, 0.75])) * scene.rng.uniform(0.6, 1.2, 3)
        scene.colour = scene.colour * (1 - cover[..., None]) + ink * cover[..., None]
        reach = 0.45 * max(wide, high)
        scene.rivets += [
            (float(at[0]) + k * reach / 2, float(at[1]), 0.6 * high + 4) for k in (-2, -1, 0, 1, 2)
        ]


def seam(scene: Scene) -> None:
    """Lay an edge of sheet across: a dark line, a lip that catches light, a soft shadow beyond."""
    turn = float(scene.rng.normal(0, 0.15)) + (math.pi / 2 if scene.rng.random() < 0.4 else 0.0)
    at = scene.rng.uniform(0.15, 0.85, 2) * [scene.width, scene.height]
    d = (scene.y - at[1]) * math.cos(turn) - (scene.x - at[0]) * math.sin(turn)
    shade = 1 - float(scene.rng.uniform(0.3, 0.9)) * np.exp(
        -((d / float(scene.rng.uniform(0.7, 2.5))) ** 2)
    )
    shade *= 1 + float(scene.rng.uniform(0, 0.5)) * np.exp(-(((d + 3) / 1.2) ** 2))
    shade *= 1 - float(scene.rng.uniform(0, 0.5)) * np.exp(-np.clip(d, 0, None) / 9.0) * (d > 0)
    shade *= 1 + float(scene.rng.normal(0, 0.12)) * (d > 0)
    scene.colour *= shade[..., None]
    for t in np.arange(-scene.width, scene.width, 14.0):
        scene.rivets.append((at[0] + t * math.cos(turn), at[1] + t * math.sin(turn), 6.0))


def patch(scene: Scene, at: tuple[float, float], radius: float) -> None:
    """Scrub the coat off in a place: flat metal of any shade, edge hard or soft."""
    reach = np.hypot(scene.x - at[0], scene.y - at[1]) / radius
    reach = reach + float(scene.rng.uniform(0.1, 0.5)) * scene.clouds(
        radius * float(scene.rng.uniform(0.4, 1.2)) + 1
    )
    soft = float(scene.rng.uniform(1.2, 5.0)) / radius
    scene._bare(_step(1.0 - reach, soft), float(scene.rng.uniform(0.5, 1.6)))


def blob(scene: Scene, at: tuple[float, float], radius: float) -> None:
    """Lay down a ragged pit by tone: dark or dull floor, grainy, with a bright or dark rim or none."""
    lean, stretch = float(scene.rng.uniform(0, math.pi)), math.sqrt(float(scene.rng.uniform(1.0, 1.8)))
    x, y = scene.x - at[0], scene.y - at[1]
    u = (x * math.cos(lean) + y * math.sin(lean)) / stretch
    v = (y * math.cos(lean) - x * math.sin(lean)) * stretch
    ragged = float(scene.rng.uniform(0.04, 0.22)) * scene.clouds(
        radius * float(scene.rng.uniform(0.5, 1.2)) + 1
    )
    level = 1.0 - np.hypot(u, v) / radius + ragged
    level = np.where(np.hypot(x, y) < 2.2 * radius, level, -1.0)
    lines = [c for c in find_contours(level, 0.0) if len(c) > 12]  # type: ignore[no-untyped-call]
    if not lines:
        return
    line = max(lines, key=lambda c: float(np.ptp(c[:, 0]) * np.ptp(c[:, 1])))[:-1, ::-1]
    drawn = np.zeros(level.shape, np.uint8)
    cv2.fillPoly(drawn, [np.rint(line * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    cover = cv2.GaussianBlur(drawn / 255.0, (0, 0), float(scene.rng.uniform(0.3, 1.2)))[..., None]
    grit = scene.clouds(max(1.2, radius / float(scene.rng.uniform(3, 8))))[..., None]
    here = scene.colour[drawn > 128].mean(axis=0)
    tone = float(scene.rng.uniform(0.2, 0.75))
    floor = here * tone * (1 + float(scene.rng.uniform(0.05, 0.45)) * grit)
    if scene.rng.random() < 0.35:
        salt = np.clip(3 * (scene.clouds(max(1.2, radius / 6)) - 1.2 + scene.rng.uniform(0, 1)), 0, 1)[
            ..., None
        ]
        floor = floor * (1 - salt) + PRODUCT * salt
    scene.colour = scene.colour * (1 - cover) + np.clip(floor, 0.01, 1) * cover
    scene.relief = scene.relief * (1 - cover[..., 0])
    rim = np.exp(-((level * radius / float(scene.rng.uniform(0.8, 2.5))) ** 2))[..., None]
    scene.colour *= 1 + float(scene.rng.choice([0.0, 0.5, 0.9, -0.5])) * rim * (drawn[..., None] < 255)
    scene.pits.append(np.asarray(line, np.float64))


def workshop(seed: int, *, pits: int = 5, width: int = 640, height: int = 480) -> Scene:
    """Draw a picture with heads, shadows, digits, seams, patches, smudges, and pits of three kinds."""
    scene = Scene(width, height, seed)
    rng = scene.rng
    ground = int(rng.integers(4))
    if ground in {1, 2}:
        scene.prime()
        scene.colour = scene.colour * rng.uniform(0.6, 1.8, 3)
    elif ground == 3:
        tone = float(rng.uniform(0.25, 0.6))
        scene.colour = tone * (
            1 + float(rng.uniform(0.02, 0.2)) * scene.clouds(float(rng.uniform(1, 9)))[..., None]
        )
        scene.colour = np.clip(scene.colour, 0.02, 1) * np.ones(3)
    if rng.random() < 0.35:
        seam(scene)
    _heads(scene)
    scene.specks(int(rng.integers(0, 60)), 9)
    if rng.random() < 0.5:
        painted_digits(scene, int(rng.integers(1, 4)))
    for _ in range(int(rng.integers(0, 5))):
        at = rng.uniform(0.05, 0.95, 2) * [width, height]
        patch(scene, (float(at[0]), float(at[1])), float(rng.uniform(5, 40)))
    for _ in range(int(rng.integers(0, 6))):
        at = rng.uniform(0.05, 0.95, 2) * [width, height]
        scene.smudge((float(at[0]), float(at[1])), float(rng.uniform(6, 50)), float(rng.uniform(0.2, 0.7)))
    _place(scene, pits, patched=ground in {1, 2})
    for _ in range(int(rng.integers(0, 8))):
        a = rng.uniform(0, 1, 4) * [width, height, width, height]
        scene.scratch((a[0], a[1]), (a[2], a[3]), float(rng.uniform(-0.5, 0.8)))
    return scene


def _heads(scene: Scene) -> None:
    rng = scene.rng
    kind = rng.choice(["raised", "flush", "screw", "none"], p=[0.5, 0.15, 0.2, 0.15])
    if kind == "none":
        return
    pitch, radius = float(rng.uniform(70, 180)), float(rng.uniform(7, 34))
    row, turn, long = (
        float(rng.uniform(0.08, 0.92)) * scene.height,
        float(rng.uniform(0, 6.3)),
        float(rng.uniform(0, 3)),
    )
    start = float(rng.uniform(0, pitch))
    for k in range(int(scene.width / max(pitch, 2.5 * radius))):
        at = (start + max(pitch, 2.5 * radius) * k, row)
        if kind == "raised":
            raised_head(scene, at, radius, turn, long)
        elif kind == "screw":
            scene.screw(at, radius)
        else:
            scene.rivet(at, radius, flush=True)


def _place(scene: Scene, pits: int, *, patched: bool) -> None:
    rng = scene.rng
    taken = [(x, y, r * 1.25) for x, y, r in scene.rivets]
    for _ in range(60 * pits):
        if len(scene.pits) >= pits:
            return
        r = math.exp(rng.uniform(math.log(7), math.log(45)))
        at = rng.uniform(1.8 * r, [scene.width - 1.8 * r, scene.height - 1.8 * r])
        if any(math.hypot(at[0] - x, at[1] - y) < q + 1.9 * r for x, y, q in taken):
            continue
        taken.append((float(at[0]), float(at[1]), 1.9 * r))
        if rng.random() < 0.5:
            if patched and rng.random() < 0.7:
                patch(scene, (float(at[0]), float(at[1])), r * float(rng.uniform(1.4, 2.4)))
            blob(scene, (float(at[0]), float(at[1])), r)
        else:
            scene.pit((float(at[0]), float(at[1])), r, product=float(rng.uniform(0, 0.6)),
                      stripped=patched and bool(rng.random() < 0.7))  # fmt: skip
