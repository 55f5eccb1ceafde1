"""Fits the decision trees of `corrosion.suggest`. Run: ``python -m tests.suggest.fit RENDERED [WORKERS]``.

After `tests.suggest.train`, whose net the evidence rests on. Needs scikit-learn besides what the project
needs. Pictures: drawn ones of `tests.suggest.pictures`, and of RENDERED (what the renderer's ``practice``
wrote) those the net has not learnt from: never the sample pictures, nor those of the benchmark. Writes
``trees_click.csv`` and ``trees_spot.csv`` and prints how well rims of pictures left out of a fit are told.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from sklearn.ensemble import GradientBoostingRegressor  # type: ignore[import-not-found]

import corrosion.suggest
from corrosion.suggest._alike import alike
from corrosion.suggest._blobs import spots
from corrosion.suggest._features import Features, features_of
from corrosion.suggest._rims import Rim, agreement, rims_along, rims_round, set_rims
from corrosion.suggest._sweep import LIKENESS
from corrosion.suggest._weights import Asked, expected_overlap
from tests.suggest.pictures import Lesson, Part, drawn, drawn_jobs, rendered

Array = NDArray[np.float64]
CLICK_SPREAD = 0.15
"""Spread of a click about the middle, in radii."""
TREES, RATE, LEAST_LEAF = 300, 0.06, 20
DEPTH = {Asked.CLICK: 3, Asked.SPOT: 4}
"""Questions a tree asks one after another: rims round clicks are few, those round spots many."""
FOLDER = Path(corrosion.suggest.__file__).parent


class Rows(NamedTuple):
    """Evidence of the rims round one point and their overlap with the truth."""

    picture: str
    asked: Asked
    evidence: Array
    overlap: Array


def overlap_with(rim: Array, pits: Iterable[Array]) -> float:
    """Greatest overlap with any of the pits."""
    near = [p for p in pits if (rim.max(0) > p.min(0)).all() and (p.max(0) > rim.min(0)).all()]
    return max((agreement(rim, p) for p in near), default=0.0)


def rows_of(lesson: Lesson) -> list[Rows]:
    """Rows of a shaky click on each pit, and of every spot of a sweep."""
    rng = np.random.default_rng(len(lesson.pits))
    side = min(lesson.pixels.shape[:2])
    features = features_of(lesson.pixels, side / 8)
    likes = set_rims(features, alike(features, 5.0, side / 8))
    found = []
    for pit in lesson.pits:
        radius = float(np.ptp(pit, axis=0).mean()) / 2
        at = pit.mean(axis=0) + rng.normal(0, CLICK_SPREAD * radius, 2)
        (rims,) = rims_round(features, at[None], 5.0, side / 8, keep=8)
        here = likes[[shapely.Polygon(o).contains(shapely.Point(at)) for o in likes]]
        rims += rims_along(features, here)
        found += _labelled([rims], [pit], lesson.name, Asked.CLICK)
    return found + _of_spots(features, lesson, side / 12)


def _of_spots(features: Features, lesson: Lesson, largest: float) -> list[Rows]:
    likes = set_rims(features, alike(features, 0.7 * 6.0, 1.4 * largest), 1)
    rims = [[rim] for rim in rims_along(features, likes)]
    places = spots(features, 6.0, largest)
    for radius in np.unique(places[:, 2]):
        centres = places[places[:, 2] == radius, :2]
        span = max(radius / 2.5, 6.0 / 1.3), radius * 1.7
        rims += rims_round(features, centres, *span, keep=3, rounds=1, likeness=LIKENESS)
    # What lies on a hidden pit is neither right nor wrong.
    clear = [[r for r in some if overlap_with(r.outline, lesson.hidden) < 0.2] for some in rims]
    return _labelled(clear, lesson.pits, lesson.name, Asked.SPOT)


def _labelled(found: list[list[Rim]], pits: list[Array], name: str, asked: Asked) -> list[Rows]:
    return [
        Rows(
            name, asked, np.array([r.evidence for r in rims]),
            np.array([overlap_with(r.outline, pits) for r in rims]),
        )
        for rims in found
        if rims
    ]  # fmt: skip


def gather(folder: Path, workers: int) -> list[Rows]:
    """Collect the rows of all training pictures."""
    found: list[Rows] = []
    with ProcessPoolExecutor(workers) as pool:
        lessons = [*pool.map(drawn, drawn_jobs(Part.TREES)), *rendered(folder, Part.TREES)]
        for rows in pool.map(rows_of, lessons):
            found += rows
    return found


def fitted(rows: list[Rows], asked: Asked) -> Array:
    """Fit trees to the overlap of such rims; drawn and rendered pictures weigh the same."""
    some = [r for r in rows if r.asked == asked]
    evidence, overlap = (np.concatenate([r[k] for r in some]) for k in (2, 3))
    style = np.repeat([r.picture.startswith("rendered") for r in some], [len(r.overlap) for r in some])
    weight = np.ones(len(overlap))
    for one in (style, ~style):
        weight[one] *= len(weight) / max(float(weight[one].sum()), 1.0)
    model = GradientBoostingRegressor(
        n_estimators=TREES, learning_rate=RATE, max_depth=DEPTH[asked], subsample=0.6,
        min_samples_leaf=LEAST_LEAF, max_features=8, random_state=0,
    )  # fmt: skip
    model.fit(evidence, overlap, sample_weight=weight)
    questions = 2 ** DEPTH[asked] - 1
    table = np.array([_row(one.tree_, questions) for one in model.estimators_.ravel()])
    table[0, 2 * questions :] += float(model.init_.constant_.ravel()[0])
    return table


def _row(tree: Any, questions: int) -> Array:
    """One tree as a row of the table; a branch that ends early asks a question whose answers are one."""
    number, level, answer = np.zeros(questions), np.zeros(questions), np.zeros(questions + 1)

    def fill(node: int, at: int) -> None:
        if at >= questions:
            answer[at - questions] = RATE * float(tree.value[node].ravel()[0])
            return
        ends = tree.children_left[node] < 0
        number[at], level[at] = (0, 0.0) if ends else (tree.feature[node], tree.threshold[node])
        fill(node if ends else tree.children_left[node], 2 * at + 1)
        fill(node if ends else tree.children_right[node], 2 * at + 2)

    fill(0, 0)
    return np.concatenate([number, level, answer])


def report(rows: list[Rows], parts: int = 3) -> None:
    """Print how well rims are told in pictures that had no part in the fit."""
    names = sorted({r.picture for r in rows})
    told = []
    for part in range(parts):
        out = set(names[part::parts])
        tables = {asked: fitted([r for r in rows if r.picture not in out], asked) for asked in Asked}
        for row in (r for r in rows if r.picture in out):
            expected = expected_overlap(row.evidence, tables[row.asked])
            best = int(expected.argmax())
            found = (expected[best], row.overlap[best], row.overlap.max())
            told.append((row.asked, row.picture.startswith("rendered"), *found))
    for rendering, name in ((False, "drawn"), (True, "rendered")):
        some = [t for t in told if t[1] == rendering]
        clicks = np.array([t[2:] for t in some if t[0] == Asked.CLICK]).reshape(-1, 3)
        low, median = np.percentile(clicks[:, 1], (10, 50))
        print(f"{name}: {len(clicks)} clicks, {median:.3f} of {np.median(clicks[:, 2]):.3f}, p10 {low:.2f}")
        there = np.array([t[2:4] for t in some if t[0] == Asked.SPOT])
        for level in (0.3, 0.4, 0.5, 0.6):
            taken = there[there[:, 0] >= level, 1] >= 0.5
            print(f"  spots of {level} and more: {len(taken)}, right {taken.mean():.2f}")


def write(rows: list[Rows]) -> None:
    """Fit and write both tables."""
    for asked in Asked:
        table = fitted(rows, asked)
        questions = (table.shape[1] - 1) // 3
        lines = [[f"{v:.0f}" for v in r[:questions]] + [f"{v:.4g}" for v in r[questions:]] for r in table]
        text = "".join(",".join(line) + "\n" for line in lines)
        (FOLDER / f"trees_{asked}.csv").write_text(text, encoding="utf-8")


def main() -> None:
    """Gather, report, fit, write."""
    rows = gather(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 2)
    report(rows)
    write(rows)


if __name__ == "__main__":
    main()
