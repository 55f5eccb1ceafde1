"""Training pictures of the suggestions, in one form: drawn ones, and rendered ones where a folder has them.

Run: ``python -m tests.suggest.pictures CACHE [RENDERED]`` writes one ``.npz`` per picture into CACHE for
`tests.suggest.train`. RENDERED is what ``sample_images/render/practice.py`` wrote. Neither belongs into the
repository. Never used here: the sample pictures, and those of `tests.benchmarks`.

The net learns from some, the trees that judge with its help from others that it has not seen (on what it
has learnt by heart they would trust it too far). What a sweep takes off a score and how a click chooses
among rims was set on others still, and nothing is learnt from those for judging.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from corrosion.opencv import cv2
from tests.suggest.clutter import workshop
from tests.suggest.collage_clutter import collage
from tests.suggest.scenes import plain_sheet, shop_floor

Outline = NDArray[np.float64]
Pixels = NDArray[np.uint8]
HIDDEN = 255
WIDTH, HEIGHT = 640, 480
MIXED = ("workshop", "workshop", "shop", "plain")


class Part(StrEnum):
    """What a picture is for."""

    NET = "net"
    TREES = "trees"
    LEVEL = "level"
    JUDGING = "judging"


def part_of(seed: int) -> Part:
    """Part that the rendered picture of a seed has."""
    if 35 <= seed <= 44:
        return Part.JUDGING
    if 91 <= seed <= 104:
        return Part.LEVEL
    return Part.NET if seed <= 64 else Part.TREES


@dataclass
class Lesson:
    """A picture and its truth."""

    name: str
    pixels: Pixels
    pits: list[Outline]
    hidden: list[Outline] = field(default_factory=list)


def drawn_jobs(part: Part) -> list[tuple[str, int, int]]:
    """List the drawn pictures: kind, seed, number of pits; none are for judging."""
    if part is Part.TREES:
        jobs = [("collage", 600 + k, 0 if k % 5 == 4 else 6) for k in range(40)]
        return jobs + [(MIXED[k % 4], 9500 + k, 5 if k % 6 else 0) for k in range(32)]
    if part is Part.LEVEL:
        jobs = [("collage", 800 + k, 0 if k % 5 == 4 else 6) for k in range(15)]
        return jobs + [(MIXED[k % 4], 9800 + k, 5 if k % 6 else 0) for k in range(10)]
    if part is Part.JUDGING:
        return []
    jobs = [("plain", 200 + k, 5 if k % 5 else 0) for k in range(14)]
    jobs += [("plain", 420 + k, 4) for k in range(5)]
    jobs += [("shop", 2000 + k, 5 if k % 6 else 0) for k in range(20)]
    jobs += [("workshop", 5000 + k, 5 if k % 6 else 0) for k in range(40)]
    jobs += [(MIXED[k % 4], 9000 + k, 5 if k % 7 else 0) for k in range(120)]
    return jobs + [("collage", k, 0 if k % 9 == 8 else 6) for k in range(100, 460)]


def drawn(job: tuple[str, int, int]) -> Lesson:
    """Draw and photograph one picture."""
    kind, seed, pits = job
    if kind == "collage":
        pasted = collage(seed, pits=pits, width=WIDTH, height=HEIGHT)
        return Lesson(f"{kind}_{seed}", pasted.shoot(), pasted.pits)
    draw = {"workshop": workshop, "shop": shop_floor, "plain": plain_sheet}[kind]
    scene = draw(seed, pits=pits, width=WIDTH, height=HEIGHT)
    rng = np.random.default_rng(seed)
    blur, noise = float(rng.uniform(0.4, 1.5)), float(rng.uniform(0.003, 0.03))
    pixels = scene.shoot(blur=blur, noise=noise, jpeg=int(rng.integers(75, 97)))
    return Lesson(f"{kind}_{seed}", pixels, scene.pits)


def rendered(folder: Path, part: Part) -> Iterator[Lesson]:
    """Read the rendered pictures of one part."""
    for path in sorted(folder.glob("*.json")):
        if part_of(int(path.stem)) is not part:
            continue
        truth = json.loads(path.read_text(encoding="utf-8"))
        picture = cv2.imread(str(path.with_suffix(".png")))
        assert picture is not None
        pits, hidden = ([np.array(o) for o in truth[k]] for k in ("pits", "hidden"))
        pixels = np.ascontiguousarray(picture[..., ::-1]).astype(np.uint8)
        yield Lesson(f"rendered_{path.stem}", pixels, pits, hidden)


def save(lesson: Lesson, path: Path) -> None:
    """Write pixels, the number of the pit each lies in, and middle and diameter of each pit."""
    labels = np.zeros(lesson.pixels.shape[:2], np.uint8)
    for outline in lesson.hidden:
        cv2.fillPoly(labels, [np.rint(outline).astype(np.int32)], HIDDEN)
    places = []
    for number, outline in enumerate(lesson.pits, 1):
        cv2.fillPoly(labels, [np.rint(outline * 16).astype(np.int32)], number, cv2.LINE_8, 4)
        shape = shapely.make_valid(shapely.Polygon(outline))
        places.append((shape.centroid.x, shape.centroid.y, np.sqrt(4 / np.pi * shape.area)))
    np.savez(path, pixels=lesson.pixels, labels=labels, places=np.array(places).reshape(-1, 3))


def main() -> None:
    """Draw, read, write."""
    cache = Path(sys.argv[1])
    for folder in ("drawn", "collage", Part.NET, Part.JUDGING):
        (cache / folder).mkdir(parents=True, exist_ok=True)
    for job in drawn_jobs(Part.NET):
        path = cache / ("collage" if job[0] == "collage" else "drawn") / f"{job[0]}_{job[1]}.npz"
        if not path.exists():
            save(drawn(job), path)
    for part in (Part.NET, Part.JUDGING) if len(sys.argv) > 2 else ():
        for lesson in rendered(Path(sys.argv[2]), part):
            save(lesson, cache / part / f"{lesson.name}.npz")


if __name__ == "__main__":
    main()
