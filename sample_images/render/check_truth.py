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

from pictures import SHOTS, Shot

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
            found.append(
                (cv2.cornerSubPix(gray, start.copy(), (7, 7), (-1, -1), stop) - start).reshape(-1, 2)
            )
    return np.concatenate(found) if found else np.empty((0, 2))


def cross_differences(gray: np.ndarray, truth: dict, shot: Shot) -> np.ndarray:
    """Found minus true position of the inked crosses, (N,) px, two numbers per cross.

    The ink's centroid across each arm, averaged along the half of the arm away from the lettering.
    """
    image, found = gray.astype(np.float32), []
    across, along = np.linspace(-0.7, 0.7, 141), np.linspace(-2.0, -0.5, 30)
    per_mm = shot.camera.focal_px / shot.camera.distance_mm
    for cross in truth["control_points"]:
        x, y = shot.to_view(*cross["layout_mm"])
        for arm in ((1.0, 0.0), (0.0, 1.0)):
            plan = np.array(
                [
                    [x + a * arm[0] + u * arm[1], y + a * arm[1] + u * arm[0], 0.0]
                    for a in along
                    for u in across
                ]
            )
            px = shot.camera.project(plan).astype(np.float32)
            if cross["covered"] or px.min() < 4 or (px.max(axis=0) > np.array(image.shape[::-1]) - 5).any():
                continue
            level = (
                cv2.remap(image, px[:, 0][None], px[:, 1][None], cv2.INTER_CUBIC)
                .reshape(len(along), -1)
                .mean(axis=0)
            )
            ink = np.clip(np.percentile(level, 70) - level, 0, None) ** 2
            found.append(float((across * ink).sum() / ink.sum()) * per_mm)
    return np.array(found)


def rms(values: np.ndarray) -> float:
    """Root mean square."""
    return float(np.sqrt((values**2).mean()))


def closure(truth: dict) -> float:
    """Largest relative difference between a stated area and the outline's area put back on the metal."""
    camera = truth["camera"]
    matrix, turn = np.array(camera["matrix"]), np.array(camera["rotation_world_to_camera"])
    centre, k = np.array(camera["centre_mm"]), camera["distortion_k1_k2_p1_p2_k3"]
    worst = 0.0
    for dent in truth["dents"]:
        ideal = cv2.undistortPoints(
            np.array(dent["outline_px"]).reshape(-1, 1, 2), matrix, np.array(k)
        ).reshape(-1, 2)
        for _ in range(200):  # OpenCV's own inverse stops early for strong lenses: polish it.
            q = (ideal**2).sum(axis=1, keepdims=True)
            bent = (np.array(dent["outline_px"]) - matrix[:2, 2]) / matrix[0, 0]
            ideal = bent / (1 + k[0] * q + k[1] * q * q)
        rays = np.c_[ideal, np.ones(len(ideal))] @ turn
        x, y = (centre - centre[2] / rays[:, 2:] * rays)[:, :2].T
        area = 0.5 * abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
        worst = max(worst, abs(area / dent["area_mm2"] - 1))
    return worst


def edge_differences(gray: np.ndarray, outline: np.ndarray) -> np.ndarray:
    """Signed distance (px, outwards positive) from a true closed outline to the strongest step near it."""
    image = cv2.GaussianBlur(gray.astype(np.float32), (0, 0), 1.0)
    closed = np.r_[outline, outline[:1]]
    x, y = outline.T
    turned = np.sign((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) or 1.0
    reach = np.arange(-6, 6.01, 0.1)
    result = []
    for a, b in zip(closed[:-1], closed[1:], strict=True):
        length = np.linalg.norm(b - a)
        if length < 1:
            continue
        normal = turned * np.array([(b - a)[1], -(b - a)[0]]) / length
        for t in np.linspace(0.1, 0.9, max(1, int(length / 8))):
            line = a + t * (b - a) + reach[:, None] * normal
            if (
                line.min() < 2
                or line[:, 0].max() > gray.shape[1] - 3
                or line[:, 1].max() > gray.shape[0] - 3
            ):
                continue
            level = cv2.remap(
                image,
                line[:, 0].astype(np.float32)[None],
                line[:, 1].astype(np.float32)[None],
                cv2.INTER_CUBIC,
            )[0]
            slope = np.abs(np.gradient(level))
            if slope.max() > 1.0:
                result.append(reach[int(slope.argmax())])
    return np.array(result)


def overlay(picture: np.ndarray, truth: dict) -> np.ndarray:
    """Draw outlines, heads, reference points and control points, at twice the size."""
    big = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)

    def line(points: list, colour: tuple[int, int, int]) -> None:
        # Pixel centres: x -> 2 x + 0.5 in the doubled picture.
        cv2.polylines(
            big,
            [np.round((2 * np.array(points) + 0.5) * 16).astype(np.int32)],
            True,
            colour,
            1,
            cv2.LINE_AA,
            4,
        )

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
            report.append(
                f"checker {len(corner)}: mean {corner.mean(axis=0).round(3)}, rms {rms(corner):.3f} px"
            )
        ink = cross_differences(gray, truth, next(s for s in SHOTS if s.name == path.stem))
        if len(ink):
            report.append(f"cross arms {len(ink)}: median {np.median(ink):+.2f}, rms {rms(ink):.2f} px")
        report.append(f"area closure {closure(truth):.1e}")
        for one in truth["references"]:
            if one["kind"] == "card":
                ends = {p["name"]: np.array(p["px"]) for p in one["points"]}
                for side in ("bottom", "right", "top", "left"):
                    away = edge_differences(
                        gray, np.array([ends[f"edge {side} 1"], ends[f"edge {side} 3"]])
                    )
                    report.append(f"card {side}: median {np.median(away):+.2f} px ({len(away)})")
            if one["kind"] == "disc":
                away = edge_differences(gray, np.array([p["px"] for p in one["points"]]))
                report.append(f"disc rim: median {np.median(away):+.2f} px ({len(away)})")
        for dent in truth["dents"]:
            away = edge_differences(gray, np.array(dent["outline_px"])[::2])
            if len(away):
                report.append(
                    f"{dent['id']}: median {np.median(away):+.2f}, "
                    f"quartiles {np.percentile(away, [25, 75]).round(2)}"
                )
        print("; ".join(report))
        cv2.imwrite(str(folder / f"{path.stem}.png"), overlay(picture, truth))
        cv2.imwrite(str(folder / f"{path.stem}_plain.png"), picture)


if __name__ == "__main__":
    main()
