"""Training pictures of the suggestions, in one form: drawn ones, and rendered ones where a cache has them.

Run: ``python -m tests.suggest.pictures CACHE [RENDERED]`` writes one ``.npz`` per picture into CACHE for
`tests.suggest.train`. RENDERED is what ``sample_images/render/practice.py`` wrote. Neither belongs into the
repository. Never used here: the sample pictures, and those of `tests.benchmarks`.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from corrosion.opencv import cv2
from tests.suggest.clutter import workshop
from tests.suggest.scenes import plain_sheet, shop_floor

Outline = NDArray[np.float64]
Pixels = NDArray[np.uint8]
HIDDEN = 255
LAST_FOR_TRAINING = 34
"""Rendered pictures of higher seeds are for judging only."""
WIDTH, HEIGHT = 640, 480


@dataclass
class Lesson:
    """A picture and its truth."""

    name: str
    pixels: Pixels
    pits: list[Outline]
    hidden: list[Outline] = field(default_factory=list)


def drawn_jobs() -> list[tuple[str, int, int]]:
    """List the drawn pictures: kind, seed, number of pits."""
    jobs = [("plain", 200 + k, 5 if k % 5 else 0) for k in range(14)]
    jobs += [("plain", 420 + k, 4) for k in range(5)]
    jobs += [("shop", 2000 + k, 5 if k % 6 else 0) for k in range(20)]
    return jobs + [("workshop", 5000 + k, 5 if k % 6 else 0) for k in range(40)]


def drawn(job: tuple[str, int, int]) -> Lesson:
    """Draw and photograph one picture."""
    kind, seed, pits = job
    draw = {"workshop": workshop, "shop": shop_floor, "plain": plain_sheet}[kind]
    scene = draw(seed, pits=pits, width=WIDTH, height=HEIGHT)
    rng = np.random.default_rng(seed)
    blur, noise = float(rng.uniform(0.4, 1.5)), float(rng.uniform(0.003, 0.03))
    pixels = scene.shoot(blur=blur, noise=noise, jpeg=int(rng.integers(75, 97)))
    return Lesson(f"{kind}_{seed}", pixels, scene.pits)


def rendered(folder: Path, *, training: bool) -> list[Lesson]:
    """Read the rendered pictures for training, or those for judging."""
    found = []
    for path in sorted(folder.glob("*.json")):
        if (int(path.stem) <= LAST_FOR_TRAINING) is not training:
            continue
        truth = json.loads(path.read_text(encoding="utf-8"))
        picture = cv2.imread(str(path.with_suffix(".png")))
        assert picture is not None
        pits, hidden = ([np.array(o) for o in truth[k]] for k in ("pits", "hidden"))
        pixels = np.ascontiguousarray(picture[..., ::-1]).astype(np.uint8)
        found.append(Lesson(f"rendered_{path.stem}", pixels, pits, hidden))
    return found


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
    for folder in ("drawn", "rendered", "judging"):
        (cache / folder).mkdir(parents=True, exist_ok=True)
    for job in drawn_jobs():
        path = cache / "drawn" / f"{job[0]}_{job[1]}.npz"
        if not path.exists():
            save(drawn(job), path)
    for folder, training in (("rendered", True), ("judging", False)) if len(sys.argv) > 2 else ():
        for lesson in rendered(Path(sys.argv[2]), training=training):
            save(lesson, cache / folder / f"{lesson.name}.npz")


if __name__ == "__main__":
    main()
