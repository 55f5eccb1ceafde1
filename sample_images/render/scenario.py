"""The invented scenario: one stabilizer, its members, and everything that is on their faces.

Aircraft type, shop, people, documents and numbers are made up. Positions are layout coordinates
(station, offset) in mm; both faces of a member share them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from features import Dent, Rivet

AIRCRAFT = "Velmoor VM-6 Quillet (invented light twin)"
SHOP = "Ostrand Hollow Restoration Shed (invented)"
EIGHTH, FIVE_32 = 3.18, 3.97  # rivet shanks 1/8 in and 5/32 in, mm


@dataclass(frozen=True)
class Raised:
    """A flange or cap lying on the face: layout rectangle and its thickness."""

    low: tuple[float, float]
    high: tuple[float, float]
    thickness: float


@dataclass(frozen=True)
class Side:
    """One face of one member."""

    member: str
    face: str
    finish: str
    dents: tuple[Dent, ...] = ()
    rivets: tuple[Rivet, ...] = ()
    raised: tuple[Raised, ...] = ()
    crosses: tuple[tuple[str, tuple[float, float]], ...] = ()
    seed: int = 1
    extra: dict[str, object] = field(default_factory=dict)


def _row(
    prefix: str, stations: list[float], offsets: list[float], shank: float, flush: bool, base_z: float = 0.0
) -> tuple[Rivet, ...]:
    return tuple(
        Rivet(f"{prefix}-{s:g}-{o:g}", (s, o), shank, flush, base_z) for s in stations for o in offsets
    )


def _steps(first: float, last: float, pitch: float) -> list[float]:
    return [first + pitch * k for k in range(int((last - first) / pitch + 0.5) + 1)]


def skin_rivets(member: str, flush: bool, stringer_offset: float, raised: bool) -> tuple[Rivet, ...]:
    """Spar row, stringer row and four rib rows of a skin."""
    z = 1.0 if raised else 0.0
    spar = _row(f"{member}-F", _steps(10, 890, 20), [28.0], EIGHTH, flush)
    stringer = _row(f"{member}-T", _steps(10, 890, 25), [stringer_offset], EIGHTH, flush, z)
    ribs = _row(f"{member}-R", [120.0, 340.0, 720.0, 860.0], _steps(55, 175, 24), EIGHTH, flush)
    return spar + stringer + ribs


def _pit(
    name: str,
    at: tuple[float, float],
    axes: tuple[float, float],
    depth: float,
    seed: int,
    product: float = 0.4,
    angle: float = 0.0,
) -> Dent:
    return Dent(name, "pit", at, axes, depth, angle, 0.14, 4.0, 0.28, product, seed)


def _dish(
    name: str,
    at: tuple[float, float],
    axes: tuple[float, float],
    depth: float,
    seed: int,
    angle: float = 0.0,
    kind: str = "blend-out",
) -> Dent:
    return Dent(name, kind, at, axes, depth, angle, 0.035, 2.0, 0.0, 0.0, seed)


SK1_OUTER = Side(
    "SK1",
    "outer",
    "bare",
    (
        _pit("P1", (404.0, 74.0), (1.7, 1.4), 0.072, 11, 0.25),
        _pit("P2", (418.0, 58.5), (1.1, 1.0), 0.055, 12, 0.7),
        _pit("P3", (440.0, 68.0), (2.9, 1.8), 0.118, 13, 0.35, 20.0),
        _pit("P4", (462.0, 76.0), (2.1, 1.8), 0.160, 14, 0.15),
        _pit("P5", (488.0, 66.0), (1.5, 1.2), 0.090, 15, 0.8),
        _pit("P6", (497.0, 86.0), (2.4, 1.5), 0.105, 16, 0.3, -35.0),
    ),
    skin_rivets("SK1", True, 200.0, False),
    (),
    (
        ("384/82", (384.0, 82.0)),
        ("440/92", (440.0, 92.0)),
        ("510/92", (510.0, 92.0)),
        ("510/56", (510.0, 56.0)),
        ("450/56", (450.0, 56.0)),
    ),
    100,
)

SK1_INNER = Side(
    "SK1",
    "inner",
    "primer",
    (
        _pit("P7", (520.0, 176.0), (2.6, 1.7), 0.140, 21, 0.55, 10.0),
        _pit("P8", (511.0, 168.0), (1.6, 1.4), 0.095, 22, 0.45),
        _pit("P9", (534.0, 181.0), (1.9, 1.2), 0.070, 23, 0.8, 70.0),
        _pit("P10", (509.0, 150.0), (1.3, 1.1), 0.060, 24, 0.3),
        _dish("B1", (628.0, 152.0), (14.0, 9.0), 0.060, 31, 12.0),
        _dish("B2", (672.0, 150.0), (16.0, 10.0), 0.098, 32, -8.0),
    ),
    skin_rivets("SK1", False, 200.0, True),
    (Raised((0, 190), (900, 210), 1.0),),
    (
        ("82/100", (82.0, 100.0)),
        ("160/146", (160.0, 146.0)),
        ("480/180", (480.0, 180.0)),
        ("480/135", (480.0, 135.0)),
        ("590/183", (590.0, 183.0)),
        ("690/172", (690.0, 172.0)),
        ("610/172", (610.0, 172.0)),
        ("610/132", (610.0, 132.0)),
        ("690/132", (690.0, 132.0)),
    ),
    110,
)

SK2_OUTER = Side(
    "SK2",
    "outer",
    "painted",
    (_dish("ER1", (300.0, 182.0), (18.0, 12.0), 0.055, 41, 5.0, "earlier-rework"),),
    skin_rivets("SK2", True, 208.0, False),
    (),
    (("252/150", (252.0, 150.0)), ("362/146", (362.0, 146.0))),
    120,
)

SK2_INNER = Side(
    "SK2",
    "inner",
    "primer",
    (
        _dish("B3", (304.0, 181.0), (15.0, 10.0), 0.060, 51, -10.0),
        _pit("P11", (331.0, 172.0), (1.3, 1.1), 0.050, 52, 0.6),
    ),
    skin_rivets("SK2", False, 208.0, True),
    (Raised((0, 200), (900, 216), 1.0),),
    (
        ("276/188", (276.0, 188.0)),
        ("345/188", (345.0, 188.0)),
        ("275/150", (275.0, 150.0)),
        ("325/150", (325.0, 150.0)),
    ),
    130,
)

SP1_OUTER = Side(
    "SP1",
    "outer",
    "primer",
    (
        _pit("P12", (224.0, 29.0), (2.3, 1.6), 0.110, 61, 0.6),
        _pit("P13", (233.0, 36.5), (1.5, 1.2), 0.085, 62, 0.5),
        _pit("P14", (181.0, 38.0), (1.8, 1.5), 0.180, 63, 0.3),
        _dish("B7", (201.0, 32.0), (7.0, 4.6), 0.068, 64, 0.0),
        _dish("B4", (620.0, 80.0), (20.0, 13.0), 0.156, 65, 6.0),
    ),
    _row("SP1-L", _steps(10, 890, 20), [12.0], FIVE_32, False, 2.0)
    + _row("SP1-U", _steps(10, 890, 20), [148.0], FIVE_32, False, 2.0),
    (Raised((-20, -10), (920, 22), 2.0), Raised((-20, 138), (920, 170), 2.0)),
    (
        ("185/46", (185.0, 46.0)),
        ("240/46", (240.0, 46.0)),
        ("580/98", (580.0, 98.0)),
        ("654/98", (654.0, 98.0)),
        ("654/60", (654.0, 60.0)),
        ("580/60", (580.0, 60.0)),
    ),
    140,
)

SP1_INNER = Side(
    "SP1",
    "inner",
    "primer",
    (
        _pit("P15", (482.0, 66.0), (2.2, 1.5), 0.150, 71, 0.6, 40.0),
        _pit("P16", (488.0, 53.0), (1.2, 1.0), 0.070, 72, 0.5),
    ),
    _row("SP1-D", [468.0, 496.0], [46.0, 60.0, 74.0], EIGHTH, False),
    (),
    (),
    150,
)

RB1_OUTER = Side(
    "RB1",
    "outer",
    "primer",
    (
        _pit("P17", (141.0, 84.0), (2.2, 1.5), 0.090, 81, 0.8, 60.0),
        _pit("P18", (160.0, 92.0), (1.4, 1.2), 0.055, 82, 0.5),
        _dish("B5", (152.0, 52.0), (12.0, 8.0), 0.052, 83, 80.0),
    ),
    _row("RB1-U", _steps(16, 352, 24), [104.0], EIGHTH, False),
    (),
    (("140/30", (140.0, 30.0)), ("178/30", (178.0, 30.0))),
    160,
)
