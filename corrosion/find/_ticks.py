"""Finding the ticks of a rule along a line, to a fraction of a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from corrosion.errors import ScaleError
from corrosion.model import RuleScale, RuleTick
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray

LEAST_PITCH_PX, MOST_PITCH_PX = 2.5, 120.0
LEAST_TICKS = 8
# Below this ratio of spectral peak to median, one pitch in seven was grossly wrong (metrology tables).
LEAST_PEAK = 8.0
# Autocorrelation of a row at the lag of one tick. Grain of bare metal reaches 0.37, a checker 0.47, worn
# and unevenly lit ticks 0.67.
LEAST_LIKENESS = 0.5
# Ticks of a rule are regular to a small part of their distance; chance finds are not.
MOST_SCATTER = 0.05
_BAND_SHARE = 0.06
_MOST_BAND_PX, _LEAST_BAND_PX = 60, 10
_ROWS = 5
_LEAST_ROWS = 4
_FULL_STRENGTH = 0.75
_LABEL_TOLERANCE = 0.2


@dataclass(frozen=True, eq=False)
class _Strip:
    """The picture along the line: rows (2 w + 1, n) one px apart, `start` and unit `along`, `across`."""

    rows: FloatArray
    half_width: int
    start: FloatArray
    along: FloatArray
    across: FloatArray

    def in_picture(self, u: FloatArray, v: float) -> FloatArray:
        points: FloatArray = self.start + u[:, None] * self.along + v * self.across
        return points


@dataclass(frozen=True)
class _Pitch:
    row: int
    pitch: float
    likeness: float
    peak: float
    power: float


def find_ticks(grey: FloatArray, scale: RuleScale, place: str) -> RuleScale:
    """Find the ticks that the rule's line crosses.

    Parameters
    ----------
    grey : ndarray of shape (H, W)
    scale : RuleScale
        Its `image` is the line; its `labels` narrow the search.

    Returns
    -------
    RuleScale
        With `ticks`, several points along each.

    Raises
    ------
    ScaleError
        If no regular ticks are there, or fewer than 8.
    """
    strip = _strip(grey, np.array(scale.image, dtype=np.float64), place)
    expected = _expected_pitch(scale, strip)
    band, pitch = _band(strip, expected, place)
    ticks: dict[int, list[tuple[float, float]]] = {}
    phase_before: FloatArray | None = None
    chosen = set(np.unique(np.linspace(band[0], band[-1], _ROWS).round().astype(int)).tolist())
    for row in band:
        profile = _profile(strip.rows, row, pitch)
        phase_before = _phase(profile, pitch, phase_before)
        if row in chosen:
            _collect(ticks, strip, row, profile, phase_before, pitch)
    found = _consistent(ticks, strip, MOST_SCATTER * pitch)
    if len(found) < LEAST_TICKS:
        raise ScaleError(
            f"only {len(found)} ticks were found along the rule's line; at least {LEAST_TICKS} are needed.",
            place=place,
            remedy="Draw the line across more ticks, near their feet, or use the rule as a bar.",
        )
    return scale.model_copy(update={"ticks": found})


def _strip(grey: FloatArray, ends: FloatArray, place: str) -> _Strip:
    length = float(np.linalg.norm(ends[1] - ends[0]))
    if length < LEAST_TICKS * LEAST_PITCH_PX:
        raise ScaleError(
            f"the rule's line is only {length:.0f} px long.",
            place=place,
            remedy="Draw it along the rule, across as many ticks as possible.",
        )
    if (ends < -1.0).any() or (ends > np.array(grey.shape[::-1])).any():
        raise ScaleError(
            f"the rule's line leaves the picture of {grey.shape[1]} x {grey.shape[0]} px.",
            place=place,
            remedy="Draw it from tick to tick within the picture.",
        )
    along = (ends[1] - ends[0]) / length
    across = np.array([-along[1], along[0]])
    half = int(np.clip(_BAND_SHARE * length, _LEAST_BAND_PX, _MOST_BAND_PX))
    margin = 3.0
    u = np.arange(-margin, length + margin + 0.5)
    v = np.arange(-half, half + 1, dtype=np.float64)
    grid = ends[0] + u[None, :, None] * along + v[:, None, None] * across
    rows = cv2.remap(
        grey.astype(np.float32),
        grid[..., 0].astype(np.float32),
        grid[..., 1].astype(np.float32),
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return _Strip(np.asarray(rows, dtype=np.float64), half, ends[0] - margin * along, along, across)


def _expected_pitch(scale: RuleScale, strip: _Strip) -> float | None:
    if scale.labels is None or scale.labels[0] == scale.labels[1]:
        return None
    length = float(np.linalg.norm(np.subtract(*scale.image)))
    del strip
    return length * scale.tick / abs(scale.labels[1] - scale.labels[0])


def _profile(rows: FloatArray, row: int, pitch: float) -> FloatArray:
    """Brightness along one row, averaged over a few, less its slow background."""
    near = rows[max(0, row - 2) : row + 3].mean(axis=0)
    flat: FloatArray = near - gaussian_filter1d(near, pitch)
    return flat


def _pitches_of(rows: FloatArray, row: int, limits: tuple[float, float]) -> list[_Pitch]:
    """Pitches a row may have: spectral peaks whose lag the row repeats itself at."""
    # Here, because loading it takes as long as all the rest of a command that needs no rule.
    from scipy.signal import find_peaks  # noqa: PLC0415

    profile = _profile(rows, row, min(20.0, limits[1]))
    n = len(profile)
    padded = 8 * n
    power = np.abs(np.fft.rfft(profile * np.hanning(n), padded))
    frequency = np.fft.rfftfreq(padded)
    inside = (frequency > 1.0 / limits[1]) & (frequency < 1.0 / limits[0])
    if not inside.any():
        return []
    level = float(np.median(power[frequency > 1.0 / (2.0 * limits[1])])) or 1e-12
    peaks, _ = find_peaks(
        np.where(inside, power, 0.0), height=0.15 * float(power[inside].max()), distance=8
    )
    repeat = np.fft.irfft(np.abs(np.fft.rfft(profile, 2 * n)) ** 2)[:n]
    repeat = repeat / max(repeat[0], 1e-12) * n / np.maximum(n - np.arange(n), 1)
    found = []
    for peak in sorted(peaks, key=lambda i: -power[i])[:8]:
        pitch = 1.0 / frequency[peak]
        near = np.arange(max(1, int(0.85 * pitch)), min(n - 1, int(1.15 * pitch) + 2))
        if len(near):
            best = near[int(np.argmax(repeat[near]))]
            if repeat[best] >= repeat[best - 1]:
                found.append(
                    _Pitch(row, pitch, float(repeat[best]), float(power[peak]) / level, float(power[peak]))
                )
    return found


def _band(strip: _Strip, expected: float | None, place: str) -> tuple[list[int], float]:
    """Rows next to each other that show the ticks, and their pitch, px."""
    n = strip.rows.shape[1]
    limits = (LEAST_PITCH_PX, min(MOST_PITCH_PX, n / LEAST_TICKS))
    if expected is not None:
        limits = (expected * (1.0 - _LABEL_TOLERANCE), expected * (1.0 + _LABEL_TOLERANCE))
    found = [p for row in range(len(strip.rows)) for p in _pitches_of(strip.rows, row, limits)]
    good = [p for p in found if p.peak >= LEAST_PEAK and p.likeness > LEAST_LIKENESS]
    if len({p.row for p in good}) < _LEAST_ROWS:
        raise ScaleError(
            "no regular ticks were found along the rule's line.",
            place=place,
            remedy="Draw the line across the ticks near their feet; check 'tick' and the labels; "
            "or use the rule as a bar between two marks.",
        )
    best = max(p.likeness for p in good)
    # Multiples of the pitch repeat as well as the pitch itself; fractions of it do not.
    clear = [p for p in good if p.likeness > 0.5 * best]
    same = _finest(clear)
    pitch = float(np.median([p.pitch for p in same]))
    strength = {p.row: p.power for p in same}
    rows = np.array(sorted(strength))
    runs = np.split(rows, np.flatnonzero(np.diff(rows) > 3) + 1)
    run = max(runs, key=lambda r: sum(strength[int(row)] for row in r))
    # Rows at the very feet or tops of the ticks see only part of them, and are pulled by the light.
    usual = float(np.percentile([strength[int(row)] for row in run], 75))
    full = [int(row) for row in run if strength[int(row)] > _FULL_STRENGTH * usual]
    inset = len(full) // 10
    return full[inset : len(full) - inset], pitch


def _finest(found: list[_Pitch]) -> list[_Pitch]:
    """Rows that agree on the smallest pitch; a pitch that few rows show is chance."""
    needed = min(_LEAST_ROWS, max(1, len({p.row for p in found}) // 2))
    for candidate in sorted(found, key=lambda p: p.pitch):
        same = [p for p in found if 1.0 / 1.06 < p.pitch / candidate.pitch < 1.06]
        if len({p.row for p in same}) >= needed:
            middle = float(np.median([p.pitch for p in same]))
            return [p for p in found if abs(p.pitch / middle - 1.0) < 0.06]
    return found


def _phase(profile: FloatArray, pitch: float, before: FloatArray | None) -> FloatArray:
    """Phase of the ticks along a row, in ticks; whole numbers where the profile is brightest.

    Demodulated at the mean pitch and unwrapped, so that a pitch that shrinks with distance only bends it.
    """
    u = np.arange(len(profile), dtype=np.float64)
    turning = profile * np.exp(-2j * math.pi * u / pitch)
    width = 1.5 * pitch
    slow = gaussian_filter1d(turning.real, width) + 1j * gaussian_filter1d(turning.imag, width)
    phase = u / pitch + np.unwrap(np.angle(slow)) / (2.0 * math.pi)
    if before is not None:
        phase = phase - round(float(np.median(phase - before)))
    return np.asarray(phase, dtype=np.float64)


def _collect(
    ticks: dict[int, list[tuple[float, float]]],
    strip: _Strip,
    row: int,
    profile: FloatArray,
    phase: FloatArray,
    pitch: float,
) -> None:
    """Refine each tick of a row by the centroid of its dip (or ridge) and file it under its number."""
    u = np.arange(len(profile), dtype=np.float64)
    rising = np.maximum.accumulate(phase)
    sign = 1.0 if _skew(profile) > 0 else -1.0
    offset = 0.0 if sign > 0 else 0.5
    numbers = np.arange(math.ceil(rising[0] - offset), math.floor(rising[-1] - offset) + 1)
    middles = np.interp(numbers + offset, rising, u)
    ridge = sign * gaussian_filter1d(profile, 0.7)
    found = [(int(k), *_centroid(ridge, middle, pitch)) for k, middle in zip(numbers, middles, strict=True)]
    usual = float(np.median([height for _, _, height in found])) if found else 0.0
    for number, at, height in found:
        if height > 0.35 * usual and 2.0 < at < len(profile) - 3.0:
            ticks.setdefault(number, []).append((at, float(row - strip.half_width)))


def _skew(profile: FloatArray) -> float:
    return float((profile**3).mean())


def _centroid(ridge: FloatArray, middle: float, pitch: float) -> tuple[float, float]:
    """Place and height of the ridge next to `middle`."""
    reach = 0.4 * pitch
    first, last = max(0, math.ceil(middle - reach)), min(len(ridge), math.floor(middle + reach) + 1)
    if last - first < 3:
        return middle, 0.0
    part = ridge[first:last]
    top = first + int(np.argmax(part))
    height = float(ridge[top] - part.min())
    # The same half-height threshold on both sides of the top, so that a slope in the light does not pull.
    level = ridge[top] - 0.6 * height
    a, b = top, top
    while a > first and ridge[a - 1] > level:
        a -= 1
    while b < last - 1 and ridge[b + 1] > level:
        b += 1
    a, b = max(0, a - 1), min(len(ridge) - 1, b + 1)
    weight = np.maximum(ridge[a : b + 1] - level, 0.0)
    return float((weight * np.arange(a, b + 1)).sum() / max(float(weight.sum()), 1e-12)), height


def _consistent(
    ticks: dict[int, list[tuple[float, float]]], strip: _Strip, scatter: float
) -> list[RuleTick]:
    """Drop points that break the regular spacing, all if most do; put the rest into the picture."""
    every = np.array([(k, u, v) for k, points in ticks.items() for u, v in points]).reshape(-1, 3)
    for _ in range(4):
        if len(every) < 2 * LEAST_TICKS:
            break
        k = (every[:, 0] - every[:, 0].mean()) / max(1.0, float(np.ptp(every[:, 0])))
        v = every[:, 2]
        design = np.column_stack([np.ones_like(k), k, k**2, k**3, v, v * k])
        off = every[:, 1] - design @ np.linalg.lstsq(design, every[:, 1], rcond=None)[0]
        usual = float(np.median(np.abs(off)))
        if usual > scatter:
            return []
        keep = np.abs(off) <= max(0.25, 4.5 * usual)
        if keep.all():
            break
        every = every[keep]
    found = []
    for number in np.unique(every[:, 0]) if len(every) else []:
        mine = every[every[:, 0] == number]
        points = np.vstack([strip.in_picture(np.array([u]), v) for _, u, v in mine])
        rounded = [(round(float(x), 3), round(float(y), 3)) for x, y in points]
        found.append(RuleTick(number=int(number), points=rounded))
    return found
