"""The invented structure, documents and readings that go with the pictures (survey.json without photos)."""

from __future__ import annotations

import scenario as sc

Json = dict[str, object]
RULES = "VM-6 Structural Rework Notes SRN-55 (invented document)"


def _rectangle(s0: float, o0: float, s1: float, o1: float) -> list[list[float]]:
    return [[s0, o0], [s1, o0], [s1, o1], [s0, o1]]


def _fasteners(*sides: sc.Side) -> list[Json]:
    return [{"id": r.id, "at": list(r.at), "diameter": r.shank} for side in sides for r in side.rivets]


def _spar_row_zone(member: str, low: float, high: float) -> Json:
    return {
        "id": f"{member}-front-row",
        "outline": _rectangle(0, low, 900, high),
        "limit": {"fraction": 0.05, "source": f"{RULES}, para 3.4 'within 2 D of a fastener row', rev C"},
    }


_RIBS = [
    {"label": "RIB 1", "at": 120.0},
    {"label": "RIB 2", "at": 340.0},
    {"label": "RIB 3", "at": 720.0},
    {"label": "RIB 4", "at": 860.0},
]

MEMBERS: list[Json] = [
    {
        "id": "SK1",
        "name": "Lower skin, inboard",
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3 clad",
        "thickness": 1.02,
        "u_thickness": 0.02,
        "thickness_measured": 1.018,
        "u_thickness_measured": 0.006,
        "clad_thickness": 0.05,
        "offset_is": "chordwise",
        "outer_view": "offset-up",
        "outline": _rectangle(0, 0, 900, 400),
        "limit": {"fraction": 0.10, "source": f"{RULES}, para 3.2, rev C"},
        "limit_zones": [_spar_row_zone("SK1", 16, 40)],
        "fasteners": _fasteners(sc.SK1_OUTER),
        "stations": _RIBS,
    },
    {
        "id": "SK2",
        "name": "Upper skin, inboard",
        "kind": "skin",
        "zone": "335",
        "material": "2024-T3 clad",
        "thickness": 1.02,
        "u_thickness": 0.02,
        "clad_thickness": 0.05,
        "offset_is": "chordwise",
        "outer_view": "offset-up",
        "outline": _rectangle(0, 0, 900, 400),
        "limit": {"fraction": 0.10, "source": f"{RULES}, para 3.2, rev C"},
        "limit_zones": [_spar_row_zone("SK2", 16, 40)],
        "fasteners": _fasteners(sc.SK2_OUTER),
        "stations": _RIBS,
    },
    {
        "id": "SP1",
        "name": "Front spar web",
        "kind": "spar web",
        "zone": "331",
        "material": "7075-T6",
        "thickness": 1.60,
        "u_thickness": 0.02,
        "thickness_measured": 1.603,
        "u_thickness_measured": 0.006,
        "offset_is": "height over the lower cap line",
        "outer_view": "offset-up",
        "outline": _rectangle(0, 0, 900, 160),
        "limit": {"depth": 0.160, "source": f"{RULES}, para 4.1, rev C"},
        "limit_zones": [_spar_row_zone("SP1", 0, 40)],
        "fasteners": _fasteners(sc.SP1_OUTER, sc.SP1_INNER),
        "stations": _RIBS,
    },
    {
        "id": "RB1",
        "name": "Rib 2 web",
        "kind": "rib",
        "zone": "332",
        "material": "2024-T42",
        "thickness": 0.81,
        "u_thickness": 0.02,
        "offset_is": "height over the lower flange",
        "outer_view": "offset-up",
        "main_direction": "offset",
        "outline": _rectangle(0, 0, 380, 110),
        "fasteners": _fasteners(sc.RB1_OUTER),
    },
    {
        "id": "RB2",
        "name": "Rib 3 web",
        "kind": "rib",
        "zone": "332",
        "material": "2024-T42",
        "thickness": 0.81,
        "u_thickness": 0.02,
        "offset_is": "height over the lower flange",
        "outer_view": "offset-up",
        "main_direction": "offset",
        "outline": _rectangle(0, 0, 360, 106),
        "limit": {"fraction": 0.10, "source": f"{RULES}, para 5.1, rev C"},
    },
]

HEAD: Json = {
    "format": "corrosion-survey",
    "version": 1,
    "units": "mm",
    "display_units": "in",
    "structure": {
        "name": "Horizontal stabilizer, left half",
        "zone": "330",
        "aircraft": sc.AIRCRAFT,
        "serial": "VM6-0017",
        "note": "Invented aircraft, shop, people, documents; synthetic pictures. Not for real aircraft.",
        "members": MEMBERS,
    },
    "survey": {
        "name": "Opening inspection, left stabilizer",
        "date": "2031-04-17",
        "inspector": "I. Brandhollow (invented)",
        "illuminance_lx": 1100,
        "light_standard": "shop procedure OH-7 (invented)",
        "note": f"{sc.SHOP}. Skins photographed in places only; rib 3 (RB2) not opened up yet.",
    },
    "settings": {"within_probability": 0.05, "station_bin": 100.0},
    "instruments": [
        {
            "id": "DG-2",
            "kind": "dial depth gauge, needle tip, bridge foot",
            "u_systematic": 0.003,
            "calibrated": "2031-01-20",
        },
        {
            "id": "UT-1",
            "kind": "ultrasonic thickness gauge",
            "u_systematic": 0.008,
            "calibrated": "2031-03-02",
        },
        {"id": "MC-4", "kind": "micrometer, ball anvil", "u_systematic": 0.002, "calibrated": "2031-02-11"},
    ],
}

# Readings set by hand so that the verdicts differ: within, too close to call, over.
READ_OVER = {"B1": 0.060, "B2": 0.098, "B3": 0.061, "ER1": 0.054, "B4": 0.157, "B7": 0.068}
# A pit nobody put a gauge in.
NO_READING = frozenset({"P10"})

AREAS: dict[str, tuple[tuple[str, str, list[tuple[float, float]], str], ...]] = {
    "03_sk1_inner_card": (
        (
            "A1",
            "affected",
            [(503, 143), (516, 144), (527, 166), (541, 178), (539, 187), (524, 186), (506, 176)],
            "Primer lifted and product across this patch.",
        ),
    ),
    "10_sk1_inner_control": (
        ("C1", "clear", [(76, 88), (166, 88), (167, 146), (75, 147)], "Looked at closely: no defect seen."),
    ),
}

REMOVALS: list[Json] = [
    {
        "id": "ER1-record",
        "member": "SK2",
        "face": "outer",
        "footprint": {
            "type": "Ellipse",
            "center": [300.0, 182.0],
            "semi_axes": [18.0, 12.0],
            "angle_deg": 5.0,
        },
        "depth": {"value": 0.055, "u": 0.005},
        "profile": "dished",
        "measured_from": "original",
        "origin": "earlier",
        "date": "2024-06-03",
        "note": "Work card 0417-09 of another shop (invented): corrosion removed, no thickness recorded.",
    },
    {
        "id": "ER2-record",
        "member": "SK1",
        "face": "outer",
        "footprint": {"type": "Circle", "center": [636.0, 154.0], "radius": 18.0},
        "depth": {"value": 0.014, "u": 0.003},
        "profile": "flat",
        "measured_from": "original",
        "origin": "earlier",
        "date": "2024-06-05",
        "note": "Work card 0417-12 (invented): surface corrosion polished out.",
    },
]

THICKNESS: list[Json] = [
    {
        "id": "T1",
        "member": "SK1",
        "at": [628.0, 152.0],
        "value": 0.946,
        "u": 0.006,
        "instrument": "UT-1",
        "date": "2031-04-18",
        "note": "Middle of B1.",
    },
    {
        "id": "T2",
        "member": "SK1",
        "at": [672.0, 150.0],
        "value": 0.921,
        "u": 0.006,
        "instrument": "UT-1",
        "date": "2031-04-18",
        "note": "Middle of B2.",
    },
    {
        "id": "T3",
        "member": "SK1",
        "at": [600.0, 120.0],
        "value": 1.018,
        "u": 0.006,
        "instrument": "UT-1",
        "date": "2031-04-18",
        "note": "Unblended.",
    },
    {
        "id": "T4",
        "member": "SK2",
        "at": [302.0, 181.0],
        "value": 0.902,
        "u": 0.006,
        "instrument": "UT-1",
        "date": "2031-04-18",
        "note": "Where ER1 and B3 meet.",
    },
    {
        "id": "T5",
        "member": "SP1",
        "at": [620.0, 80.0],
        "value": 1.446,
        "u": 0.004,
        "instrument": "MC-4",
        "date": "2031-04-18",
        "note": "Middle of B4.",
    },
    {
        "id": "T6",
        "member": "SP1",
        "at": [560.0, 80.0],
        "value": 1.603,
        "u": 0.004,
        "instrument": "MC-4",
        "date": "2031-04-18",
        "note": "Unblended.",
    },
]
