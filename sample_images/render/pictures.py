"""The pictures: which face, from where, in which light, with which references."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import references as ref
import scenario as sc
from camera import Camera


@dataclass(frozen=True)
class Beam:
    """A lamp: position and aim in the view frame (mm), strength relative to the ambient light."""

    at: tuple[float, float, float]
    aim: tuple[float, float]
    strength: float
    cutoff_deg: float = 24.0
    core_deg: float = 6.0


@dataclass(frozen=True)
class Shot:
    """One picture.

    Attributes
    ----------
    origin : (float, float)
        Layout point at the middle of the view frame; x of the view frame runs with the station on an
        outer face and against it on an inner face, y with the offset.
    """

    name: str
    side: sc.Side
    origin: tuple[float, float]
    camera: Camera
    beams: tuple[Beam, ...]
    references: tuple[Callable[[], ref.Reference], ...] = ()
    ambient: float = 0.3
    view: str = "flashlight"
    taken: str = "2031-04-17T09:12:00"
    orientation: int = 1
    sealant: tuple[tuple[tuple[float, float], tuple[float, float], float], ...] = ()
    prints: tuple[tuple[float, float, float], ...] = ()
    note: str = ""

    @property
    def mirrored(self) -> bool:
        """Whether the layout appears as its mirror image (inner faces)."""
        return self.side.face == "inner"

    def to_view(self, station: float, offset: float) -> tuple[float, float]:
        """Layout to view frame."""
        sign = -1.0 if self.mirrored else 1.0
        return sign * (station - self.origin[0]), offset - self.origin[1]


WIDE, TALL = (1600, 1200), (1200, 1600)


def _phone(
    field_mm: float,
    tilt: float,
    azimuth: float,
    roll: float,
    look_at: tuple[float, float] = (0.0, 0.0),
    size: tuple[int, int] = WIDE,
) -> Camera:
    """A phone camera whose picture spans about `field_mm` along its long side."""
    return Camera(size, 2050.0, look_at, 2050.0 * field_mm / 1600.0, tilt, azimuth, roll)


def _torch(
    azimuth_deg: float,
    elevation_deg: float,
    distance: float,
    strength: float,
    aim: tuple[float, float] = (0.0, 0.0),
    cutoff: float = 19.0,
    core: float = 3.0,
) -> Beam:
    import math

    a, e = math.radians(azimuth_deg), math.radians(elevation_deg)
    at = (
        aim[0] + distance * math.cos(e) * math.cos(a),
        aim[1] + distance * math.cos(e) * math.sin(a),
        distance * math.sin(e),
    )
    return Beam(at, aim, strength, cutoff, core)


BORESCOPE = Camera(
    WIDE, 1120.0, (0.0, 0.0), 38.0, 22.0, -110.0, 7.0, (806.5, 594.0), (-0.215, 0.036, 0.0, 0.0, 0.0)
)


def _ring(camera: Camera) -> tuple[Beam, ...]:
    """Four light guides round the borescope's lens."""
    right, down, forward = camera.rotation
    beams = []
    for k in range(4):
        shift = 2.1 * ((1, 0, -1, 0)[k] * right + (0, 1, 0, -1)[k] * down) - 0.5 * forward
        at = camera.centre + shift
        beams.append(
            Beam(
                (float(at[0]), float(at[1]), float(at[2])), camera.look_at_mm, 1.0 if k else 1.5, 58.0, 20.0
            )
        )
    return tuple(beams)


SHOTS = (
    Shot(
        "01_sk1_outer_rule",
        sc.SK1_OUTER,
        (430.0, 66.0),
        _phone(122, 7, -70, 2.5),
        (_torch(172, 13, 230, 1.9, (5, -4)),),
        (lambda: ref.rule((22.0, 30.0), 1.2),),
        0.22,
        taken="2031-04-17T09:12:31",
        note="Five pits on bare clad sheet, flush rivets below, steel rule above.",
    ),
    Shot(
        "02_sk1_outer_target",
        sc.SK1_OUTER,
        (475.0, 75.0),
        _phone(148, 18, -60, -3),
        (_torch(28, 20, 260, 2.2),),
        (lambda: ref.target((1.0, 0.5), -1.5),),
        0.32,
        taken="2031-04-17T09:15:04",
        note="Overlaps the first picture (pits P3 and P4 again); printed window sheet.",
    ),
    Shot(
        "03_sk1_inner_card",
        sc.SK1_INNER,
        (536.0, 168.0),
        _phone(148, 10, -100, 1.5, (-3.0, -8.0)),
        (_torch(20, 17, 250, 1.5, (12, -2)),),
        (lambda: ref.card((-24.0, -28.0), 2.0),),
        0.20,
        taken="2031-04-17T09:31:40",
        sealant=(((-90.0, 21.3), (-12.0, 21.6), 2.2),),
        note="Pits with much product through chipped primer below the stringer; ID-1 sized card.",
    ),
    Shot(
        "04_sk1_inner_blends_disc",
        sc.SK1_INNER,
        (650.0, 160.0),
        _phone(122, 9, -80, -2),
        (_torch(150, 16, 240, 1.5),),
        (lambda: ref.disc((0.0, -28.0)),),
        0.30,
        taken="2031-04-18T14:02:10",
        note="Two finished blend-outs; plain brass disc.",
    ),
    Shot(
        "05_sk2_outer_rework_card",
        sc.SK2_OUTER,
        (304.0, 166.0),
        _phone(152, 12, -90, -1.5, (0.0, -6.0)),
        (_torch(140, 15, 260, 1.8, (-2, 6)),),
        (lambda: ref.card((4.0, -29.0), -3.0),),
        0.22,
        taken="2031-04-17T10:05:55",
        note="An earlier rework dish, stripped of paint; ID-1 sized card.",
    ),
    Shot(
        "06_sk2_inner_blend_disc",
        sc.SK2_INNER,
        (304.0, 180.0),
        _phone(112, 11, -60, 3),
        (_torch(200, 15, 230, 1.5),),
        (lambda: ref.disc((-32.0, -13.0)),),
        0.28,
        taken="2031-04-18T14:20:43",
        sealant=(((-80.0, 18.6), (80.0, 18.4), 1.7),),
        note="Blend-out on the other face of the same spot as the earlier rework; a small pit beside it.",
    ),
    Shot(
        "07_sp1_outer_row_rule",
        sc.SP1_OUTER,
        (208.0, 34.0),
        _phone(116, 8, -95, -1.0),
        (_torch(-20, 18, 230, 1.6),),
        (lambda: ref.rule((18.0, 28.0), -1.0),),
        0.22,
        taken="2031-04-17T10:40:12",
        note="Pits and a small blend-out along the lower cap's fastener row; steel rule.",
    ),
    Shot(
        "08_sp1_inner_borescope",
        sc.SP1_INNER,
        (482.0, 60.0),
        BORESCOPE,
        _ring(BORESCOPE),
        (),
        0.004,
        "borescope",
        taken="2031-04-17T11:22:09",
        note="Borescope still: two pits between six rivets of known pitch.",
    ),
    Shot(
        "09_rb1_outer_rule_portrait",
        sc.RB1_OUTER,
        (152.0, 66.0),
        _phone(120, 9, -75, 1.0, size=TALL),
        (_torch(165, 17, 240, 1.4),),
        (lambda: ref.rule((-28.0, 0.0), 90.0),),
        0.28,
        taken="2031-04-17T13:05:27",
        orientation=6,
        note="Stored on its side, EXIF orientation 6. Two pits, one blend-out, no limit on file.",
    ),
    Shot(
        "10_sk1_inner_control",
        sc.SK1_INNER,
        (122.0, 118.0),
        _phone(118, 6, -90, -2.5),
        (_torch(155, 17, 240, 1.4),),
        (),
        0.28,
        taken="2031-04-17T09:44:18",
        prints=((146.0, 128.0, 30.0), (151.0, 107.0, 22.0), (88.0, 96.0, -40.0)),
        note="Control: no pits. Scratches, chips, smudges and rivets only.",
    ),
    Shot(
        "11_sp1_outer_blend_target",
        sc.SP1_OUTER,
        (620.0, 80.0),
        _phone(150, 15, -120, 2.0),
        (_torch(165, 18, 260, 2.0),),
        (lambda: ref.target((0.0, -1.5), 1.0),),
        0.28,
        taken="2031-04-18T15:10:36",
        note="A blend-out near its limit; printed window sheet.",
    ),
)
