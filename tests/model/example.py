"""One survey, in inches, in which every field of the format is used; invented."""

from __future__ import annotations

from typing import Any

SOURCE = "invented manual, para 1-2, rev 3"
SQUARE = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]


def full_survey() -> dict[str, Any]:
    """Give the document."""
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": "in",
        "display_units": "in",
        "structure": _structure(),
        "survey": {
            "name": "spring survey",
            "date": "2031-04-17",
            "inspector": "A. Nobody",
            "illuminance_lx": 1100.0,
            "light_standard": "invented practice 4",
            "note": "rain",
        },
        "settings": {
            "within_probability": 0.04,
            "reference_sigma_px": 0.4,
            "mark_sigma_px": 0.6,
            "edge_u_px": 0.7,
            "u_layout": 0.03,
            "station_bin": 4.0,
            "least_focal_ratio": 0.8,
            "light_rule": {"source": SOURCE},
        },
        "planning": {
            "allowance": {"depth": 0.002, "source": SOURCE},
            "run_out": {"ratio": {"total": 20.0}, "source": SOURCE},
            "merge": False,
            "spacing": {"distance": 0.25, "source": SOURCE},
            "reinforcements": [_reinforcement()],
            "elongation": {"ratio": 2.0, "source": SOURCE},
            "edge_distance": {"distance": 0.5, "source": SOURCE},
            "fastener_distance": {"distance": 0.2, "source": SOURCE},
            "support_distance": {"distance": 2.0, "source": SOURCE},
            "approach": {"share": 0.9, "source": SOURCE},
        },
        "instruments": [
            {
                "id": "DG-2",
                "kind": "dial depth gauge",
                "u_systematic": 0.0005,
                "calibrated": "2031-01-05",
                "note": "own",
            }
        ],
        "lenses": [
            {
                "id": "probe",
                "model": "fisheye",
                "device": "probe 1",
                "size": [640, 480],
                "matrix": [500.0, 501.0, 319.5, 239.5],
                "distortion": [0.1, -0.02, 0.0, 0.001],
                "u_px": 0.2,
                "adapter": "side view",
                "focus": "near",
                "distance_range": [0.5, 2.0],
                "covariance": [[0.25 if i == j else 0.0 for j in range(8)] for i in range(8)],
                "focal_known": False,
                "rms_px": 0.3,
                "views": 12,
                "covered": 0.8,
                "field": [[5.0, 5.0], [630.0, 5.0], [630.0, 470.0]],
                "note": "8 views",
            }
        ],
        "photos": [_flashlight(), _borescope(), _card_corners(), *_found_references()],
        "removals": [
            _removal("R1", {"type": "Circle", "center": [10.0, 5.0], "radius": 0.5}),
            _removal("R2", {"type": "Polygon", "coordinates": [SQUARE]}),
            _removal(
                "R3",
                {"type": "Ellipse", "center": [3.0, 4.0], "semi_axes": [0.5, 0.25], "angle_deg": 30.0},
            ),
        ],
        "thickness_readings": [
            {
                "id": "T1",
                "member": "SK1",
                "at": [10.0, 5.0],
                "value": 0.038,
                "u": 0.0005,
                "instrument": "DG-2",
                "date": "2031-04-17",
                "note": "ultrasonic",
            }
        ],
        "decision": _decision(),
    }


def _decision() -> dict[str, Any]:
    amount = {"low": 1.0, "likely": 2.0, "high": 4.0}
    work = {"hours": amount, "money": amount, "days": amount, "source": SOURCE}
    action = work | {"id": "A1", "name": "blend", "member": "SK1", "needed": 0.5, "if_hidden_over": True}
    return {
        "rates": {"currency": "EUR", "hour": amount, "day": amount, "source": SOURCE},
        "actions": [action],
        "hidden": work | {"worse": amount, "findings": amount, "block": 4.0, "least_depth": 0.001},
        "candidates": [
            {
                "id": "S1",
                "kind": "second-hand",
                "name": "from the yard",
                "price": amount,
                "days": amount,
                "actions": [action],
                "survey": "S1/survey.json",
                "hidden_findings": amount,
                "source": SOURCE,
            }
        ],
        "correlation": 0.3,
        "draws": 5000,
        "seed": 3,
        "note": "first look",
    }


def _structure() -> dict[str, Any]:
    return {
        "name": "left stabilizer",
        "zone": "330",
        "aircraft": "invented type",
        "serial": "0001",
        "note": "on trestles",
        "plugs": [{"station": "340B", "at": 350.0}],
        "members": [
            {
                "id": "SK1",
                "name": "upper skin",
                "kind": "skin",
                "zone": "334",
                "material": "2024-T3 clad",
                "thickness": 0.040,
                "u_thickness": 0.001,
                "thickness_measured": 0.0395,
                "u_thickness_measured": 0.0003,
                "clad_thickness": 0.002,
                "density_kg_m3": 2780.0,
                "offset_is": "chordwise",
                "outer_view": "offset-down",
                "main_direction": "offset",
                "outline": [[0.0, 0.0], [36.0, 0.0], [36.0, 16.0], [0.0, 16.0]],
                "limit": {"fraction": 0.1, "source": SOURCE},
                "limit_zones": [
                    {"id": "row", "outline": SQUARE, "limit": {"depth": 0.002, "source": SOURCE}}
                ],
                "thickness_zones": [
                    {"id": "land", "outline": SQUARE, "thickness": 0.063, "u_thickness": 0.002}
                ],
                "fasteners": [{"id": "F1", "at": [1.0, 1.0], "diameter": 0.125}],
                "stations": [{"label": "rib 3", "at": 12.0}],
            }
        ],
    }


def _removal(name: str, footprint: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": name,
        "member": "SK1",
        "face": "inner",
        "footprint": footprint,
        "depth": {"value": 0.003, "u": 0.0005, "instrument": "DG-2"},
        "relation": "<=",
        "indicative": True,
        "profile": "faired",
        "run_out": {"total": 20.0},
        "measured_from": "current",
        "origin": "planned",
        "date": "2030-02-01",
        "note": "from the log",
    }


def _flashlight() -> dict[str, Any]:
    return {
        "id": "f1",
        "file": "photos/f1.jpg",
        "sha256": "0" * 64,
        "size": [1600, 1200],
        "view": "daylight",
        "zone": "334",
        "member": "SK1",
        "face": "inner",
        "station": "340B+10.25",
        "taken": "2031-04-17T09:10:00+02:00",
        "distance": {"value": 12.0, "u": 0.5},
        "scale": {
            "kind": "bar",
            "image": [[100.0, 100.0], [600.0, 110.0]],
            "length": 2.0,
            "u_length": 0.004,
            "max_tilt_deg": 15.0,
            "sigma_px": 0.4,
            "height": 0.06,
            "u_height": 0.01,
        },
        "placement": {
            "image": [[100.0, 100.0], [600.0, 110.0]],
            "layout": [[10.0, 5.0], [12.0, 5.0]],
            "u_layout": 0.02,
            "sigma_px": 0.5,
            "mirrored": True,
        },
        "marks": [_pit(), _blend_out(), *_other_shapes()],
        "note": "flash off",
    }


def _pit() -> dict[str, Any]:
    return {
        "id": "P1",
        "kind": "pit",
        "shape": {"type": "Polygon", "coordinates": [[[10.0, 10.0], [30.0, 10.0], [20.0, 30.0]]]},
        "feature": "pit 7",
        "depths": [
            {
                "value": 0.004,
                "u": 0.0005,
                "method": "micrometer",
                "instrument": "DG-2",
                "relation": ">=",
                "date": "2031-04-17",
                "note": "undercut",
            }
        ],
        "light": [_shadow("lamp"), _shadow("post"), _focus()],
        "sigma_px": 0.8,
        "u_edge_px": 0.9,
        "note": "under the chip",
    }


def _blend_out() -> dict[str, Any]:
    return {
        "id": "B1",
        "kind": "blend-out",
        "shape": {"type": "Ellipse", "center": [50.0, 60.0], "semi_axes": [20.0, 10.0], "angle_deg": 40.0},
        "depths": [{"value": 0.002, "u": 0.0005, "method": "gauge"}],
        "profile": "faired",
        "run_out": {"per_side": 10.0},
        "measured_from": "original",
        "date": "2031-04-16",
    }


def _reinforcement() -> dict[str, Any]:
    return {
        "id": "R1",
        "member": "SK1",
        "width": 4.0,
        "length": 1.5,
        "fastener": "1/8 rivet",
        "joint": "single-lap sheet joint",
        "table": "4-9",
        "note": "doubler inside",
    }


def _shadow(kind: str) -> dict[str, Any]:
    lamp = {"kind": "lamp", "elevation_deg": 20.0, "u_elevation_deg": 2.0}
    post = {"kind": "post", "height": 0.2, "u_height": 0.001, "image": [[40.0, 10.0], [60.0, 10.0]]}
    return {
        "kind": "shadow",
        "image": [[12.0, 12.0], [22.0, 12.0]],
        "light": lamp if kind == "lamp" else post,
        "ends_on": "far wall",
        "sight_tilt_deg": 5.0,
        "u_sight_tilt_deg": 1.0,
        "sight_azimuth_deg": 90.0,
        "lamp_width_deg": 2.0,
        "floor_mirrors": True,
        "sigma_px": 0.7,
        "date": "2031-04-17",
        "note": "low sun",
    }


def _focus() -> dict[str, Any]:
    return {
        "kind": "focus",
        "rim": {
            "readings": [0.1, 0.2, 0.3, 0.4, 0.5],
            "sharpness": [1.0, 2.0, 4.0, 2.0, 1.0],
            "approached": "down",
        },
        "floor": {"readings": [0.35, 0.36], "depth_of_field": 0.01, "approached": "both"},
        "travel_scale": 1.02,
        "u_travel_scale": 0.01,
        "backlash": 0.003,
        "date": "2031-04-17",
        "note": "three-step",
    }


def _other_shapes() -> list[dict[str, Any]]:
    line = {"type": "LineString", "coordinates": [[1.0, 2.0], [3.0, 4.0]]}
    return [
        {"id": "C1", "kind": "clear", "shape": {"type": "Circle", "center": [5.0, 6.0], "radius": 3.0}},
        {"id": "L1", "kind": "affected", "shape": line},
        {"id": "D1", "kind": "pit", "shape": {"type": "Point", "coordinates": [7.0, 8.0]}},
    ]


def _borescope() -> dict[str, Any]:
    corners = [[10.0, 10.0], [400.0, 12.0], [398.0, 300.0], [12.0, 298.0]]
    return {
        "id": "f2",
        "file": "photos/f2.jpg",
        "view": "borescope",
        "station": -12.5,
        "lens": "probe",
        "device": "probe 1",
        "adapter": "side view",
        "focus": "near",
        "surface": {
            "kind": "cylinder",
            "seen_from": "inside",
            "radius": 1.5,
            "u_radius": 0.01,
            "axis": [[10.0, 10.0], [10.0, 400.0]],
            "sigma_px": 3.0,
        },
        "scale": {
            "kind": "points",
            "image": corners,
            "plane": [[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [0.0, 2.0]],
            "u_plane": 0.001,
            "u_scale": 0.002,
        },
    }


def _card_corners() -> dict[str, Any]:
    edges = [
        [[10.0, 10.0], [400.0, 10.0]],
        [[410.0, 20.0], [410.0, 250.0]],
        [[400.0, 260.0], [10.0, 260.0]],
        [[0.0, 250.0], [0.0, 20.0]],
    ]
    return {
        "id": "f3",
        "file": "photos/f3.jpg",
        "scale": {"kind": "card", "edges": edges, "size": [3.0, 2.0], "u_size": 0.002},
    }


def _found_references() -> list[dict[str, Any]]:
    """Photos whose scale reference the tool finds by itself, as they are after that."""
    square = [[100.0, 100.0], [160.0, 101.0], [161.0, 160.0], [99.0, 161.0]]
    plane = [[-0.25, -0.25], [0.25, -0.25], [0.25, 0.25], [-0.25, 0.25]]
    points = {"kind": "target", "image": square, "plane": plane}
    printed = {"sheet": "sticker-24", "check_bar": {"x": 3.94, "y": 3.93, "u": 0.004}}
    marker = {"side": 0.5, "u_side": 0.001, "dictionary": "4x4_50", "marker": 3}
    disc = {
        "kind": "disc",
        "seed": [400.0, 300.0],
        "diameter": 0.75,
        "u_diameter": 0.002,
        "image": square,
        "u_edge_px": 0.4,
        "far": [400.0, 20.0],
        "max_tilt_deg": 20.0,
    }
    rule = {
        "kind": "rule",
        "image": [[50.0, 60.0], [1500.0, 70.0]],
        "tick": 0.03125,
        "labels": [1.0, 4.0],
        "u_scale": 0.0005,
        "ticks": [{"number": 4, "points": [[50.0, 60.0], [50.1, 66.0]]}],
    }
    scales = (
        points | printed,
        points | marker,
        disc,
        {"kind": "disc", "coin": "US quarter", "seed": [1.0, 2.0]},
        rule,
    )
    return [
        {"id": f"r{number}", "file": f"photos/r{number}.jpg", "scale": scale}
        for number, scale in enumerate(scales)
    ]
