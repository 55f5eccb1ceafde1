"""Render random pictures of pitted and clean metal, with their truth, to make and to judge suggestions with.

Usage: ``python practice.py OUT --seeds 1 30 [--spp 16]``. Needs what `make.py` needs. Nothing of the sample
pictures is shared but the shapes of `features` and the coats of `finish`: hues, lamps, cameras, patches round
pits, lettering, fasteners, seams and clutter are drawn anew from each seed. Every seventh picture has no pits.
Writes ``OUT/SEED.png`` (RGB) and ``OUT/SEED.json`` (outlines of the pits, and of what is hidden by a reference
or cut by the border, px). OUT belongs outside the repository: the pictures are not committed.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import finish
import numpy as np
import pictures
import references as ref
import scene as rendering
from camera import Array, Camera
from develop import develop
from features import Dent, Rivet
from finish import Skin
from noise import Image, clouds, noise, step
from pictures import Beam, Shot
from scenario import Raised, Side
from shapely.geometry import Polygon, box
from truth import _covers, _on_surface

SIZE = (960, 720)
SURFACES = ("bare", "primer", "paint", "dull")


@dataclass(frozen=True)
class Look:
    """What the paint of one picture is to be; everything about it follows from `seed`."""

    surface: str
    seed: int
    coat: tuple[float, float, float]
    words: tuple[tuple[str, tuple[float, float], float, float, tuple[float, float, float]], ...]
    smudges: tuple[tuple[float, float, float, float], ...]
    chips: tuple[tuple[float, float, float], ...]
    screws: bool


def _hue(draw: np.random.Generator, surface: str) -> tuple[float, float, float]:
    if surface == "primer":
        choice = ((0.225, 0.235, 0.105), (0.36, 0.26, 0.06), (0.12, 0.17, 0.13), (0.20, 0.09, 0.06))
        base = np.array(choice[draw.integers(len(choice))])
    else:
        base = np.array((0.74, 0.73, 0.68)) if draw.random() < 0.6 else draw.uniform(0.08, 0.6, 3)
    return tuple(float(v) for v in np.clip(base * draw.uniform(0.75, 1.25, 3), 0.03, 0.9))


def _pits(draw: np.random.Generator, half: Array, taken: list[tuple[float, float, float]], px: float) -> list[Dent]:
    made: list[Dent] = []
    wanted = int(draw.integers(5, 10))
    for _ in range(400):
        if len(made) == wanted:
            break
        across = math.exp(draw.uniform(math.log(14), math.log(110))) * px
        stretch = math.sqrt(draw.uniform(1.0, 1.9))
        reach = across / 2 * stretch
        at = draw.uniform(-half + 1.2 * reach, half - 1.2 * reach)
        near = 0.55 if draw.random() < 0.25 else 1.1
        if any(math.hypot(at[0] - x, at[1] - y) < r + reach * (1 + near) for x, y, r in taken):
            continue
        taken.append((float(at[0]), float(at[1]), reach * (1 + near)))
        depth = across / 2 * math.exp(draw.uniform(math.log(0.04), math.log(0.35)))
        made.append(
            Dent(
                f"P{len(made)}", "pit", (float(at[0]), float(at[1])),
                (across / 2 * stretch, across / 2 / stretch), depth,
                float(draw.uniform(0, 180)), float(draw.uniform(0.04, 0.22)), float(draw.uniform(2.5, 7.0)),
                float(draw.uniform(0.1, 0.45)), float(np.clip(draw.normal(0.35, 0.3), 0, 0.85)),
                int(draw.integers(1, 1 << 30)),
            )
        )  # fmt: skip
    return made


def _fasteners(draw: np.random.Generator, half: Array) -> tuple[list[Rivet], list[Raised], bool]:
    kind = draw.choice(["raised", "flush", "screw", "none"], p=[0.42, 0.28, 0.18, 0.12])
    strips: list[Raised] = []
    base = 0.0
    offset = float(draw.uniform(-0.8, 0.8) * half[1])
    if draw.random() < 0.35:
        thick = float(draw.uniform(0.6, 2.0))
        wide = float(draw.uniform(8, 20))
        strips.append(Raised((-3 * half[0], offset - wide / 2), (3 * half[0], offset + wide / 2), thick))
        base = thick if kind == "raised" else 0.0
    if kind == "none":
        return [], strips, False
    if kind != "raised" and strips:
        offset += float(strips[0].high[1] - offset) + 6.0
    shank, pitch = float(draw.uniform(1.6, 4.2)), float(draw.uniform(11, 26))
    rows = [offset] if draw.random() < 0.6 else [offset, offset + pitch]
    start = float(draw.uniform(-pitch, 0)) - 2 * half[0]
    made = [
        Rivet(f"R{k}-{j}", (start + pitch * k, row), shank, kind != "raised", base if j == 0 else 0.0)
        for j, row in enumerate(rows)
        for k in range(int(4 * half[0] / pitch))
    ]
    return made, strips, kind == "screw"


def _random_look(draw: np.random.Generator, seed: int, half: Array, free: list[tuple[float, float, float]]) -> Look:
    surface = SURFACES[int(draw.choice(4, p=[0.3, 0.38, 0.2, 0.12]))]

    def spot(radius: float) -> tuple[float, float] | None:
        for _ in range(60):
            at = draw.uniform(-half, half)
            if all(math.hypot(at[0] - x, at[1] - y) > r + radius for x, y, r in free):
                return float(at[0]), float(at[1])
        return None

    words, chips, smudges = [], [], []
    alphabet = ("7", "3B", "208", "46/9", "A", "R-5", "NO STEP", "9", "60", "8", "Q4", "15/62", "0")
    for _ in range(int(draw.integers(0, 5))):
        tall = math.exp(draw.uniform(math.log(2.0), math.log(16.0)))
        at = spot(0.9 * tall)
        if at is not None:
            ink = draw.choice([0.02, 0.06, 0.7, 0.85]) * draw.uniform(0.6, 1.1, 3)
            turn = float(draw.normal(0, 8) if draw.random() < 0.7 else draw.uniform(0, 360))
            words.append((str(draw.choice(alphabet)), at, tall, turn, tuple(float(v) for v in np.clip(ink, 0.01, 0.9))))
    for _ in range(int(draw.integers(0, 9))):
        size = math.exp(draw.uniform(math.log(0.5), math.log(6.0)))
        at = spot(size)
        if at is not None:
            chips.append((*at, size))
    for _ in range(int(draw.integers(0, 7))):
        size = math.exp(draw.uniform(math.log(1.0), math.log(12.0)))
        at = spot(0.3 * size)
        if at is not None:
            smudges.append((*at, size, float(draw.uniform(0.15, 0.75))))
    return Look(surface, seed, _hue(draw, surface), tuple(words), tuple(smudges), tuple(chips), False)


def random_shot(seed: int) -> tuple[Shot, list[ref.Reference], Look]:
    """Draw the whole picture: structure, findings, clutter, lamps and camera."""
    draw = np.random.default_rng([seed, 77_001])
    field = float(draw.uniform(42, 105))
    half = np.array([field / 2, field * SIZE[1] / SIZE[0] / 2])
    px = field / SIZE[0]
    rivets, strips, screws = _fasteners(draw, half)
    taken = [(*r.at, 1.35 * r.head_diameter / 2 + 0.3) for r in rivets]
    references: list[ref.Reference] = []
    if draw.random() < 0.22:
        builder = (ref.rule, ref.card)[int(draw.integers(2))]
        at = (float(draw.uniform(-0.4, 0.4) * half[0]), float(draw.choice([-1, 1]) * draw.uniform(0.75, 1.0) * half[1]))
        references.append(builder(at, float(draw.normal(0, 3))))
    allowed = half.copy()
    pits: list[Dent] = []
    blocked = list(taken)
    for s in strips:
        for x in np.arange(-half[0], half[0], 2.0):
            for y in (s.low[1], s.high[1], (s.low[1] + s.high[1]) / 2):
                blocked.append((float(x), float(y), 2.5 + s.thickness))
    if seed % 7:
        pits = _pits(draw, allowed, blocked, px)
    look = _random_look(draw, seed, half, blocked)
    look = replace(look, screws=screws)
    side = Side("X", "outer", look.surface, tuple(pits), tuple(rivets), tuple(strips), (), seed)
    camera = Camera(
        SIZE, 1230.0, (0.0, 0.0), 1230.0 * px, float(draw.uniform(0, 26)), float(draw.uniform(0, 360)),
        float(draw.normal(0, 4) if draw.random() < 0.7 else draw.uniform(0, 360)),
    )  # fmt: skip
    beams = [_beam(draw, field, camera)]
    if draw.random() < 0.25:
        beams.append(_beam(draw, field, camera))
    sealant = ()
    if draw.random() < 0.2:
        y = float(draw.uniform(-0.9, 0.9) * half[1])
        if not any(abs(d.at[1] - y) < 6 + max(d.semi_axes) for d in pits):
            sealant = (((-half[0] * 0.9, y), (half[0] * 0.5, y + 0.4), float(draw.uniform(1.2, 2.6))),)
    shot = Shot(
        f"{seed:04d}", side, (0.0, 0.0), camera, tuple(beams), (), float(draw.uniform(0.12, 0.8)),
        sealant=sealant, prints=((float(draw.uniform(-1, 1) * half[0]), float(draw.uniform(-1, 1) * half[1]), 20.0),)
        if draw.random() < 0.3 else (),
    )  # fmt: skip
    return shot, references, look


def _beam(draw: np.random.Generator, field: float, camera: Camera) -> Beam:
    rise = math.radians(float(draw.choice([draw.uniform(9, 24), draw.uniform(20, 75)])))
    turn, far = float(draw.uniform(0, 2 * math.pi)), float(draw.uniform(1.4, 3.5)) * field
    aim = (float(draw.normal(0, 0.08) * field), float(draw.normal(0, 0.08) * field))
    at = (aim[0] + far * math.cos(rise) * math.cos(turn), aim[1] + far * math.cos(rise) * math.sin(turn),
          far * math.sin(rise))  # fmt: skip
    wide = math.degrees(math.atan(0.9 * field / far)) * float(draw.uniform(0.7, 1.5))
    return Beam(at, aim, float(draw.uniform(0.5, 2.2)), min(70.0, wide + 8), min(40.0, 0.3 * wide))


def paint_practice(look: Look, shot: Shot, low: Array, high: Array, texel_mm: float) -> Skin:
    """Textures over the view-frame rectangle, as `surface.paint_side` gives them."""
    columns, rows = (int(np.ceil((high[k] - low[k]) / texel_mm)) for k in (0, 1))
    x = low[0] + (np.arange(columns) + 0.5) * (high[0] - low[0]) / columns
    y = high[1] - (np.arange(rows) + 0.5) * (high[1] - low[1]) / rows
    s, o = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    skin = Skin.blank(s, o)
    draw = np.random.default_rng([look.seed, 77_002])
    finish.bare_metal(skin, look.seed * 7)
    if look.surface == "dull":
        cloud = clouds(s, o, float(draw.uniform(2, 12)), look.seed + 3, 5)
        skin.colour *= (1 + draw.uniform(0.1, 0.35) * cloud)[..., None] * float(draw.uniform(0.4, 0.8))
        skin.roughness[:] = np.clip(skin.roughness + draw.uniform(0.1, 0.3), 0, 0.9)
    if look.surface == "primer":
        finish.PRIMER = look.coat
        finish.primer(skin, look.seed + 20, float(draw.uniform(-0.1, 0.4)))
        finish.scratches(skin, look.seed + 15, int(draw.integers(2, 30)), float(draw.uniform(0.2, 0.9)))
    if look.surface == "paint":
        finish.PAINT = look.coat
        finish.paint(skin, look.seed + 40, np.ones_like(s))
        finish.scratches(skin, look.seed + 15, int(draw.integers(0, 20)), float(draw.uniform(0.0, 0.8)))
    if look.surface in {"primer", "paint"}:
        for at_x, at_y, size in look.chips:
            reach = np.hypot(s - at_x, o - at_y) / size + 0.45 * clouds(s, o, size, look.seed + int(100 * size), 4)
            skin.cover(step(-reach, -1.04, -0.96), finish.METAL, 1.0, 0.4)
            skin.bump *= 1 - step(-reach, -1.04, -0.96)
        _patches(skin, shot, draw, look.seed)
    finish.around_rivets(skin, list(shot.side.rivets), look.seed + 60)
    if look.screws:
        _slots(skin, shot, draw)
    for at_x, at_y, size, dark in look.smudges:
        far = np.hypot(s - at_x, (o - at_y) * float(draw.uniform(0.6, 1.4))) / size
        far = far * (1 + 0.25 * clouds(s, o, size, look.seed + int(37 * size), 3))
        soft = np.exp(-(far ** float(draw.uniform(1.5, 4.0)))).astype(np.float32)
        skin.colour *= 1 - dark * soft[..., None] * np.array([0.9, 1.0, 1.1], np.float32)
        skin.roughness[:] = np.clip(skin.roughness + 0.15 * dark * soft, 0.1, 0.9)
    finish.dirt(skin, look.seed + 70, float(draw.uniform(0.0, 0.8)), float(draw.uniform(0, 180)))
    _corrode(skin, list(shot.side.dents), draw, look.seed + 80)
    for at in shot.prints:
        finish.fingerprint(skin, (at[0], at[1]), at[2])
    for text, at, tall, turn, ink in look.words:
        finish.stamp(skin, text, at, tall, False, ink, turn)
    return skin


def _patches(skin: Skin, shot: Shot, draw: np.random.Generator, seed: int) -> None:
    """Coat scrubbed off round most pits, and in places where there is none, more or less widely."""
    spots = [(d.rho(skin.s, skin.o).astype(np.float32), max(d.semi_axes), d.seed % 997)
             for d in shot.side.dents if draw.random() < 0.75]  # fmt: skip
    low, high = (np.array([f(skin.s), f(skin.o)]) for f in (np.min, np.max))
    for k in range(int(draw.integers(0, 5))):
        at, size = draw.uniform(low, high), math.exp(draw.uniform(math.log(0.8), math.log(7.0)))
        spots.append(((np.hypot(skin.s - at[0], skin.o - at[1]) / size).astype(np.float32), size, k))
    for rho, size, own in spots:
        margin, ragged = float(draw.uniform(1.15, 2.6)), float(draw.uniform(0.1, 0.8))
        cloud = clouds(skin.s, skin.o, float(draw.uniform(0.7, 2.5)) * size, seed + own, 5)
        bare = step(-rho + ragged * cloud, -margin, -margin + 0.06)
        shade = float(draw.uniform(0.4, 1.0)) + 0.1 * cloud
        skin.cover(bare, finish.tint(finish.METAL, shade), 1.0, np.clip(draw.uniform(0.25, 0.6) + 0.06 * cloud, 0.2, 0.8))
        skin.bump *= 1 - bare


def _slots(skin: Skin, shot: Shot, draw: np.random.Generator) -> None:
    cross = draw.random() < 0.5
    for rivet in shot.side.rivets:
        turn, radius = float(draw.uniform(0, math.pi)), rivet.head_diameter / 2
        u = (skin.s - rivet.at[0]) * math.cos(turn) + (skin.o - rivet.at[1]) * math.sin(turn)
        v = (skin.o - rivet.at[1]) * math.cos(turn) - (skin.s - rivet.at[0]) * math.sin(turn)
        a, b = np.abs(u) / radius, np.abs(v) / radius
        slot = step(-b, -0.17, -0.12) * step(-a, -0.72, -0.66)
        if cross:
            slot = np.maximum(slot, step(-a, -0.17, -0.12) * step(-b, -0.72, -0.66))
        skin.colour *= 1 - 0.8 * slot[..., None]
        skin.bump -= 0.15 * slot


def _corrode(skin: Skin, dents: list[Dent], draw: np.random.Generator, seed: int) -> None:
    """Floors of any tone, duller and rougher than the metal, with more or less product and stain."""
    for dent in dents:
        rows, columns = finish._window(skin, dent.at, max(dent.semi_axes) * 3.2)
        ss, oo = skin.s[rows, columns], skin.o[rows, columns]
        if ss.size == 0:
            continue
        part = Skin(ss, oo, skin.colour[rows, columns], skin.metallic[rows, columns],
                    skin.roughness[rows, columns], skin.bump[rows, columns])  # fmt: skip
        size = min(dent.semi_axes)
        rho = dent.rho(ss, oo).astype(np.float32)
        fine = float(draw.uniform(0.06, 0.22)) * size
        grit = 0.6 * noise(ss, oo, (fine, fine), seed + 5) + 0.4 * noise(ss, oo, (2.4 * fine, 2.4 * fine), seed + 6)
        blotch = clouds(ss, oo, 1.3 * size, seed + dent.seed % 9973, 4)
        if draw.random() < 0.6:
            wide = float(draw.uniform(1.4, 2.6))
            stain = step(-rho + 0.7 * blotch, -wide, -0.9) * float(draw.uniform(0.1, 0.6))
            part.darken(1 - 0.45 * stain)
            part.roughness[:] = np.clip(part.roughness + 0.25 * stain, 0, 0.9)
        soft = float(draw.uniform(0.015, 0.08))
        inside = step(-rho, -1 - soft, -1 + soft)
        tone = float(draw.uniform(0.06, 0.5)) * np.array([1.0, draw.uniform(0.85, 1.0), draw.uniform(0.7, 1.0)])
        part.cover(inside * float(draw.uniform(0.5, 0.95)), finish.tint(tuple(tone), 0.9 + draw.uniform(0.15, 0.45) * grit),
                   float(draw.uniform(0.0, 0.6)), float(draw.uniform(0.5, 0.8)))  # fmt: skip
        powder = step(dent.product * 1.5 - np.abs(rho - draw.uniform(0.3, 0.9)) * 0.9 + 0.75 * blotch + 0.2 * grit,
                      0.5, 1.0)  # fmt: skip
        white = draw.uniform(0.5, 0.85) * np.array([1.0, 1.0, draw.uniform(0.85, 1.0)])
        part.cover(powder * float(draw.uniform(0.6, 0.95)), finish.tint(tuple(white), 0.92 + 0.16 * grit), 0.0, 0.95)
        lift = 0.012 * size
        part.bump += (lift * inside * step(-rho, -0.98, -0.85) + 1.6 * lift * powder) * (0.6 + 0.7 * grit)


def outlines_of(shot: Shot, references: list[ref.Reference]) -> dict[str, list[list[list[float]]]]:
    """True outlines, px: of pits that are seen, and of those hidden or cut."""
    cover, frame = _covers(references), box(0, 0, SIZE[0] - 1, SIZE[1] - 1)
    found: dict[str, list[list[list[float]]]] = {"pits": [], "hidden": []}
    for dent in shot.side.dents:
        flat = _on_surface(shot, dent.outline(96))
        seen = Polygon(shot.camera.project(flat))
        share = seen.intersection(frame).area / seen.area
        if share == 0:
            continue
        clear = share > 0.8 and not Polygon(flat[:, :2]).intersects(cover.buffer(1.5))
        found["pits" if clear else "hidden"].append(np.round(shot.camera.project(flat), 2).tolist())
    return found


def make(seed: int, spp: int, out: Path) -> None:
    """Render one picture and write it with its truth."""
    shot, references, look = random_shot(seed)
    rendering.paint_side = lambda *a: paint_practice(look, *a)
    per_px = shot.camera.distance_mm / shot.camera.focal_px
    begun = time.perf_counter()
    made = rendering.Scene(shot, references, texel_mm=0.72 * per_px, fine_mm=0.5 * per_px, coarse_mm=3.0 * per_px)
    draw = np.random.default_rng([seed, 77_003])
    linear: Image = made.render(spp, aperture_mm=0.2)
    blur = float(draw.uniform(0.0, 1.0))
    if blur > 0.25:
        linear = cv2.GaussianBlur(linear, (0, 0), blur)
    display = develop(linear * 1.0, shot, seed)
    display = np.clip(display * float(draw.uniform(0.75, 1.2)), 0, 1)
    rgb = np.round(display * 255).astype(np.uint8)
    cv2.imwrite(str(out / f"{seed:04d}.png"), rgb[..., ::-1])
    record = outlines_of(shot, references) | {
        "mm_per_px": per_px,
        "references": [shot.camera.project(np.c_[r.outline, np.zeros(len(r.outline))]).tolist() for r in references],
    }
    (out / f"{seed:04d}.json").write_text(json.dumps(record), encoding="utf-8")
    print(f"{seed}: {look.surface}, {len(record['pits'])} pits, {time.perf_counter() - begun:.0f} s", flush=True)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seeds", type=int, nargs=2, default=(1, 30))
    parser.add_argument("--spp", type=int, default=16)
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    for seed in range(given.seeds[0], given.seeds[1] + 1):
        if not (given.out / f"{seed:04d}.json").exists():
            make(seed, given.spp, given.out)


if __name__ == "__main__":
    main()
