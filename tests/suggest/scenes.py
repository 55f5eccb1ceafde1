"""Drawn pictures of metal with exact outlines, by numpy alone and unlike the renderer's in every detail.

A height map is lit by one lamp: what is a hole has a bright and a dark side, what is a stain has not.
Everything follows from the seed, so a picture can be asked for again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corrosion.opencv import cv2

Plane = NDArray[np.float64]
Outline = NDArray[np.float64]
METAL = np.array([0.42, 0.43, 0.44])
PRIMERS = np.array([[0.24, 0.27, 0.10], [0.30, 0.20, 0.08], [0.16, 0.20, 0.24], [0.45, 0.45, 0.42]])
PRODUCT = np.array([0.72, 0.72, 0.69])


@dataclass
class Scene:
    """A picture being drawn: colours, heights and shine per pixel, and the truth so far."""

    width: int
    height: int
    seed: int
    rng: np.random.Generator = field(init=False)
    x: Plane = field(init=False)
    y: Plane = field(init=False)
    colour: Plane = field(init=False)
    relief: Plane = field(init=False)
    shine: Plane = field(init=False)
    pits: list[Outline] = field(default_factory=list)
    blends: list[Outline] = field(default_factory=list)
    rivets: list[tuple[float, float, float]] = field(default_factory=list)
    covered: list[tuple[int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        self.y, self.x = np.mgrid[: self.height, : self.width].astype(np.float64)
        self.grain_angle = float(self.rng.uniform(-0.3, 0.3))
        self.coarse = float(self.rng.uniform(0.08, 0.28))
        self.colour = METAL * (1.0 + self.coarse * self.brushed()[..., None])
        self.relief = 0.1 * self.coarse * self.brushed()
        self.shine = np.full((self.height, self.width), 0.35)

    def noise(self, sigma: float, along: float = 0.0) -> Plane:
        """Gaussian noise of unit spread with the given grain in px (`along` in x where it differs)."""
        plane: Any = self.rng.standard_normal((self.height, self.width))
        # A coarse grain is drawn small and enlarged: the same look at a fraction of the time.
        step = max(1, int(sigma / 3))
        if step > 1 and not along:
            small = plane[: self.height // step + 2, : self.width // step + 2]
            small = cv2.GaussianBlur(small, (0, 0), sigma / step)
            plane = cv2.resize(small, None, fx=step, fy=step, interpolation=cv2.INTER_CUBIC)
            plane = plane[: self.height, : self.width]
        else:
            plane = cv2.GaussianBlur(plane, (0, 0), sigmaX=along or sigma, sigmaY=sigma)
        return np.asarray(plane / plane.std(), np.float64)

    def clouds(self, size: float) -> Plane:
        """Noise of several grains, the largest `size` px."""
        return (self.noise(size) + 0.6 * self.noise(size / 2.2) + 0.35 * self.noise(size / 5)) / 1.2

    def brushed(self, length: float = 25.0) -> Plane:
        """Draw rolled or sanded grain: long along the grain, a pixel or two across."""
        plane = 0.6 * self.noise(0.7, length) + 0.4 * self.noise(2.0, 2 * length)
        turn = cv2.getRotationMatrix2D(
            (self.width / 2, self.height / 2), math.degrees(self.grain_angle), 1.0
        )
        size = (self.width, self.height)
        return np.asarray(cv2.warpAffine(plane, turn, size, borderMode=cv2.BORDER_REFLECT), np.float64)

    def prime(self) -> Scene:
        """Cover the metal with a dull primer of one of a few hues."""
        hue = PRIMERS[self.rng.integers(len(PRIMERS))]
        self.colour = hue * (1.0 + 0.08 * self.noise(0.8)[..., None] + 0.06 * self.clouds(40)[..., None])
        self.relief = 0.06 * self.noise(1.2)
        self.shine = np.full_like(self.shine, 0.08)
        return self

    def _bare(self, cover: Plane, shade: float) -> None:
        metal = METAL * shade * (1.0 + 0.2 * self.brushed()[..., None])
        self.colour = self.colour * (1 - cover[..., None]) + metal * cover[..., None]
        self.relief = self.relief * (1 - cover) + cover * (0.03 * self.brushed() - 0.25)
        self.shine = self.shine * (1 - cover) + 0.35 * cover

    def chip(self, at: tuple[float, float], radius: float, ragged: float = 0.35) -> Scene:
        """Paint gone down to flat metal, with a sharp ragged edge."""
        reach = np.hypot(self.x - at[0], self.y - at[1]) / radius + ragged * self.clouds(radius / 2 + 1)
        self._bare(_step(1.0 - reach, 1.5 / radius), float(self.rng.uniform(0.7, 1.6)))
        return self

    def pit(
        self, at: tuple[float, float], radius: float, *, product: float = 0.3, stripped: bool = False
    ) -> Scene:
        """Cut a steep-walled hole with a rough floor, dull, with some white product in and on it."""
        angle = np.arctan2(self.y - at[1], self.x - at[0])
        rim = _rim(self.rng, radius)
        rho = np.hypot(self.x - at[0], self.y - at[1]) / rim(angle)
        if stripped:
            bare = rho / self.rng.uniform(1.5, 2.1) + 0.15 * self.clouds(radius / 2)
            self._bare(_step(1.0 - bare, 1.5 / radius), float(self.rng.uniform(0.7, 1.5)))
        rough = self.clouds(max(1.5, radius / 5))
        bowl = np.clip(1.0 - rho**3.5, 0.0, None)
        inside = _step(1.0 - rho, 1.0 / radius)
        dull = METAL * self.rng.uniform(0.6, 0.95) * (1.0 + 0.16 * rough[..., None])
        self.colour = self.colour * (1 - inside[..., None]) + dull * inside[..., None]
        self.relief = self.relief * (1 - inside) - radius * 0.22 * bowl * (
            1.0 + self.rng.uniform(0.08, 0.3) * rough
        )
        self.shine = self.shine * (1 - inside) + 0.05 * inside
        speckle = _step(
            self.clouds(max(1.2, radius / 6)) + 2.4 * product - 1.6 + (rho < 1.15) - rho**4, 0.4
        )
        white = np.clip(speckle * (product > 0) * (rho < 1.5), 0, 1)[..., None]
        self.colour = self.colour * (1 - white) + PRODUCT * (1 + 0.1 * self.noise(0.8)[..., None]) * white
        turn = np.arange(96) * 2 * math.pi / 96
        self.pits.append(np.c_[at[0] + rim(turn) * np.cos(turn), at[1] + rim(turn) * np.sin(turn)])
        return self

    def blend(self, at: tuple[float, float], axes: tuple[float, float]) -> Scene:
        """Sand a shallow dish: the grain turns, nothing else changes much."""
        rho = np.hypot((self.x - at[0]) / axes[0], (self.y - at[1]) / axes[1])
        inside = _step(1.0 - rho, 2.0 / min(axes))
        was, self.grain_angle = self.grain_angle, self.grain_angle + float(self.rng.uniform(0.5, 1.2))
        self._bare(inside, 1.0)
        self.grain_angle = was
        turn = np.arange(96) * 2 * math.pi / 96
        self.blends.append(np.c_[at[0] + axes[0] * np.cos(turn), at[1] + axes[1] * np.sin(turn)])
        return self

    def rivet(
        self, at: tuple[float, float], radius: float, *, flush: bool = False, worn: bool = False
    ) -> Scene:
        """Set a domed head, or a flush one that shows as a fine dark ring."""
        r = np.hypot(self.x - at[0], self.y - at[1])
        if flush:
            self.colour *= 1 - 0.6 * np.exp(-(((r - radius) / 0.9) ** 2))[..., None]
        else:
            self.relief += radius * 0.5 * np.sqrt(np.clip(1 - (r / radius) ** 2, 0, None))
            self.shine = np.where(r < radius, self.shine + 0.15, self.shine)
        if worn:
            self._bare(_step(0.6 - r / radius + 0.06 * self.clouds(radius / 3), 1.5 / radius), 1.4)
        self.rivets.append((*at, radius))
        return self

    def screw(self, at: tuple[float, float], radius: float) -> Scene:
        """Set a flush screw: a fine ring, and a dark slot or cross that does not reach it."""
        self.rivet(at, radius, flush=True)
        turn, long, wide = (
            self.rng.uniform(0, math.pi),
            self.rng.uniform(0.5, 0.8),
            self.rng.uniform(0.1, 0.2),
        )
        x, y = self.x - at[0], self.y - at[1]
        a = np.abs(x * math.cos(turn) + y * math.sin(turn)) / radius
        b = np.abs(y * math.cos(turn) - x * math.sin(turn)) / radius
        slot = _step(wide - b, 1.0 / radius) * _step(long - a, 1.0 / radius)
        if self.rng.random() < 0.6:
            slot = np.maximum(slot, _step(wide - a, 1.0 / radius) * _step(long - b, 1.0 / radius))
        self.colour *= 1 - 0.65 * slot[..., None]
        return self

    def scratch(self, start: tuple[float, float], end: tuple[float, float], bright: float) -> Scene:
        """Draw a scratch one or two px wide."""
        a, b = np.array(start), np.array(end)
        t = np.clip(
            ((self.x - a[0]) * (b - a)[0] + (self.y - a[1]) * (b - a)[1]) / ((b - a) ** 2).sum(), 0, 1
        )
        off = np.hypot(self.x - a[0] - t * (b - a)[0], self.y - a[1] - t * (b - a)[1])
        self.colour *= 1 + bright * np.exp(-((off / 0.9) ** 2))[..., None]
        return self

    def smudge(self, at: tuple[float, float], radius: float, dark: float = 0.4) -> Scene:
        """Wipe a soft-edged stain."""
        r = np.hypot(self.x - at[0], (self.y - at[1]) * 1.3) / radius * (1 + 0.15 * self.clouds(radius))
        tint = np.array([dark * 0.9, dark, dark * 1.2])
        self.colour *= 1 - np.exp(-(r**2))[..., None] * tint
        return self

    def specks(self, count: int, largest: float) -> Scene:
        """Scatter dirt and tiny chips, `largest` px across at most."""
        for _ in range(count):
            cx, cy = self.rng.uniform(0, self.width), self.rng.uniform(0, self.height)
            r = self.rng.uniform(1.0, largest / 2)
            reach = np.hypot((self.x - cx) * self.rng.uniform(0.6, 1.4), self.y - cy) / r
            tone = METAL * 1.3 if self.rng.random() < 0.5 else np.array([0.10, 0.09, 0.07])
            cover = 0.7 * _step(1 - reach, 1.0 / r)[..., None]
            self.colour = self.colour * (1 - cover) + tone * cover
        return self

    def ink(self, text: str, at: tuple[int, int], size: float = 0.6) -> Scene:
        """Write on the metal."""
        layer = np.zeros((self.height, self.width), np.uint8)
        cv2.putText(layer, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, 255, 2, cv2.LINE_AA)
        self.colour *= 1 - 0.75 * (layer / 255.0)[..., None]
        return self

    def print_on(self, count: int, scale: float = 1.0) -> Scene:
        """Print numbers and words anywhere, of any size, turn and darkness."""
        words = ("lay flat", "face up", "No.", "CAUTION", "zone", "mm", "sheet", "4711", "80", "B6-2")
        faces = (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX)
        size = (self.width, self.height)
        for _ in range(count):
            layer = np.zeros((self.height, self.width), np.uint8)
            at = self.rng.uniform(0.05, 0.85, 2) * size
            face, tall = faces[self.rng.integers(3)], float(self.rng.uniform(0.4, 1.5)) * scale
            place = (int(at[0]), int(at[1]))
            cv2.putText(
                layer, str(self.rng.choice(words)), place, face, tall, 255, round(1 + tall), cv2.LINE_AA
            )
            angle = 90.0 if self.rng.random() < 0.3 else float(self.rng.uniform(-8, 8))
            turn = cv2.getRotationMatrix2D((self.width / 2, self.height / 2), angle, 1.0)
            cover = 0.85 * cv2.warpAffine(layer, turn, size)[..., None] / 255.0
            ink = float(self.rng.choice([0.02, 0.08, 0.25, 0.8]))
            self.colour = self.colour * (1 - cover) + ink * cover
        return self

    def flatten(self) -> Scene:
        """Make the metal one tone of a plain hue, with little or no grain: a spray coat or a scan."""
        tone = float(self.rng.uniform(0.25, 0.7)) * (1 + 0.06 * self.rng.uniform(-1, 1, 3))
        grain = float(self.rng.uniform(0.0, 0.05))
        self.colour = tone * (1.0 + grain * self.noise(0.9)[..., None])
        self.relief = np.zeros_like(self.relief)
        self.shine = np.full_like(self.shine, 0.05)
        return self

    def stain(self, at: tuple[float, float], radius: float) -> Scene:
        """Lay down a pit that shows by its tone alone: even or cloudy, of hard rim, no relief."""
        angle = np.arctan2(self.y - at[1], self.x - at[0])
        rim = _rim(self.rng, radius)
        rho = np.hypot(self.x - at[0], self.y - at[1]) / rim(angle)
        cover = _step(1.0 - rho, float(self.rng.uniform(1.0, 2.5)) / radius)[..., None]
        shade = float(self.rng.uniform(0.25, 0.75))
        cloud = float(self.rng.uniform(0.0, 0.25)) * self.clouds(max(1.5, radius / 3))
        self.colour = self.colour * (1 - cover * (1 - shade * (1 + cloud[..., None])))
        turn = np.arange(96) * 2 * math.pi / 96
        self.pits.append(np.c_[at[0] + rim(turn) * np.cos(turn), at[1] + rim(turn) * np.sin(turn)])
        return self

    def rule(self, top: int, tall: int, pitch: float) -> Scene:
        """Lay a steel rule across: ticks, numbers, a sharp edge with a shadow under it."""
        strip = slice(top, top + tall)
        self.colour[strip] = METAL * 1.1 * (1.0 + 0.05 * self.noise(0.8, 20.0)[strip, :, None])
        self.relief[strip], self.shine[strip] = 2.0, 0.2
        for k in range(int(self.width / pitch)):
            x, long = int(pitch * (k + 0.5)), (0.22, 0.34)[k % 5 == 0]
            self.colour[top + 2 : top + int(tall * long), x : x + max(1, int(pitch / 6))] *= 0.2
            if k % 10 == 0:
                self.ink(f"{k}", (x - 8, top + int(tall * 0.75)), tall / 90)
        self.covered.append((top, top + tall))
        return self

    def checker(self, at: tuple[int, int], cell: int) -> Scene:
        """Print a row of dark squares."""
        for k in range(8):
            y, x = at[1] + cell * (k % 2), at[0] + cell * k
            self.colour[y : y + cell, x : x + cell] = 0.03
            self.relief[y : y + cell, x : x + cell] = 0.0
        return self

    def shoot(self, *, blur: float = 0.7, noise: float = 0.012, jpeg: int = 92) -> NDArray[np.uint8]:
        """Light it, photograph it: RGB, uint8, (height, width, 3)."""
        turn, rise = self.rng.uniform(0, 2 * math.pi), math.radians(self.rng.uniform(25, 40))
        lamp = np.array([math.cos(rise) * math.cos(turn), math.cos(rise) * math.sin(turn), math.sin(rise)])
        slope_y, slope_x = np.gradient(self.relief)
        normal = np.dstack([-slope_x, -slope_y, np.ones_like(slope_x)])
        normal /= np.linalg.norm(normal, axis=2, keepdims=True)
        diffuse = np.clip(normal @ lamp, 0.03, None) / lamp[2]
        half = lamp + np.array([0.0, 0.0, 1.0])
        half /= np.linalg.norm(half)
        gloss = self.shine * np.clip(normal @ half, 0, 1) ** 14
        fall = 1 + 0.35 * ((self.x / self.width - 0.5) * lamp[0] + (self.y / self.height - 0.5) * lamp[1])
        light = (self.colour * (0.25 + 0.75 * diffuse[..., None]) + 0.5 * gloss[..., None]) * fall[
            ..., None
        ]
        seen = cv2.GaussianBlur(np.clip(light, 0, 1.2), (0, 0), blur) / 1.05
        seen = np.clip(seen, 0, 1) ** (1 / 2.2) + noise * self.rng.standard_normal(seen.shape)
        rgb = np.rint(np.clip(seen, 0, 1) * 255).astype(np.uint8)
        _, packed = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, jpeg])
        decoded = cv2.imdecode(packed, cv2.IMREAD_COLOR)
        assert decoded is not None
        return np.ascontiguousarray(decoded[..., ::-1]).astype(np.uint8)


def _step(value: Plane, width: float) -> Plane:
    return np.asarray(1 / (1 + np.exp(np.clip(-4 * value / width, -50, 50))))


def _rim(rng: np.random.Generator, radius: float) -> Callable[[Plane], Plane]:
    stretch, lean = rng.uniform(1.0, 1.5), rng.uniform(0, math.pi)
    waves = [(k, rng.uniform(0.03, 0.12) / k**0.7, rng.uniform(0, 6.28)) for k in range(2, 8)]

    def rim(angle: Plane) -> Plane:
        a = angle - lean
        oval = 1 / np.hypot(np.cos(a) / math.sqrt(stretch), np.sin(a) * math.sqrt(stretch))
        return np.asarray(radius * oval * (1 + sum(size * np.cos(k * a - p) for k, size, p in waves)))

    return rim


def crowd(scene: Scene, count: int, radii: tuple[float, float], product: tuple[float, float]) -> Scene:
    """Place `count` pits apart from one another and from the rivets."""
    primed = bool(scene.shine.mean() < 0.2)
    taken = [(x, y, r * 1.6) for x, y, r in scene.rivets]
    for _ in range(60 * count):
        if len(scene.pits) == count:
            break
        r = math.exp(scene.rng.uniform(math.log(radii[0]), math.log(radii[1])))
        at = (
            float(scene.rng.uniform(2.5 * r, scene.width - 2.5 * r)),
            float(scene.rng.uniform(2.5 * r, scene.height - 2.5 * r)),
        )
        if any(low - 1.5 * r < at[1] < high + 1.5 * r for low, high in scene.covered):
            continue
        if all(math.hypot(at[0] - x, at[1] - y) > q + 2.4 * r for x, y, q in taken):
            taken.append((*at, 2.4 * r))
            scene.pit(at, r, product=float(scene.rng.uniform(*product)), stripped=primed)
    return scene


def shop_floor(
    seed: int, *, pits: int = 5, width: int = 800, height: int = 600, scale: float = 1.0
) -> Scene:
    """Draw a whole picture, bare or primed, with everything a shop has, and pits."""
    scene = Scene(width, height, seed)
    primed = seed % 2 == 1
    if primed:
        scene.prime()
    scene.specks(60, 9 * scale)
    flush = seed % 4 == 0
    pitch = 110 * scale
    row = float(scene.rng.uniform(0.1, 0.2)) * height
    for k in range(int(width / pitch)):
        scene.rivet((pitch * (k + 0.5), row), 20 * scale, flush=flush, worn=primed and k % 3 == 0)
    for _ in range(6):
        a = scene.rng.uniform(0, 1, 4) * [width, height, width, height]
        scene.scratch((a[0], a[1]), (a[2], a[3]), float(scene.rng.uniform(-0.4, 0.6)))
    for _ in range(5):
        at = scene.rng.uniform(0.1, 0.9, 2) * [width, height]
        scene.smudge((at[0], at[1]), float(scene.rng.uniform(15, 50)) * scale)
    if primed:
        for _ in range(8):
            at = scene.rng.uniform(0.05, 0.95, 2) * [width, height]
            scene.chip((at[0], at[1]), float(scene.rng.uniform(4, 26)) * scale)
    if seed % 3 == 0:
        scene.rule(int(height * 0.8), int(60 * scale), 9 * scale)
    if seed % 5 == 0:
        scene.checker((int(width * 0.1), int(height * 0.6)), int(28 * scale))
    scene.ink(f"{200 + seed}/46", (int(width * 0.65), int(height * 0.97)), 0.7 * scale)
    return crowd(scene, pits, (8 * scale, 36 * scale), (0.0, 0.6))


def plain_sheet(seed: int, *, pits: int = 5, width: int = 800, height: int = 600) -> Scene:
    """Draw an even or brushed sheet whose pits show by tone alone, among print, rivets and smudges.

    Seeds of 400 and more have screws for rivets, and print for certain.
    """
    scene = Scene(width, height, seed)
    if seed % 3:
        scene.flatten()
    rng = scene.rng
    scene.specks(int(rng.integers(0, 40)), 8)
    pitch, radius = float(rng.uniform(90, 160)), float(rng.uniform(10, 26))
    row = float(rng.uniform(0.1, 0.2)) * height
    for k in range(int(width / pitch)):
        if seed >= 400:
            scene.screw((pitch * (k + 0.5), row), radius)
        else:
            scene.rivet((pitch * (k + 0.5), row), radius, flush=seed % 2 == 0)
    for _ in range(int(rng.integers(0, 6))):
        a = rng.uniform(0, 1, 4) * [width, height, width, height]
        scene.scratch((a[0], a[1]), (a[2], a[3]), float(rng.uniform(-0.5, 0.6)))
    for _ in range(int(rng.integers(1, 7))):
        at = rng.uniform(0.1, 0.9, 2) * [width, height]
        scene.smudge((at[0], at[1]), float(rng.uniform(10, 60)), float(rng.uniform(0.15, 0.6)))
    if seed % 4 == 3 or seed >= 400:
        scene.print_on(6)
    if seed % 5 == 1:
        for _ in range(5):
            at = rng.uniform(0.05, 0.95, 2) * [width, height]
            scene.chip((at[0], at[1]), float(rng.uniform(4, 26)))
    return _stained(scene, pits)


def _stained(scene: Scene, pits: int) -> Scene:
    taken = [(x, y, r * 1.6) for x, y, r in scene.rivets]
    for _ in range(60 * pits):
        r = math.exp(scene.rng.uniform(math.log(7), math.log(40)))
        at = scene.rng.uniform(2.0 * r, [scene.width - 2.0 * r, scene.height - 2.0 * r])
        free = all(math.hypot(at[0] - x, at[1] - y) > q + 2.2 * r for x, y, q in taken)
        if free and len(scene.pits) < pits:
            taken.append((at[0], at[1], 2.2 * r))
            scene.stain((at[0], at[1]), r)
    return scene
