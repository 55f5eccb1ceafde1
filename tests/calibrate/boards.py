"""Boards seen by known lenses: corners by the published formulas, and rendered pictures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from corrosion.calibrate import Board, BoardView
from corrosion.opencv import cv2

FloatArray = NDArray[np.float64]
SIZE = (640, 480)
BOARD = Board(9, 6, 5.0)


@dataclass(frozen=True)
class TrueLens:
    """A lens by the formulas themselves: equidistant fisheye, or polynomial pinhole."""

    fisheye: bool
    matrix: tuple[float, float, float, float]
    k: tuple[float, float, float, float]

    def see(self, solid: FloatArray) -> FloatArray:
        """Project points (n, 3) of the camera's frame to pixels."""
        x, y = solid[:, 0] / solid[:, 2], solid[:, 1] / solid[:, 2]
        r = np.hypot(x, y)
        if self.fisheye:
            t = np.arctan(r)
            bent = t * (1 + sum(k * t ** (2 * i + 2) for i, k in enumerate(self.k)))
            factor = np.where(r > 1e-12, bent / np.maximum(r, 1e-12), 1.0)
            x, y = x * factor, y * factor
        else:
            k1, k2, p1, p2 = self.k
            radial = 1 + k1 * r**2 + k2 * r**4
            x, y = (
                x * radial + 2 * p1 * x * y + p2 * (r**2 + 2 * x**2),
                y * radial + p1 * (r**2 + 2 * y**2) + 2 * p2 * x * y,
            )
        fx, fy, cx, cy = self.matrix
        return np.column_stack([fx * x + cx, fy * y + cy])


BORESCOPE = TrueLens(fisheye=True, matrix=(330.0, 331.0, 322.0, 236.0), k=(-0.05, 0.02, -0.005, 0.0))
CAMERA = TrueLens(fisheye=False, matrix=(533.0, 532.0, 325.0, 241.0), k=(-0.28, 0.08, 0.001, -0.0005))


def grid(board: Board = BOARD) -> FloatArray:
    """Inner corners, mm, about the board's middle."""
    x, y = np.meshgrid(np.arange(board.columns), np.arange(board.rows))
    corners = board.square_mm * np.column_stack([x.ravel(), y.ravel()]).astype(np.float64)
    return corners - corners.mean(axis=0)


def turn(rng: np.random.Generator, tilt: float) -> FloatArray:
    """Draw a rotation: `tilt` rad about a random axis across the view, and a random roll of +- 0.4 rad."""
    direction = rng.uniform(0, 2 * np.pi)
    lean = cv2.Rodrigues(tilt * np.array([np.cos(direction), np.sin(direction), 0.0]))[0]
    roll = cv2.Rodrigues(np.array([0.0, 0.0, rng.uniform(-0.4, 0.4)]))[0]
    return np.asarray(lean @ roll, dtype=np.float64)


def placed(points: FloatArray, turned: FloatArray, middle: FloatArray) -> FloatArray:
    """Put plane points (n, 2) into the camera's frame, (n, 3)."""
    return np.column_stack([points, np.zeros(len(points))]) @ turned.T + middle


def pose_of(
    rng: np.random.Generator, lens: TrueLens, margin_px: float = 2.0
) -> tuple[FloatArray, FloatArray]:
    """Place a whole board somewhere in the picture; the distance suits the lens's field."""
    while True:
        turned = turn(rng, rng.uniform(0.1, 0.6))
        away = (20.0 if lens.fisheye else 40.0) * rng.uniform(0.7, 1.2)
        middle = away * np.array([rng.uniform(-0.55, 0.55), rng.uniform(-0.4, 0.4), 1.0])
        image = lens.see(placed(grid(), turned, middle))
        if (image > margin_px).all() and (image < np.array(SIZE) - 1 - margin_px).all():
            return turned, middle


def views_of(rng: np.random.Generator, lens: TrueLens, count: int, sigma: float) -> list[BoardView]:
    """So many boards, their corners with noise."""
    views = []
    for i in range(count):
        image = lens.see(placed(grid(), *pose_of(rng, lens)))
        views.append(BoardView(f"view {i}", image + rng.normal(0, sigma, image.shape), grid()))
    return views


@cache
def pixel_rays(lens: TrueLens, dx: float, dy: float) -> FloatArray:
    """Directions (n, 3) of all pixels of the picture, each shifted by (dx, dy); Newton on `see` itself."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + dx, np.arange(SIZE[1]) + dy)
    wanted = np.column_stack([x.ravel(), y.ravel()])
    fx, fy, cx, cy = lens.matrix
    slopes = (wanted - [cx, cy]) / [fx, fy]
    for _ in range(5):
        ahead = np.column_stack([slopes, np.ones(len(slopes))])
        missed = wanted - lens.see(ahead)
        step = 1e-5
        by_x, by_y = ((lens.see(ahead + step * axis) - lens.see(ahead)) / step for axis in np.eye(3)[:2])
        determinant = by_x[:, 0] * by_y[:, 1] - by_y[:, 0] * by_x[:, 1]
        slopes[:, 0] += (missed[:, 0] * by_y[:, 1] - by_y[:, 0] * missed[:, 1]) / determinant
        slopes[:, 1] += (by_x[:, 0] * missed[:, 1] - missed[:, 0] * by_x[:, 1]) / determinant
    return np.column_stack([slopes, np.ones(len(slopes))])


def rendered(lens: TrueLens, turned: FloatArray, middle: FloatArray) -> NDArray[np.uint8]:
    """Picture of the chessboard: each pixel asks the board's plane for its colour, twice."""
    total = np.zeros(SIZE[0] * SIZE[1])
    for shift in (-0.25, 0.25):
        rays = pixel_rays(lens, shift, shift)
        reach = (turned[:, 2] @ middle) / (rays @ turned[:, 2])
        total += _colour((rays * reach[:, None] - middle) @ turned[:, :2])
    picture = np.rint(total / 2.0).astype(np.uint8).reshape(SIZE[1], SIZE[0])
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.6), dtype=np.uint8)


def _colour(plane: FloatArray) -> FloatArray:
    """Dark and light squares on white paper."""
    squares = np.floor(plane / BOARD.square_mm + np.array([BOARD.columns + 1, BOARD.rows + 1]) / 2.0)
    inside = ((squares >= 0) & (squares < [BOARD.columns + 1, BOARD.rows + 1])).all(axis=1)
    dark = (squares.sum(axis=1) % 2 == 0) & inside
    return np.where(dark, 30.0, 220.0)
