"""Render the sample pictures and write their truth.

Usage: ``python make.py [--spp 48] [--only 01 08] [--truth-only]``. Needs ``mitsuba`` (made with 3.9.1),
opencv-python, numpy, pillow, scipy and shapely, and an LLVM of version 16 or newer on the machine.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from develop import develop, save
from pictures import SHOTS, Shot
from truth import write_truth

HERE = Path(__file__).resolve().parent.parent


def make(shot: Shot, spp: int, truth_only: bool) -> None:
    """Render one shot."""
    references = [build() for build in shot.references]
    path = HERE / "photos" / f"{shot.name}.jpg"
    if not truth_only:
        from scene import Scene

        # A texel or a fine mesh cell covers well under one pixel of the picture on every shot.
        per_px = shot.camera.distance_mm / shot.camera.focal_px
        begun = time.perf_counter()
        scene = Scene(
            shot, references, texel_mm=0.72 * per_px, fine_mm=0.25 * per_px, coarse_mm=3.0 * per_px
        )
        linear = scene.render(spp, aperture_mm=0.0 if shot.view == "borescope" else 0.35)
        save(develop(shot.camera.bend(linear), shot, sum(shot.name.encode())), shot, path)
        print(
            f"{shot.name}: {time.perf_counter() - begun:.0f} s, {path.stat().st_size // 1024} kB",
            flush=True,
        )
    write_truth(shot, references, path, HERE / "truth" / f"{shot.name}.json")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--spp", type=int, default=48)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--truth-only", action="store_true")
    given = parser.parse_args()
    for shot in SHOTS:
        if not given.only or any(shot.name.startswith(one) for one in given.only):
            make(shot, given.spp, given.truth_only)


if __name__ == "__main__":
    main()
