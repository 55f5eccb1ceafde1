"""Check the truth against the pictures themselves and draw it over them.

Usage: ``python check_truth.py OUTPUT_FOLDER [NAME ...]``. Two independent looks at each picture: saddle
points of the printed checkers and rule/card edges found in the pixels, compared with the projected truth.
Prints the differences in px and writes overlays to the folder.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageOps

HERE = Path(__file__).resolve().parent.parent


def upright(path: Path) -> np.ndarray:
    """The picture as a person sees it, BGR."""
    with Image.open(path) as picture:
        return np.asarray(ImageOps.exif_transpose(picture).convert("RGB"))[..., ::-1].copy()


def checker_differences(gray: np.ndarray, truth: dict) -> np.ndarray:
    """Found minus true position of every checker corner inside the picture, (N, 2) px."""
    found = []
    for one in truth["references"]:
        spots = [p["px"] for p in one["points"] if p["name"].startswith("checker") and p["in_picture"]]
        height, width = gray.shape
        spots = [p for p in spots if 12 < p[0] < width - 12 and 12 < p[1] < height - 12]
        if spots:
            start = np.array(spots, np.float32).reshape(-1, 1, 2)
            stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
            found.append((cv2.cornerSubPix(gray, start.copy(), (7, 7), (-1, -1), stop) - start).reshape(-1, 2))
    return np.concatenate(found) if found else np.empty((0, 2))


def edge_differences(gray: np.ndarray, outline: np.ndarray) -> np.ndarray:
    """Signed distance (px, outwards positive) from a true closed outline to the strongest step near it."""
    image = cv2.GaussianBlur(gray.astype(np.float32), (0, 0), 1.0)
    closed = np.r_[outline, outline[:1]]
    reach = np.arange(-6, 6.01, 0.1)
    result = []
    for a, b in zip(closed, closed[1:]):
        length = np.linalg.norm(b - a)
        if length < 1:
            continue
        normal = np.array([(b - a)[1], -(b - a)[0]]) / length
        for t in np.linspace(0.1, 0.9, max(1, int(length / 8))):
            line = a + t * (b - a) + reach[:, None] * normal
            if line.min() < 2 or line[:, 0].max() > gray.shape[1] - 3 or line[:, 1].max() > gray.shape[0] - 3:
                continue
            level = cv2.remap(image, line[:, 0].astype(np.float32)[None], line[:, 1].astype(np.float32)[None], cv2.INTER_CUBIC)[0]
            slope = np.abs(np.gradient(level))
            if slope.max() > 1.0:
                result.append(reach[int(slope.argmax())])
    return np.array(result)


def overlay(picture: np.ndarray, truth: dict) -> np.ndarray:
    """Draw outlines, heads, reference points and control points, at twice the size."""
    big = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)

    def line(points: list, colour: tuple[int, int, int]) -> None:
        # Pixel centres: x -> 2 x + 0.5 in the doubled picture.
        cv2.polylines(big, [np.round((2 * np.array(points) + 0.5) * 16).astype(np.int32)], True, colour, 1, cv2.LINE_AA, 4)

    def dot(p: list, colour: tuple[int, int, int]) -> None:
        cv2.drawMarker(big, tuple(int(round(2 * v + 0.5)) for v in p), colour, cv2.MARKER_CROSS, 14, 1)

    for dent in truth["dents"]:
        line(dent["outline_px"], (0, 0, 255))
    for rivet in truth["rivets"]:
        line(rivet["base_outline_px"], (255, 200, 0))
        dot(rivet["top_px"], (255, 200, 0))
    for one in truth["references"]:
        for p in one["points"]:
            if p["in_picture"]:
                dot(p["px"], (0, 255, 0))
    for p in truth["control_points"]:
        dot(p["px"], (255, 0, 255))
    return big


def main() -> None:
    """Command line."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted((HERE / "truth").glob("*.json")):
        if len(sys.argv) > 2 and not any(path.stem.startswith(n) for n in sys.argv[2:]):
            continue
        truth = json.loads(path.read_text())
        picture = upright(HERE / "photos" / truth["photo"])
        gray = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
        report = [path.stem]
        corner = checker_differences(gray, truth)
        if len(corner):
            report.append(f"checker {len(corner)}: mean {corner.mean(axis=0).round(3)}, rms {np.sqrt((corner**2).mean()):.3f} px")
        for one in truth["references"]:
            if one["kind"] == "card":
                ends = {p["name"]: np.array(p["px"]) for p in one["points"]}
                for side in ("bottom", "right", "top", "left"):
                    away = edge_differences(gray, np.array([ends[f"edge {side} 1"], ends[f"edge {side} 3"]]))
                    report.append(f"card {side}: median {np.median(away):+.2f} px ({len(away)})")
            if one["kind"] == "disc":
                away = edge_differences(gray, np.array([p["px"] for p in one["points"]]))
                report.append(f"disc rim: median {np.median(away):+.2f} px ({len(away)})")
        for dent in truth["dents"]:
            away = edge_differences(gray, np.array(dent["outline_px"])[::2])
            if len(away):
                report.append(f"{dent['id']}: median {np.median(away):+.2f}, quartiles {np.percentile(away, [25, 75]).round(2)}")
        print("; ".join(report))
        cv2.imwrite(str(folder / f"{path.stem}.png"), overlay(picture, truth))
        cv2.imwrite(str(folder / f"{path.stem}_plain.png"), picture)


if __name__ == "__main__":
    main()
