"""The depths of a mark by light: from the evidence on the photo to readings beside those of gauges."""

from __future__ import annotations

import math

from corrosion.errors import MetrologyError, ScaleError
from corrosion.light import (
    FocusPoint,
    Gnomon,
    Lamp,
    LightDepth,
    ShadowEnd,
    Sight,
    fitted_focus,
    focus_depth,
    judged_focus,
    shadow_depth,
)
from corrosion.marks import outline_of
from corrosion.measure._mapped import MappedMark
from corrosion.measure._mark import mark_quantities
from corrosion.model import DepthReading, LineShape, Mark, SurveyFile
from corrosion.model.light import DepthByLight, FocusDepth, FocusSetting, LampAngle, ShadowDepth, TwoPoints
from corrosion.quantity import Measured
from corrosion.scale import PlaneScale
from corrosion.terms import MarkKind

_UPWARDS = {"up": True, "down": False, "both": None}


def with_depths_by_light(
    mark: Mark, scale: PlaneScale | None, survey: SurveyFile, place: str
) -> tuple[Mark, str | None]:
    """Read a mark's `light` and put the depths beside its others.

    Returns
    -------
    mark : Mark
        With one more reading for each piece of evidence that gives a depth.
    problem : str or None
        Why the others give none.
    """
    found, problems = [], []
    for number, evidence in enumerate(mark.light, 1):
        where = f"{place}, light {number}"
        try:
            found.append(depth_by_light(evidence, scale, survey, where))
        except MetrologyError as error:
            problems.append(str(error) if error.place else f"{where}: {error}")
    return mark.model_copy(update={"depths": [*mark.depths, *found]}), " ".join(problems) or None


def depth_by_light(
    evidence: DepthByLight, scale: PlaneScale | None, survey: SurveyFile, place: str
) -> DepthReading:
    """Read one depth from light.

    Parameters
    ----------
    evidence : ShadowDepth or FocusDepth
        Lengths in mm.
    scale : PlaneScale or None
        The photo's; focus travel needs none.
    survey : SurveyFile
        For the pixel uncertainty of the points.

    Returns
    -------
    DepthReading
        mm, by a method that is only ever indicative; see `corrosion.light`.

    Raises
    ------
    MetrologyError
        If the light is outside the range in which it says something, the shadow is too short, the focus
        too shallow, or a shadow's photo has no scale, or one whose uncertainty is not known.
    """
    if isinstance(evidence, FocusDepth):
        read = _by_focus(evidence)
    elif scale is None:
        raise ScaleError(
            "a shadow has no length without the photo's scale.",
            place=place,
            remedy="Set the scale reference, or read the depth with a gauge.",
        )
    else:
        read = _by_shadow(evidence, scale, survey, place)
    if not read.depth.known:
        raise ScaleError(
            "the scale gives the shadow no uncertainty, and a depth without one is none.",
            place=place,
            remedy="State the largest tilt of the scale reference, or read the depth with a gauge.",
        )
    return DepthReading(
        value=read.depth.value,
        u=read.depth.u,
        method=read.method,
        relation=read.relation,
        date=evidence.date,
        note=evidence.note or read.caution,
    )


def _by_shadow(evidence: ShadowDepth, scale: PlaneScale, survey: SurveyFile, place: str) -> LightDepth:
    return shadow_depth(
        _length(evidence.image, evidence, scale, survey, f"{place}, shadow"),
        _light(evidence, scale, survey, place),
        length_px=math.dist(*evidence.image),
        end=ShadowEnd(evidence.ends_on),
        sight=Sight(
            math.radians(evidence.sight_tilt_deg),
            math.radians(evidence.u_sight_tilt_deg),
            math.radians(evidence.sight_azimuth_deg),
        ),
        source_rad=math.radians(evidence.lamp_width_deg),
        specular_floor=evidence.floor_mirrors,
    )


def _light(evidence: ShadowDepth, scale: PlaneScale, survey: SurveyFile, place: str) -> Lamp | Gnomon:
    light = evidence.light
    if isinstance(light, LampAngle):
        return Lamp(math.radians(light.elevation_deg), math.radians(light.u_elevation_deg))
    height = Measured(light.height, "mm", own={"height": light.u_height})
    return Gnomon(height, _length(light.image, evidence, scale, survey, f"{place}, post"))


def _length(
    image: TwoPoints, evidence: ShadowDepth, scale: PlaneScale, survey: SurveyFile, place: str
) -> Measured:
    """Measure a line as every other line on the photo, so that both share its scale's errors."""
    line = Mark(
        id="light",
        kind=MarkKind.AFFECTED,
        shape=LineShape(coordinates=list(image)),
        sigma_px=evidence.sigma_px,
    )
    outline = outline_of(line, survey.settings, scale.camera.size, place)
    return mark_quantities(MappedMark.of(outline, scale, place), place)["length"]


def _by_focus(evidence: FocusDepth) -> LightDepth:
    return focus_depth(
        _focus_point(evidence.rim),
        _focus_point(evidence.floor),
        scale=evidence.travel_scale,
        u_scale=evidence.u_travel_scale,
        backlash=evidence.backlash,
    )


def _focus_point(setting: FocusSetting) -> FocusPoint:
    upwards = _UPWARDS[setting.approached]
    if setting.sharpness:
        return fitted_focus(setting.readings, setting.sharpness, upwards=upwards)
    return judged_focus(setting.readings, setting.depth_of_field or 0.0, upwards=upwards)
