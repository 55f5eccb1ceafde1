"""What a blend plan says, as frozen values in millimetres."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from corrosion.layout import MemberLayout
from corrosion.model import Removal, RunOut
from corrosion.quantity import Measured
from corrosion.removal import Entry, MemberRemoval
from corrosion.results import Finding, Point, Spot
from corrosion.terms import Face, Flag, Verdict


def ratio_words(run_out: RunOut) -> str:
    """State a run-out ratio both ways, so that nobody takes one for the other."""
    return f"{2 * run_out.side:g}:1 total length to depth, which is {run_out.side:g}:1 on each side"


@dataclass(frozen=True)
class Site:
    """Corrosion that is to be blended out.

    Attributes
    ----------
    outline : BaseGeometry
        On the layout, mm.
    corrosion : Measured
        Its depth as read, mm.
    depth : float
        Planned depth, mm: the depth read, its expanded uncertainty U, and the clean-up allowance.
    inside_earlier : bool
        Whether an earlier removal on the same face reaches it.
    """

    finding: Finding
    face: Face
    outline: BaseGeometry
    corrosion: Measured
    depth: float
    inside_earlier: bool


class ConflictKind(StrEnum):
    """What a planned blend may come too near to, or not fit."""

    OFF_MEMBER = "off the member"
    EDGE = "edge distance"
    FASTENER = "fastener"
    SUPPORT = "support structure"
    LIMIT_ZONE = "limit zone"
    THICKNESS_STEP = "thickness step"
    OTHER_FACE = "other face"
    NEIGHBOUR = "neighbouring blend"


@dataclass(frozen=True)
class Conflict:
    """One thing that a planned blend meets.

    Attributes
    ----------
    stands : Verdict
        *over*: the minimum is not kept; *too close to call*: within the doubt of the position;
        *not determined*: no minimum is set; *within*: to be known, not in the way.
    distance, minimum : float or None
        Found and asked, mm.
    """

    kind: ConflictKind
    stands: Verdict
    words: str
    distance: float | None = None
    minimum: float | None = None
    source: str = ""


@dataclass(frozen=True)
class PlannedBlend:
    """One blend, before any metal is touched.

    Attributes
    ----------
    removal : Removal
        The planned removal, in mm, as it may be kept in the survey.
    entry : Entry
        The same, ready to be summed.
    sites : list of Site
        The corrosion it takes out.
    floor, footprint
        Where the full depth is taken, and the blend's outline, on the layout, mm.
    depth : float
        mm, below the surface named by `removal.measured_from`, for the reason in `why_from`.
    run_out : RunOut
    after : Spot
        The sum after the blend at its worst place.
    verdict : Verdict
        Three-way verdict on the sum after the blend, over all of its footprint.
    stop_depth : float or None
        Depth at which the bench must stop, mm, counted like `depth`: beyond it the sum would exceed the
        limit with more than the survey's probability. 0 where nothing is left to give; None without a
        limit.
    stop_at : Point or None
        The place that sets it.
    """

    removal: Removal
    entry: Entry
    sites: list[Site]
    floor: BaseGeometry
    footprint: Polygon
    depth: float
    run_out: RunOut
    why_from: str
    after: Spot
    verdict: Verdict
    stop_depth: float | None
    stop_at: Point | None
    conflicts: list[Conflict] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    flags: frozenset[Flag] = frozenset()

    @property
    def id(self) -> str:
        """Name of the blend."""
        return self.removal.id

    @property
    def volume_mm3(self) -> float:
        """Metal in the dish, mm3, as if nothing had been taken there before."""
        return self.entry.depth * self.entry.profile.integral_mm2

    @property
    def reaches_depth(self) -> bool | None:
        """Whether the planned depth is no deeper than the bench may go; None without a limit."""
        return None if self.stop_depth is None else self.depth <= self.stop_depth


@dataclass(frozen=True)
class MemberPlan:
    """The blends of one member.

    Attributes
    ----------
    undetermined : list of (Finding, str)
        Corrosion that cannot be planned, each with its reason.
    blended : list of (Finding, str)
        Corrosion that a blend-out of this survey took out, each with its name.
    open_questions : list of str
        What was not stated, and so not looked at.
    now, after : MemberRemoval
        The sums before and after the plan.
    """

    member_id: str
    layout: MemberLayout
    blends: list[PlannedBlend]
    undetermined: list[tuple[Finding, str]]
    blended: list[tuple[Finding, str]]
    open_questions: list[str]
    now: MemberRemoval
    after: MemberRemoval
