"""Write survey.json: the survey a person would have made with these pictures.

Usage: ``python survey.py``, after make.py, with the project installed: rules, discs and printed sheets are
found by the program, as a user would have them found. Outlines and clicks are the truth plus a hand's shake
of fixed seed; depths are gauge readings, not the truth. Nothing here feeds back into the truth.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import numpy as np

import plans
import structure
from corrosion.find import find_reference
from corrosion.model import CheckBar, DiscScale, RuleScale, Scale, TargetScale
from corrosion.photo import load_picture
from pictures import SHOTS, Shot

HERE = Path(__file__).resolve().parent.parent
Json = dict[str, object]


class Hand:
    """A person clicking: seeded normal shake, never beyond half a pixel each way."""

    def __init__(self, name: str) -> None:
        self.draw = np.random.default_rng(int.from_bytes(hashlib.sha256(name.encode()).digest()[:4], "big"))

    def click(self, px: list[float], sigma: float = 0.25) -> list[float]:
        """Click near a true point."""
        shake = np.clip(self.draw.normal(0, sigma, 2), -0.5, 0.5)
        return [round(float(v), 2) for v in np.asarray(px) + shake]

    def outline(self, ring: list[list[float]], count: int) -> Json:
        """Outline by hand with about `count` corners."""
        picked = ring[:: max(1, len(ring) // count)]
        points = [self.click(p, 0.30) for p in picked]
        return {"type": "Polygon", "coordinates": [[*points, points[0]]]}

    def gauge(self, depth: float, u: float) -> float:
        """Read a depth with random standard uncertainty `u`."""
        return round(max(0.0, depth + float(np.clip(self.draw.normal(0, u), -1.5 * u, 1.5 * u))), 3)


def scale_of(shot: Shot, truth: Json, hand: Hand) -> Json | None:
    """The scale entry of one photo."""
    if shot.view == "borescope":
        return _rivet_pattern(truth, hand)
    if not truth["references"]:
        return None
    one = truth["references"][0]
    points = {p["name"]: p for p in one["points"] if p["in_picture"]}
    height: Json = {"height": one["height_of_points_mm"], "u_height": 0.02}
    if one["kind"] in FOUND:
        return _found(FOUND[one["kind"]](points, hand, height), shot)
    if one["kind"] == "card" and shot.name.startswith("03"):
        edges = [
            [hand.click(points[f"edge {side} {k}"]["px"]) for k in (1, 2, 3)]
            for side in ("bottom", "right", "top", "left")
        ]
        return {"kind": "card", "edges": edges, "u_size": 0.06} | height
    if one["kind"] == "card":
        names = ("bottom left", "bottom right", "top right", "top left")
        return {
            "kind": "card",
            "image": [hand.click(points[f"corner {n}"]["px"]) for n in names],
            "u_size": 0.06,
        } | height
    raise ValueError(f"{shot.name}: no scale is known for {one['kind']}")


def _rule(points: Json, hand: Hand, height: Json) -> Scale:
    """A line along the rule between two labelled centimetres."""
    seen = [k for k in range(10, 151, 10) if f"{k} mm at lower edge" in points]
    a, b = (hand.click(points[f"{k} mm at lower edge"]["px"]) for k in (seen[0], seen[-1]))
    return RuleScale(
        image=(tuple(a), tuple(b)),
        tick=1.0,
        labels=(float(seen[0]), float(seen[-1])),
        u_scale=5e-4,
        max_tilt_deg=12.0,
        **height,
    )


def _disc(points: Json, hand: Hand, height: Json) -> Scale:
    """A tap inside the disc, halfway between two clicks on its rim."""
    names = [f"rim {k * 11.25:g} deg" for k in range(16)]
    opposite = [f"rim {(k + 16) * 11.25:g} deg" for k in range(16)]
    spans = [
        np.linalg.norm(np.subtract(points[p]["px"], points[q]["px"]))
        for p, q in zip(names, opposite, strict=True)
    ]
    k = int(np.argmax(spans))
    x, y = np.mean([hand.click(points[names[k]]["px"]), hand.click(points[opposite[k]]["px"])], axis=0)
    seed = (round(float(x), 2), round(float(y), 2))
    return DiscScale(seed=seed, diameter=22.0, u_diameter=0.02, max_tilt_deg=15.0, **height)


def _target(points: Json, hand: Hand, height: Json) -> Scale:
    """The program's own window sheet, with both check bars as measured."""
    # Nobody clicks a sheet, but the outlines below were drawn after these clicks, and stay as they were.
    for point in [p for name, p in points.items() if name.startswith("checker")][::3]:
        hand.click(point["px"])
    return TargetScale(sheet="window", check_bar=CheckBar(x=100.0, y=100.0, u=0.05), **height)


FOUND = {"rule": _rule, "disc": _disc, "target": _target}


def _found(entry: Scale, shot: Shot) -> Json:
    """The entry with what the program finds of it in the picture."""
    found = find_reference(load_picture(HERE / "photos" / f"{shot.name}.jpg"), entry, place=shot.name)
    return {"kind": found.kind} | found.model_dump(mode="json", exclude_defaults=True)


def _rivet_pattern(truth: Json, hand: Hand) -> Json:
    """Tops of the rivets of known pitch; plane x right, y down as seen from this (inner) side."""
    s0, o0 = truth["view_frame"]["layout_at_origin_mm"]
    heads = truth["rivets"]
    return {
        "kind": "points",
        "image": [hand.click(r["top_px"]) for r in heads],
        "plane": [[s0 - r["layout_mm"][0], o0 - r["layout_mm"][1]] for r in heads],
        "u_plane": 0.15,
        "height": heads[0]["top_z_mm"],
        "u_height": 0.1,
        "sigma_px": 1.0,
    }


def placement_of(truth: Json, hand: Hand) -> Json:
    """Inked crosses, and rivets standing on the measured surface itself."""
    pairs = [(c["px"], c["layout_mm"]) for c in truth["control_points"] if not c["covered"]]
    level = [r for r in truth["rivets"] if not r["covered"] and r["base_z_mm"] == 0.0]
    if len(pairs) < 4:
        pairs += [
            (r["base_centre_px"], r["layout_mm"])
            for r in (level if len(level) <= 5 else level[:: len(level) // 4])
        ]
    # The layout coordinates are where the drawing says; ink and rivets sit there to about 0.2 mm.
    return {
        "image": [hand.click(px) for px, _ in pairs],
        "layout": [at for _, at in pairs],
        "u_layout": 0.2,
    }


def marks_of(shot: Shot, truth: Json, hand: Hand) -> list[Json]:
    """Outlines of what can be seen, with the readings taken on them."""
    marks: list[Json] = []
    date = shot.taken[:10]
    for dent in truth["dents"]:
        if dent["share_in_picture"] < 0.999 or dent["share_covered"] > 0:
            continue
        pit = dent["kind"] == "pit"
        mark: Json = {
            "id": dent["id"],
            "kind": "pit" if pit else "blend-out",
            "feature": f"{shot.side.member}-{shot.side.face}-{dent['id']}",
            "shape": hand.outline(dent["outline_px"], 32 if pit else 48),
            "u_edge_px": 0.5 if pit else 1.0,
            "date": date,
        }
        u = 0.010 if pit else 0.003
        # One reading per finding, however many pictures show it.
        reading: Json = {
            "value": Hand(dent["id"]).gauge(dent["depth_mm"], u),
            "u": u,
            "method": "gauge",
            "instrument": "DG-2",
            "date": date,
        }
        if dent["id"] in structure.READ_OVER:
            reading["value"] = structure.READ_OVER[dent["id"]]
        if shot.view == "borescope":
            reading = {
                "value": Hand(dent["id"]).gauge(dent["depth_mm"], 0.03),
                "u": 0.03,
                "method": "focus-travel",
                "date": date,
            }
        if dent["id"] not in structure.NO_READING:
            mark["depths"] = [reading]
        if not pit:
            mark |= {"profile": "dished", "measured_from": "original"}
        marks.append(mark)
    for name, kind, ring, note in structure.AREAS.get(shot.name, ()):
        pixels = shot.camera.project(np.array([[*shot.to_view(s, o), 0.0] for s, o in ring]))
        points = [hand.click(p.tolist(), 0.4) for p in pixels]
        marks.append(
            {
                "id": name,
                "kind": kind,
                "shape": {"type": "Polygon", "coordinates": [[*points, points[0]]]},
                "note": note,
            }
        )
    return marks


def photo_of(shot: Shot) -> Json:
    """One photo entry."""
    truth = json.loads((HERE / "truth" / f"{shot.name}.json").read_text(encoding="utf-8"))
    path = HERE / "photos" / f"{shot.name}.jpg"
    hand = Hand(shot.name)
    member = next(m for m in structure.MEMBERS if m["id"] == shot.side.member)
    entry: Json = {
        "id": shot.name.split("_")[0],
        "file": f"photos/{shot.name}.jpg",
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "size": list(shot.camera.size),
        "view": shot.view,
        "zone": member["zone"],
        "member": member["id"],
        "face": shot.side.face,
        "station": shot.origin[0],
        "taken": f"{shot.taken}+02:00",
        "note": shot.note,
    }
    scale = scale_of(shot, truth, hand)
    if scale:
        # A tape-measure distance, or for the probe its marked insertion gauge: off by a few per cent.
        u = 1.5 if shot.view == "borescope" else 6.0
        off = float(np.clip(hand.draw.normal(0, u / 2), -u, u))
        entry |= {"scale": scale, "distance": {"value": round(shot.camera.height_mm + off, 1), "u": u}}
    if shot.view == "borescope":
        entry["lens"] = "probe-6mm"
    entry |= {"placement": placement_of(truth, hand), "marks": marks_of(shot, truth, hand)}
    return entry


def lens() -> Json:
    """The probe's calibration, which here is its definition."""
    probe = next(s for s in SHOTS if s.view == "borescope").camera
    return {
        "id": "probe-6mm",
        "model": "pinhole",
        "device": "Farrowlight FL-6 probe, straight tip (invented)",
        "size": list(probe.size),
        "matrix": [probe.focal_px, probe.focal_px, *probe.principal_px],
        "distortion": list(probe.distortion),
        "u_px": 0.3,
    }


def main() -> None:
    """Write the file."""
    document = structure.HEAD | {
        "lenses": [lens()],
        "photos": [photo_of(s) for s in SHOTS],
        "removals": [*structure.REMOVALS, plans.PLANNED],
        "thickness_readings": structure.THICKNESS,
        "planning": plans.PLANNING,
        "decision": plans.DECISION,
    }
    text = json.dumps(document, indent=1)
    # Points on one line each: a found rim has hundreds.
    text = re.sub(r"\[\s+(-?[\d.]+),\s+(-?[\d.]+)\s+\]", r"[\1, \2]", text)
    (HERE / "survey.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
