"""Intake of photos against its floor: SHA-256 and one reduced decode of the same bytes.

Run ``python -m tests.benchmarks.photo_intake``; the exit code is 0 if the ratio is within its target.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import PIL

from corrosion.opencv import cv2
from corrosion.photo import intake, sha256_of

WIDTH, HEIGHT = 4032, 3024
WORKERS = 2
ROUNDS = 3
TARGET_RATIO = 2.0
DIFFERENT_PHOTOS = 4


def photo(seed: int) -> bytes:
    """JPEG of 12 MP: texture with a 1/f spectrum, fall-off of a flashlight, sensor noise; quality 90."""
    random = np.random.default_rng(seed)
    spectrum = np.fft.rfft2(random.standard_normal((HEIGHT, WIDTH)).astype(np.float32))
    frequency = np.hypot(np.fft.fftfreq(HEIGHT)[:, None], np.fft.rfftfreq(WIDTH)[None])
    frequency[0, 0] = 1.0
    texture = np.fft.irfft2(spectrum / frequency, s=(HEIGHT, WIDTH))
    y, x = np.mgrid[-1 : 1 : HEIGHT * 1j, -1 : 1 : WIDTH * 1j]
    grey = (110 + 25 * texture / texture.std()) * np.exp(-(x**2 + y**2) / 2)
    noise = random.normal(0, 3, (HEIGHT, WIDTH, 3))
    pixels = np.clip(grey[..., None] + noise, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()


def floor(data: bytes) -> None:
    """Do what no intake can do without: the digest and one decode at half size."""
    sha256_of(data)
    cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_COLOR_2)


def seconds(work: Callable[[bytes], object], photos: Sequence[bytes]) -> float:
    """Wall time of `work` on all photos with a pool of threads."""
    with ThreadPoolExecutor(WORKERS) as pool:
        start = time.perf_counter()
        list(pool.map(work, photos))
        return time.perf_counter() - start


def main() -> int:
    """Time both in turn and print figures and ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=40, help="photos of 12 MP per round")
    count = parser.parse_args().photos
    different = [photo(seed) for seed in range(min(DIFFERENT_PHOTOS, count))]
    photos = [different[n % len(different)] for n in range(count)]
    megabytes = sum(map(len, photos)) / 1e6
    print(f"Python {platform.python_version()}, OpenCV {cv2.__version__}, Pillow {PIL.__version__}")
    print(f"{os.cpu_count()} cores, {WORKERS} threads, {count} photos of 12 MP, {megabytes:.0f} MB")
    seconds(intake, different)  # warm up: libraries, caches, clocks
    ratios, floors, intakes = [], [], []
    for _ in range(ROUNDS):
        floors.append(seconds(floor, photos))
        intakes.append(seconds(intake, photos))
        ratios.append(intakes[-1] / floors[-1])
        print(
            f"floor {floors[-1]:6.2f} s   intake {intakes[-1]:6.2f} s   ratio {ratios[-1]:.2f}"
            f"   {count / intakes[-1]:5.1f} photos/s"
        )
    ratio = statistics.median(ratios)
    verdict = "PASS" if ratio <= TARGET_RATIO else "FAIL"
    per_photo = 1e3 * statistics.median(intakes) / count
    print(f"{verdict}: median ratio {ratio:.2f}, target {TARGET_RATIO:.1f}; {per_photo:.0f} ms per photo")
    return 0 if ratio <= TARGET_RATIO else 1


if __name__ == "__main__":
    sys.exit(main())
