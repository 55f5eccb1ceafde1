"""The exact truth beside each picture, as JSON."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from camera import Array, Camera
from features import Dent, Rivet
from pictures import Shot
from references import Reference

CAUTION = (
    "Synthetic picture of an invented structure: the truth is what was rendered, not what was measured. "
    "Good for testing software; no evidence about real corrosion, real lamps or real cameras."
)


def _round(points: Array, digits: int = 4) -> list[list[float]]:
    return [[round(float(v), digits) for v in row] for row in points]


def _on_surface(shot: Shot, layout: Array, z: float = 0.0) -> Array:
    xy = np.array([shot.to_view(float(s), float(o)) for s, o in layout])
    return np.c_[xy, np.full(len(xy), z)]


def _project(camera: Camera, points: Array) -> Array:
    return camera.project(points)


def _covers(references: list[Reference]) -> Polygon:
    """Area of the surface plan hidden by references, as far as their plan says."""
    plans = [Polygon(one.outline, [one.window] if one.window is not None else []) for one in references]
    return unary_union([p.buffer(0) for p in plans]) if plans else Polygon()


def _dent(shot: Shot, dent: Dent, frame: Polygon, cover: Polygon) -> dict[str, object] | None:
    outline = dent.outline(96)
    pixels = _project(shot.camera, _on_surface(shot, outline))
    seen = Polygon(pixels)
    if not seen.is_valid or not seen.intersects(frame):
        return None
    share = seen.intersection(frame).area / seen.area
    deepest = dent.deepest_at()
    plan = Polygon(_on_surface(shot, outline)[:, :2])
    return {
        "id": dent.id,
        "kind": dent.kind,
        "layout_centre_mm": list(dent.at),
        "outline_px": _round(pixels),
        "outline_layout_mm": _round(outline, 5),
        "area_mm2": round(dent.area(), 5),
        "equivalent_diameter_mm": round(2 * (dent.area() / np.pi) ** 0.5, 5),
        "depth_mm": dent.depth,
        "volume_mm3": round(dent.volume(), 6),
        "deepest_layout_mm": [round(v, 4) for v in deepest],
        "deepest_px": _round(_project(shot.camera, _on_surface(shot, np.array([deepest]), -dent.depth)))[0],
        "share_in_picture": round(share, 4),
        "share_covered": round(plan.intersection(cover).area / plan.area, 4),
        "profile": {
            "formula": "depth * (1 - rho**power) * (1 + rough * bumps), rescaled to depth",
            "power": dent.power,
            "rough": dent.rough,
            "floor": "dished" if dent.kind != "pit" else "pit",
        },
        "corrosion_product": dent.product,
    }


def _rivet(shot: Shot, rivet: Rivet, cover: Polygon) -> dict[str, object] | None:
    width, height = shot.camera.size
    centre = _project(shot.camera, _on_surface(shot, np.array([rivet.at]), rivet.base_z))[0]
    if not (0 <= centre[0] <= width - 1 and 0 <= centre[1] <= height - 1):
        return None
    turn = np.arange(32) * 2 * np.pi / 32
    rim = np.array(rivet.at) + rivet.head_diameter / 2 * np.c_[np.cos(turn), np.sin(turn)]
    top_z = rivet.base_z + rivet.head_height
    return {
        "covered": bool(cover.intersects(Point(shot.to_view(*rivet.at)).buffer(rivet.head_diameter / 2))),
        "id": rivet.id,
        "layout_mm": list(rivet.at),
        "shank_mm": rivet.shank,
        "head_diameter_mm": round(rivet.head_diameter, 4),
        "head_height_mm": round(rivet.head_height, 4),
        "base_z_mm": rivet.base_z,
        "flush": rivet.flush,
        "base_centre_px": _round([centre])[0],
        "top_z_mm": round(top_z, 4),
        "top_px": _round(_project(shot.camera, _on_surface(shot, np.array([rivet.at]), top_z)))[0],
        "base_outline_px": _round(_project(shot.camera, _on_surface(shot, rim, rivet.base_z))),
    }


def _reference(shot: Shot, one: Reference) -> dict[str, object]:
    spots = np.array([xyz for _, xyz, _ in one.points])
    pixels = _project(shot.camera, spots)
    width, height = shot.camera.size
    points = [
        {
            "name": name,
            "px": [round(float(v), 4) for v in px],
            "plan_mm": [round(v, 5) for v in plan],
            "view_mm": [round(v, 5) for v in xyz],
            "in_picture": bool(0 <= px[0] <= width - 1 and 0 <= px[1] <= height - 1),
        }
        for (name, xyz, plan), px in zip(one.points, pixels, strict=True)
    ]
    return {
        "kind": one.kind,
        "size": one.size,
        "height_of_points_mm": round(float(spots[0, 2]), 5),
        "points": points,
        "footprint_px": _round(_project(shot.camera, np.c_[one.outline, np.zeros(len(one.outline))])),
    }


def truth(shot: Shot, references: list[Reference], photo: Path) -> dict[str, object]:
    """Collect the truth of one shot."""
    width, height = shot.camera.size
    frame = box(-0.5, -0.5, width - 0.5, height - 0.5)
    cover = _covers(references)
    crosses = [
        {
            "name": f"cross {text}",
            "layout_mm": list(at),
            "px": _round(_project(shot.camera, _on_surface(shot, np.array([at]))))[0],
            "covered": bool(cover.intersects(Point(shot.to_view(*at)).buffer(2.0))),
        }
        for text, at in shot.side.crosses
    ]
    seen = [c for c in crosses if 0 <= c["px"][0] < width and 0 <= c["px"][1] < height]
    corners = np.array(
        [[-0.5, -0.5], [width - 0.5, -0.5], [width - 0.5, height - 0.5], [-0.5, height - 0.5]]
    )
    ground = None
    if not shot.camera.is_distorted:
        view = shot.camera.surface_at(corners)
        sign = -1.0 if shot.mirrored else 1.0
        ground = _round(np.c_[shot.origin[0] + sign * view[:, 0], shot.origin[1] + view[:, 1]])
    return {
        "caution": CAUTION,
        "photo": photo.name,
        "note": shot.note,
        "sha256": hashlib.sha256(photo.read_bytes()).hexdigest() if photo.exists() else None,
        "frame": "x right, y down, upright after EXIF orientation, centre of the top-left pixel at (0, 0)",
        "member": shot.side.member,
        "face": shot.side.face,
        "view": shot.view,
        "exif_orientation": shot.orientation,
        "camera": shot.camera.as_json(),
        "view_frame": {
            "layout_at_origin_mm": list(shot.origin),
            "mirrored": shot.mirrored,
            "meaning": "x = +-(station - s0), minus on inner faces; y = offset - o0; z to the camera",
        },
        "picture_corners_layout_mm": ground,
        "lights": [
            {"at_mm": list(b.at), "aim_mm": list(b.aim), "cutoff_deg": b.cutoff_deg} for b in shot.beams
        ],
        "references": [_reference(shot, one) for one in references],
        "dents": [d for d in (_dent(shot, one, frame, cover) for one in shot.side.dents) if d],
        "rivets": [r for r in (_rivet(shot, one, cover) for one in shot.side.rivets) if r],
        "control_points": seen,
    }


def write_truth(shot: Shot, references: list[Reference], photo: Path, path: Path) -> None:
    """Write the truth of one shot beside its picture."""
    path.write_text(json.dumps(truth(shot, references, photo), indent=1) + "\n", encoding="utf-8")
