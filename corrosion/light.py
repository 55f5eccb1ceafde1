"""Depths read from light: the length of a shadow, the travel of a focus. Indicative, never proof.

Both are first-order budgets (JCGM 100:2008, 5.1.2) of formulas derived in closed form; they were tried on
numbers, not on photographed pits. Approved data call for a depth gauge, a micrometer or ultrasound.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from corrosion.errors import MetrologyError
from corrosion.quantity import Measured, total
from corrosion.terms import DepthMethod, Flag, Relation

CAUTION = "Indicative, not a depth measurement: read the depth with a gauge before deciding on it."
STEEPEST_RAD, FLATTEST_RAD = math.radians(45.0), math.radians(5.0)
"""Above 45 degrees a shadow is shorter than the pit is deep; below 5 every ripple throws one."""
SHORTEST_PX = 5.0
DOUBTFUL_SHARE = 0.15
"""Relative standard uncertainty above which first order is only a guide."""
LEAST_FOCUS_STEPS = 5
LEAST_REPEATS = 3
SQRT12 = math.sqrt(12.0)


class ShadowEnd(StrEnum):
    """Where the shadow of the rim ends."""

    FLOOR = "floor"
    FAR_WALL = "far wall"
    NONE = "no shadow"


@dataclass(frozen=True)
class Lamp:
    """A lamp whose angle above the local surface is known, with its standard uncertainty."""

    elevation_rad: float
    u_elevation_rad: float


@dataclass(frozen=True)
class Gnomon:
    """A post of known height standing on the surface beside the pit, in the same light.

    Attributes
    ----------
    height, shadow : Measured
        mm; of the post, and of its shadow on the surface. A shadow measured in the same photo as the
        pit's keeps the sources they share, so an error of scale cancels.
    """

    height: Measured
    shadow: Measured


@dataclass(frozen=True)
class Sight:
    """From where the picture was taken.

    Attributes
    ----------
    tilt_rad, u_tilt_rad : float
        Angle between the line of sight and the surface's normal.
    azimuth_rad : float
        From the direction the light runs to the direction the camera leans, in the surface.
    """

    tilt_rad: float = 0.0
    u_tilt_rad: float = 0.0
    azimuth_rad: float = 0.0


@dataclass(frozen=True)
class LightDepth:
    """A depth (mm, always `Flag.INDICATIVE`), whether it is a bound, and the words to show beside it."""

    depth: Measured
    method: DepthMethod
    relation: Relation = Relation.EQUAL
    caution: str = CAUTION


def shadow_depth(
    length: Measured,
    light: Lamp | Gnomon | None,
    *,
    length_px: float,
    end: ShadowEnd = ShadowEnd.FLOOR,
    sight: Sight = Sight(),
    source_rad: float = 0.0,
    specular_floor: bool = False,
) -> LightDepth:
    """Depth of a pit from the shadow its rim throws on its floor.

    ``h = L / (cot e + tan v cos D)``: the tip lies at depth h, a run ``h cot e`` from the rim, and a
    sight tilted by v shifts it by a further ``h tan v`` towards the side the camera leans to. With a
    gnomon ``cot e`` is its shadow over its height and the elevation drops out.

    Parameters
    ----------
    length : Measured
        mm on the surface, along the light, from the rim to the tip (half-shadow); for an `end` other
        than the floor, the width of the pit along the light.
    light : Lamp or Gnomon or None
        None is refused: a shadow of unknown light says nothing.
    length_px : float
        The same length in the picture.
    end : ShadowEnd
        On the far wall the pit is at least as deep; without any shadow at most.
    sight : Sight
        Straight down unless told.
    source_rad : float
        Angle the lamp's face subtends at the pit: the shadow's edge is ``h a / sin^2 e`` wide.
    specular_floor : bool
        True where the floor mirrors: the edge seen is then not the shadow's.

    Returns
    -------
    LightDepth
        Flags `Flag.INDICATIVE`, `Flag.LOWER_BOUND` or `Flag.UPPER_BOUND`, and
        `Flag.FIRST_ORDER_DOUBTFUL` above 15 % standard uncertainty.

    Raises
    ------
    MetrologyError
        If the light is unknown, steeper than 45 or flatter than 5 degrees; the length is under 5 px;
        the floor mirrors; or a number is not positive where it has to be.
    """
    _refuse_shadow(length, light, length_px, specular_floor=specular_floor)
    assert light is not None  # noqa: S101 -- refused above
    cot = _cotangent(light)
    elevation = math.atan2(1.0, cot.value)
    _refuse_elevation(elevation)
    shift = math.tan(sight.tilt_rad) * math.cos(sight.azimuth_rad)
    run = cot.value + shift
    if not (0.0 <= sight.tilt_rad < math.pi / 2) or run < 0.2 * cot.value:
        raise MetrologyError(
            f"from {math.degrees(sight.tilt_rad):.0f} deg off the normal the shadow cannot be judged.",
            remedy="Photograph the pit from more nearly straight above.",
        )
    height = length.value / run
    penumbra = height * source_rad / math.sin(elevation) ** 2 / SQRT12
    parts = [
        length.scaled(1.0 / run),
        cot.scaled(-height / run, value=0.0, unit="mm"),
        Measured(0.0, "mm", own={"edge of the shadow": penumbra / run}),
        Measured(0.0, "mm", own={"line of sight": _sight_part(sight, height / run)}),
    ]
    depth = replace(total(parts, "mm"), value=height)
    return _bound(depth, end)


def _sight_part(sight: Sight, per_run: float) -> float:
    slope = math.cos(sight.azimuth_rad) / math.cos(sight.tilt_rad) ** 2
    return abs(per_run * slope * sight.u_tilt_rad)


def _cotangent(light: Lamp | Gnomon) -> Measured:
    """Run of the light for a fall of one."""
    if isinstance(light, Lamp):
        _positive(light.elevation_rad, "light elevation")
        _not_negative(light.u_elevation_rad, "uncertainty of the light elevation")
        # Checked before the tangent, which would turn 135 degrees into a negative length.
        _refuse_elevation(light.elevation_rad)
        part = light.u_elevation_rad / math.sin(light.elevation_rad) ** 2
        return Measured(1.0 / math.tan(light.elevation_rad), "1", own={"light elevation": part})
    _positive(light.height.value, "gnomon height")
    _positive(light.shadow.value, "gnomon shadow")
    cot = light.shadow.value / light.height.value
    parts = [_renamed(light.shadow, "gnomon shadow").scaled(1.0 / light.height.value)]
    parts.append(_renamed(light.height, "gnomon height").scaled(-cot / light.height.value))
    return replace(total(parts, "1"), value=cot)


def _renamed(part: Measured, name: str) -> Measured:
    """Keep the own parts of two lengths apart in the budget; what they share keeps its name."""
    return replace(part, own={f"{name}: {key}": c for key, c in part.own.items()})


def _bound(depth: Measured, end: ShadowEnd) -> LightDepth:
    flags = {Flag.INDICATIVE}
    relation = Relation.EQUAL
    if end is ShadowEnd.FAR_WALL:
        relation, flags = Relation.AT_LEAST, flags | {Flag.LOWER_BOUND}
    elif end is ShadowEnd.NONE:
        relation, flags = Relation.AT_MOST, flags | {Flag.UPPER_BOUND}
    if depth.u > DOUBTFUL_SHARE * depth.value:
        flags |= {Flag.FIRST_ORDER_DOUBTFUL}
    return LightDepth(depth.with_flags(*flags), DepthMethod.SHADOW, relation)


def _refuse_shadow(
    length: Measured, light: Lamp | Gnomon | None, length_px: float, *, specular_floor: bool
) -> None:
    if light is None:
        raise MetrologyError(
            "the height of the light is not known, so the shadow gives no depth.",
            remedy="State the light's elevation, or stand a post of known height beside the pit.",
        )
    if specular_floor:
        raise MetrologyError(
            "the floor of the pit mirrors; the edge seen is not that of the shadow.",
            remedy="Dull the floor, or read the depth with a gauge.",
        )
    _positive(length.value, "shadow length")
    if not length_px >= SHORTEST_PX:
        raise MetrologyError(
            f"a shadow of {length_px:.1f} px is too short to measure; {SHORTEST_PX:g} px are needed.",
            remedy="Move closer, or lower the light.",
        )


def _refuse_elevation(elevation: float) -> None:
    if not FLATTEST_RAD - 1e-9 <= elevation <= STEEPEST_RAD + 1e-9:
        raise MetrologyError(
            f"light at {math.degrees(elevation):.1f} deg above the surface is outside 5 to 45 deg.",
            remedy="Move the lamp and photograph the pit again.",
        )


@dataclass(frozen=True)
class FocusPoint:
    """Where the travel scale stood when one height was in focus.

    Attributes
    ----------
    position : float
        On the travel scale, mm.
    contributions : dict of str to float
        Standard uncertainties of `position`, mm.
    depth_of_field : float
        mm; 0 where the position is the peak of a fitted focus curve.
    upwards : bool or None
        Direction of travel when it was set; None where both were used.
    """

    position: float
    contributions: dict[str, float]
    depth_of_field: float = 0.0
    upwards: bool | None = True


def judged_focus(
    readings: Sequence[float], depth_of_field: float, *, upwards: bool | None = True
) -> FocusPoint:
    """Focus set by eye: the mean of the readings.

    Anywhere within the depth of field looks sharp, so each judgement carries ``DOF / (2 sqrt 3)``
    (rectangular), which repeats by the same eye do not average away. Scatter is added from three
    readings on (JCGM 100:2008, 4.2.3); fewer give no Type A part.

    Raises
    ------
    MetrologyError
        If there is no reading or the depth of field is not positive.
    """
    values = np.asarray(readings, dtype=np.float64)
    if values.size == 0 or not np.isfinite(values).all():
        raise MetrologyError(f"focus readings {list(readings)} are not numbers to average.")
    _positive(depth_of_field, "depth of field")
    parts = {"depth of field": depth_of_field / SQRT12}
    if values.size >= LEAST_REPEATS:
        parts["scatter"] = float(values.std(ddof=1) / math.sqrt(values.size))
    return FocusPoint(float(values.mean()), parts, depth_of_field, upwards)


def fitted_focus(
    positions: Sequence[float], sharpness: Sequence[float], *, upwards: bool | None = True
) -> FocusPoint:
    """Focus from the peak of a sharpness curve: a parabola through the steps round the largest.

    Parameters
    ----------
    positions : sequence of float
        Of the travel scale, mm, at least 5.
    sharpness : sequence of float
        Any measure that peaks in focus, such as the energy of the Laplacian.
    upwards : bool or None
        Direction of travel.

    Returns
    -------
    FocusPoint
        Uncertainty from the fit's covariance, not below the step over sqrt 12.

    Raises
    ------
    MetrologyError
        If there are fewer than 5 steps, or the curve does not peak within them.
    """
    z, s = np.asarray(positions, dtype=np.float64), np.asarray(sharpness, dtype=np.float64)
    if z.shape != s.shape or len(np.unique(z)) < LEAST_FOCUS_STEPS or not np.isfinite(z + s).all():
        raise MetrologyError(
            f"a focus curve of {len(np.unique(z))} steps cannot be fitted.",
            remedy=f"Give at least {LEAST_FOCUS_STEPS} positions, each with its sharpness.",
        )
    order = np.argsort(z)
    z, s = z[order], s[order]
    top = int(s.argmax())
    near = slice(max(0, min(top - 2, len(z) - 5)), max(0, min(top - 2, len(z) - 5)) + 5)
    z, s = z[near], s[near]
    middle = float(z.mean())
    design = np.vander(z - middle, 3)
    bend, slope, _ = coefficients = np.linalg.solve(design.T @ design, design.T @ s)
    peak = -slope / (2 * bend) if bend < 0 else math.inf
    if not z[0] - middle < peak < z[-1] - middle:
        raise MetrologyError(
            "the sharpness does not peak within the positions given.",
            remedy="Step through focus from clearly unsharp to clearly unsharp.",
        )
    residual = s - design @ coefficients
    covariance = np.linalg.inv(design.T @ design) * float(residual @ residual) / (len(z) - 3)
    by = np.array([slope / (2 * bend**2), -1 / (2 * bend), 0.0])
    u = max(math.sqrt(float(by @ covariance @ by)), float(np.diff(z).max()) / SQRT12)
    return FocusPoint(float(middle + peak), {"focus curve": u}, 0.0, upwards)


def focus_depth(
    rim: FocusPoint,
    floor: FocusPoint,
    *,
    scale: float = 1.0,
    u_scale: float = 0.0,
    backlash: float | None = None,
) -> LightDepth:
    """Depth of a pit from the travel between focus on its rim and on its floor, in air.

    Parameters
    ----------
    rim, floor : FocusPoint
        mm of the travel scale.
    scale, u_scale : float
        True travel per scale reading and its standard uncertainty.
    backlash : float, optional
        Standard uncertainty of the drive's backlash, mm, where it was measured; without it both points
        have to be approached from the same side.

    Returns
    -------
    LightDepth
        Flag `Flag.INDICATIVE`.

    Raises
    ------
    MetrologyError
        If the depth of field exceeds the depth, or the directions differ and backlash is unknown.
    """
    _positive(scale, "travel scale")
    _not_negative(u_scale, "uncertainty of the travel scale")
    _not_negative(backlash or 0.0, "backlash")
    if backlash is None and (rim.upwards is None or rim.upwards is not floor.upwards):
        raise MetrologyError(
            "rim and floor were focused from different directions and the backlash is not known.",
            remedy="Approach both from the same side, or measure the backlash.",
        )
    travel = abs(rim.position - floor.position)
    depth = scale * travel
    field = scale * max(rim.depth_of_field, floor.depth_of_field)
    if field > depth or depth == 0:
        raise MetrologyError(
            f"the depth of field of {field:.3f} mm exceeds the travel of {depth:.3f} mm.",
            remedy="Use a larger aperture or magnification, or a depth gauge.",
        )
    own = {
        f"{name} focus: {key}": scale * c
        for name, point in (("rim", rim), ("floor", floor))
        for key, c in point.contributions.items()
    }
    own |= {"travel scale": travel * u_scale, "backlash": backlash or 0.0}
    measured = Measured(depth, "mm", own=own, flags=frozenset({Flag.INDICATIVE}))
    if measured.u > DOUBTFUL_SHARE * depth:
        measured = measured.with_flags(Flag.FIRST_ORDER_DOUBTFUL)
    return LightDepth(measured, DepthMethod.FOCUS_TRAVEL)


def _positive(value: float, name: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise MetrologyError(f"the {name} of {value:g} is not a positive number.")


def _not_negative(value: float, name: str) -> None:
    if not (math.isfinite(value) and value >= 0):
        raise MetrologyError(f"the {name} of {value:g} is negative or not a number.")
