"""The report of many photos against its floor: reading, hashing and decoding the same files once.

Run ``python -m tests.benchmarks.report``; the exit code is 0 if ratio, size and memory are within target.
Every photo has 12 MP, five pits and a scale bar; the survey is assessed before the clock starts.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

from corrosion.model import parse_survey
from corrosion.opencv import cv2
from corrosion.photo import load_picture, sha256_of
from corrosion.record.pdf import report_pdf, summary_pdf
from corrosion.record.subject import Subject, subject_of
from corrosion.survey import assess
from tests.benchmarks.photo_intake import HEIGHT, WIDTH, photo

THREADS = 2
DIFFERENT_PHOTOS = 4
PITS = 5
TARGET_RATIO = 2.5
TARGET_MB_PER_PHOTO = 0.5
TARGET_MEMORY_MB = 1100.0


def survey(count: int, digests: list[str]) -> dict[str, Any]:
    """Photos in a row along a skin of 20 m, five pits on each; invented."""
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": "mm",
        "structure": {"name": "bench", "members": [_member(count)]},
        "survey": {"name": f"{count} photos", "date": "2031-04-17"},
        "planning": {
            "allowance": {"depth": 0.02, "source": "invented manual, 3-4"},
            "run_out": {"ratio": {"total": 20}, "source": "invented manual, 3-4"},
        },
        "photos": [_photo(number, digests[number % len(digests)]) for number in range(count)],
    }


def _member(count: int) -> dict[str, Any]:
    right = 110.0 * count
    return {
        "id": "SK1",
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3 clad",
        "thickness": 1.0,
        "outline": [[0, 0], [right, 0], [right, 400], [0, 400]],
        "limit": {"fraction": 0.1, "source": "invented manual, 1-2"},
    }


def _photo(number: int, digest: str) -> dict[str, Any]:
    # 4000 px are 100 mm.
    pixels, layout = [[16, 1500], [4016, 1500]], [[110.0 * number, 100], [110.0 * number + 100, 100]]
    return {
        "id": f"f{number:04}",
        "file": f"photos/f{number:04}.jpg",
        "sha256": digest,
        "size": [WIDTH, HEIGHT],
        "zone": "334",
        "member": "SK1",
        "face": "outer",
        "scale": {"kind": "bar", "image": pixels, "length": 100, "u_length": 0.1, "max_tilt_deg": 5},
        "placement": {"image": pixels, "layout": layout},
        "marks": [_pit(n) for n in range(PITS)],
    }


def _pit(number: int) -> dict[str, Any]:
    x, y = 500 + 700 * number, 700 + 300 * number
    return {
        "id": f"P{number}",
        "kind": "pit",
        "shape": {"type": "Ellipse", "center": [x, y], "semi_axes": [40, 30], "angle_deg": 20},
        "depths": [{"value": 0.03, "u": 0.002, "method": "gauge"}],
    }


def floor(data: bytes) -> None:
    """Do what no report with close-ups can do without: the digest and one full decode."""
    sha256_of(data)
    load_picture(data)


def clock(work: Any) -> tuple[float, Any]:
    """Seconds that `work` takes, and what it gives."""
    start = time.perf_counter()
    done = work()
    return time.perf_counter() - start, done


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _subject(count: int, photos: list[bytes]) -> Subject:
    document = survey(count, [sha256_of(data) for data in photos])
    whole = assess(parse_survey(document))
    return subject_of(whole, b"bench", read=lambda name: photos[int(name[1:]) % len(photos)])


def main() -> int:
    """Time floor, report and summary, and print figures and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=200, help="photos of 12 MP")
    count = parser.parse_args().photos
    # In a process of its own: making a photo takes more memory than any report may.
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as other:
        photos = list(other.map(photo, range(min(DIFFERENT_PHOTOS, count))))
    print(f"Python {platform.python_version()}, OpenCV {cv2.__version__}, {os.cpu_count()} cores")
    print(
        f"{count} photos of 12 MP, {sum(map(len, photos)) / len(photos) / 1e6:.1f} MB each, "
        f"{PITS} pits on each"
    )
    assessing, subject = clock(lambda: _subject(count, photos))
    print(f"assessing and planning {assessing:.1f} s, not counted")
    least, _ = clock(lambda: [floor(photos[n % len(photos)]) for n in range(count)])
    before = _memory_mb()
    steps: dict[str, float] = {}
    begun = time.perf_counter()

    def told(step: str, done: int, total: int) -> None:
        if done == total:
            steps[step] = time.perf_counter() - begun

    whole, pdf = clock(lambda: report_pdf(subject, progress=told, threads=THREADS))
    short, _ = clock(lambda: summary_pdf(subject))
    memory, size = _memory_mb(), len(pdf) / 1e6
    ratio = whole / least
    print(f"floor {least:.1f} s ({1e3 * least / count:.0f} ms per photo, one thread)")
    print(
        f"report {whole:.1f} s ({1e3 * whole / count:.0f} ms per photo, {THREADS} threads), "
        f"summary {short:.1f} s"
    )
    print("done after: " + ", ".join(f"{step} {seconds:.1f} s" for step, seconds in steps.items()))
    print(
        f"{size:.1f} MB ({size / count:.2f} per photo); most memory {memory:.0f} MB, before the report "
        f"{before:.0f} MB"
    )
    good = ratio <= TARGET_RATIO and size / count <= TARGET_MB_PER_PHOTO and memory <= TARGET_MEMORY_MB
    verdict = "PASS" if good else "FAIL"
    print(
        f"{verdict}: ratio {ratio:.2f}, target {TARGET_RATIO:.1f}; {size / count:.2f} MB per photo, target "
        f"{TARGET_MB_PER_PHOTO}; memory {memory:.0f} MB, target {TARGET_MEMORY_MB:.0f}"
    )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
