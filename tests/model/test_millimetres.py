"""The one conversion from the file's unit to millimetres.

The international inch is exactly 25.4 mm (NIST SP 811, 2008, appendix B.8).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from corrosion.model import in_millimetres, parse_survey
from tests.model.example import full_survey

LENGTHS = [
    "settings.u_layout",
    "settings.station_bin",
    "planning.allowance.depth",
    "planning.spacing.distance",
    "planning.reinforcements.width",
    "planning.reinforcements.length",
    "planning.edge_distance.distance",
    "planning.fastener_distance.distance",
    "planning.support_distance.distance",
    "instruments.u_systematic",
    "structure.plugs.at",
    "structure.members.thickness",
    "structure.members.u_thickness",
    "structure.members.thickness_measured",
    "structure.members.u_thickness_measured",
    "structure.members.clad_thickness",
    "structure.members.outline",
    "structure.members.limit_zones.outline",
    "structure.members.limit_zones.limit.depth",
    "structure.members.thickness_zones.outline",
    "structure.members.thickness_zones.thickness",
    "structure.members.thickness_zones.u_thickness",
    "structure.members.fasteners.at",
    "structure.members.fasteners.diameter",
    "structure.members.stations.at",
    "lenses.distance_range",
    "photos.surface.radius",
    "photos.surface.u_radius",
    "photos.distance.value",
    "photos.distance.u",
    "photos.scale.length",
    "photos.scale.u_length",
    "photos.scale.height",
    "photos.scale.u_height",
    "photos.scale.plane",
    "photos.scale.u_plane",
    "photos.scale.size",
    "photos.scale.u_size",
    "photos.scale.check_bar.x",
    "photos.scale.check_bar.y",
    "photos.scale.check_bar.u",
    "photos.scale.side",
    "photos.scale.u_side",
    "photos.scale.diameter",
    "photos.scale.u_diameter",
    "photos.scale.tick",
    "photos.scale.labels",
    "photos.placement.layout",
    "photos.placement.u_layout",
    "photos.marks.depths.value",
    "photos.marks.depths.u",
    "photos.marks.light.light.height",
    "photos.marks.light.light.u_height",
    "photos.marks.light.rim.readings",
    "photos.marks.light.floor.readings",
    "photos.marks.light.floor.depth_of_field",
    "photos.marks.light.backlash",
    "removals.footprint.center",
    "removals.footprint.radius",
    "removals.footprint.coordinates",
    "removals.footprint.semi_axes",
    "removals.depth.value",
    "removals.depth.u",
    "thickness_readings.at",
    "thickness_readings.value",
    "thickness_readings.u",
    "decision.hidden.block",
    "decision.hidden.least_depth",
]
"""Every length of the format, listed by hand."""

OTHER_NUMBERS = [
    "version",
    "survey.illuminance_lx",
    "settings.within_probability",
    "settings.reference_sigma_px",
    "settings.mark_sigma_px",
    "settings.edge_u_px",
    "settings.least_focal_ratio",
    "planning.run_out.ratio.total",
    "planning.elongation.ratio",
    "planning.approach.share",
    "lenses.size",
    "lenses.matrix",
    "lenses.distortion",
    "lenses.u_px",
    "lenses.covariance",
    "lenses.rms_px",
    "lenses.views",
    "lenses.covered",
    "lenses.field",
    "photos.surface.axis",
    "photos.surface.sigma_px",
    "structure.members.density_kg_m3",
    "structure.members.limit.fraction",
    "photos.size",
    "photos.station",
    "photos.scale.image",
    "photos.scale.edges",
    "photos.scale.max_tilt_deg",
    "photos.scale.sigma_px",
    "photos.scale.u_scale",
    "photos.scale.marker",
    "photos.scale.seed",
    "photos.scale.far",
    "photos.scale.u_edge_px",
    "photos.scale.ticks.number",
    "photos.scale.ticks.points",
    "photos.placement.image",
    "photos.placement.sigma_px",
    "photos.marks.shape.coordinates",
    "photos.marks.shape.center",
    "photos.marks.shape.semi_axes",
    "photos.marks.shape.radius",
    "photos.marks.shape.angle_deg",
    "photos.marks.sigma_px",
    "photos.marks.light.image",
    "photos.marks.light.light.elevation_deg",
    "photos.marks.light.light.u_elevation_deg",
    "photos.marks.light.light.image",
    "photos.marks.light.sight_tilt_deg",
    "photos.marks.light.u_sight_tilt_deg",
    "photos.marks.light.sight_azimuth_deg",
    "photos.marks.light.lamp_width_deg",
    "photos.marks.light.sigma_px",
    "photos.marks.light.rim.sharpness",
    "photos.marks.light.travel_scale",
    "photos.marks.light.u_travel_scale",
    "photos.marks.u_edge_px",
    "photos.marks.run_out.per_side",
    "removals.footprint.angle_deg",
    "removals.run_out.total",
    "decision.actions.needed",
    "decision.candidates.actions.needed",
    "decision.correlation",
    "decision.draws",
    "decision.seed",
    *(
        f"decision.{amount}.{part}"
        for amount in (
            *(f"rates.{what}" for what in ("hour", "day")),
            *(f"actions.{what}" for what in ("hours", "money", "days")),
            *(f"hidden.{what}" for what in ("hours", "money", "days", "worse", "findings")),
            *(f"candidates.{what}" for what in ("price", "days", "hidden_findings")),
            *(f"candidates.actions.{what}" for what in ("hours", "money", "days")),
        )
        for part in ("low", "likely", "high")
    ),
]
"""Every other number: pixels, angles, ratios, counts; and a photo's station, which stays as written."""


def _numbers(value: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Walk a document's numbers with their field names; list positions are left out."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield from _numbers(part, f"{path}.{name}" if path else name)
    elif isinstance(value, (list, tuple)):
        for part in value:
            yield from _numbers(part, path)
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path, float(value)


def test_the_lists_name_every_number_of_the_example() -> None:
    """Each number in the example is listed once, as a length or as something else."""
    found = {path for path, _ in _numbers(full_survey())}
    assert found == set(LENGTHS) | set(OTHER_NUMBERS)
    assert not set(LENGTHS) & set(OTHER_NUMBERS)


def test_every_length_is_converted_and_nothing_else() -> None:
    """In mm every listed length is 25.4 times the inch file's; pixels, angles and ratios stay."""
    inches = parse_survey(full_survey())
    before = list(_numbers(inches.model_dump(mode="json")))
    after = list(_numbers(in_millimetres(inches).model_dump(mode="json")))
    assert [path for path, _ in before] == [path for path, _ in after]
    for (path, was), (_, now) in zip(before, after, strict=True):
        factor = 25.4 if path in LENGTHS else 1.0
        assert now == pytest.approx(factor * was, rel=1e-12, abs=0.0), path


def test_the_display_unit_stays() -> None:
    """A file in inches is still shown in inches; one that shows mm keeps that."""
    document = full_survey()
    del document["display_units"]
    converted = in_millimetres(parse_survey(document))
    assert (converted.units, converted.display_units) == ("mm", "in")
    assert in_millimetres(parse_survey(document | {"display_units": "mm"})).display_units == "mm"


def test_a_file_in_millimetres_is_left_alone() -> None:
    """Converting twice changes nothing."""
    once = in_millimetres(parse_survey(full_survey()))
    assert in_millimetres(once) == once


def test_tags_are_untouched() -> None:
    """Names, dates, kinds and sources survive the conversion."""
    inches = parse_survey(full_survey())
    converted = in_millimetres(inches)
    assert converted.photos[0].station == "340B+10.25"
    assert converted.structure.members[0].limit == inches.structure.members[0].limit
    assert converted.removals[0].run_out == inches.removals[0].run_out
