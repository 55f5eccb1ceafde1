"""What an assessment says, as plain frozen values in millimetres.

`corrosion.survey.assess` fills these; the command line, the map and the service only read them.
Points are (station, offset) in mm on the member's layout.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from shapely.geometry.base import BaseGeometry

from corrosion.model import Mark, Member, SurveyFile, ThicknessReading
from corrosion.quantity import FloatArray, Measured
from corrosion.terms import Face, Flag, MarkKind, Origin, Verdict

Point = tuple[float, float]


@dataclass(frozen=True)
class MarkMeasures:
    """Measures of one mark.

    Attributes
    ----------
    mark : Mark
        The mark as drawn; its `depths` include those read from its `light`.
    quantities : dict of str to Measured
        ``area`` mm2, ``equivalent_diameter``, ``longest_calliper``, ``shortest_calliper``,
        ``perimeter``, ``length``, ``spacing`` (edge to edge, nearest mark of the same kind) mm; only
        those that make sense for the shape.
    outline_mm : ndarray of shape (n, 2)
        Outline on the surface plane, mm; for measuring, not for the layout.
    depth : Measured or None
        The governing depth reading, mm.
    problem : str or None
        Why the mark, or a depth of it by light, could not be measured; `quantities` is empty where it is
        the mark itself.
    """

    mark: Mark
    quantities: dict[str, Measured]
    outline_mm: FloatArray
    depth: Measured | None = None
    problem: str | None = None


@dataclass(frozen=True)
class PhotoMeasures:
    """All measures of one photo.

    `totals` holds sums that keep the marks' shared errors: ``pit_area``, ``blend_out_area``,
    ``affected_area`` (mm2), ``pit_count`` (1), ``pit_density`` (pits per mm2 of affected area) and
    ``affected_share`` (pit area inside affected areas / affected area), where they can be given.
    """

    photo_id: str
    scale_kind: str | None
    marks: list[MarkMeasures]
    totals: dict[str, Measured]
    scale: dict[str, Measured] = field(default_factory=dict)
    flags: frozenset[Flag] = frozenset()
    problem: str | None = None


@dataclass(frozen=True)
class PlacedOutline:
    """A mark on the layout.

    `outline` is a polygon, line or point in layout mm; `position` its centroid with the standard
    uncertainties of its station and offset.
    """

    photo_id: str
    mark: Mark
    outline: BaseGeometry
    position: Point
    u_position: tuple[float, float]
    flags: frozenset[Flag] = frozenset()


@dataclass(frozen=True)
class PlacedPhoto:
    """A photo on the layout: its footprint, marks and the doubt of the fit."""

    photo_id: str
    member_id: str
    face: Face
    footprint: BaseGeometry | None
    marks: list[PlacedOutline]
    residuals_mm: list[tuple[float, float]]
    rms_mm: float | None
    flags: frozenset[Flag] = frozenset()
    problem: str | None = None


@dataclass(frozen=True)
class Finding:
    """One thing on the metal, however many photos show it."""

    id: str
    kind: MarkKind
    member_id: str | None
    face: Face | None
    zone: str | None
    outline: BaseGeometry | None
    position: Point | None
    u_position: tuple[float, float] | None
    depth: Measured | None
    grade: str | None
    quantities: dict[str, Measured]
    sources: list[tuple[str, str]]
    station_text: str = ""
    flags: frozenset[Flag] = frozenset()


@dataclass(frozen=True)
class LedgerLine:
    """One entry's part in the sum at one spot.

    `adds` is what the face's removal became minus what it was before the entry; 0 for an `original`
    entry that an earlier, deeper one outranks.
    """

    entry_id: str
    face: Face
    origin: Origin
    date: str | None
    measured_from: str
    depth_here: float
    face_total_after: float
    adds: float


@dataclass(frozen=True)
class Spot:
    """The sum at one place.

    Attributes
    ----------
    at : Point
        (station, offset), mm.
    thickness : float
        Reference thickness there, mm.
    removed : Measured
        T = T_outer + T_inner, mm.
    by_face : dict of Face to float
        Each face's removal, mm.
    limit : float or None
        Most that may be removed there, mm; None where no limit is set.
    limit_source : str
        Document that sets it.
    probability_over : float or None
        Probability that the true removal exceeds the limit.
    verdict : Verdict
        Three-way verdict, or not determined with `reason`.
    ledger : list of LedgerLine
        The entries that add up here, in the order they were applied.
    """

    at: Point
    thickness: float
    removed: Measured
    by_face: dict[Face, float]
    limit: float | None
    limit_source: str
    probability_over: float | None
    verdict: Verdict
    reason: str = ""
    ledger: list[LedgerLine] = field(default_factory=list)

    @property
    def margin(self) -> float | None:
        """How much more may come off here, mm; negative when over."""
        return None if self.limit is None else self.limit - self.removed.value

    @property
    def remaining(self) -> float:
        """Remaining thickness, mm."""
        return self.thickness - self.removed.value


@dataclass(frozen=True)
class SectionLoss:
    """Metal lost on a cut across the member at one station."""

    station: float
    lost_mm2: float
    section_mm2: float

    @property
    def share(self) -> float:
        """Lost share of the section, 0 to 1."""
        return self.lost_mm2 / self.section_mm2 if self.section_mm2 > 0 else 0.0


@dataclass(frozen=True)
class BinSummary:
    """Summary of one station bin of a member."""

    start: float
    stop: float
    deepest: Spot | None
    section_loss: SectionLoss
    over_area_mm2: float
    findings: int
    verdict: Verdict


@dataclass(frozen=True)
class ReadingCheck:
    """A thickness reading against the sum of the entries at its place.

    `normalised` is the difference over its combined standard uncertainty.
    """

    reading: ThicknessReading
    removed_by_reading: float
    removed_by_entries: float
    normalised: float | None
    agrees: bool
    spot: Spot


@dataclass(frozen=True)
class Coverage:
    """How much of one face of a member was photographed. `seen` and `unseen` are layout polygons."""

    face: Face
    seen: BaseGeometry
    unseen: BaseGeometry
    share: float


@dataclass(frozen=True)
class MemberAssessment:
    """Everything the survey says of one member.

    Attributes
    ----------
    member : Member
        In mm.
    verdict : Verdict
        The worst over the places where metal was removed; *not determined* when no limit is set or
        a blend-out has no depth. It speaks of removal only: unblended pits are in `unblended_pits`
        and unseen area in `coverage`.
    reasons : list of str
        Why, in plain words.
    deepest : Spot or None
        Where most metal is gone; None if nothing was removed.
    least_margin : Spot or None
        Where least may still come off; differs from `deepest` where limits differ.
    cell_mm, cell_error_mm : float
        Cell size and the bound on how much deeper the true deepest sum may be than the one found.
    """

    member: Member
    verdict: Verdict
    reasons: list[str]
    deepest: Spot | None
    least_margin: Spot | None
    over_area_mm2: float
    not_within_area_mm2: float
    removed_volume_mm3: Measured
    removed_mass_kg: Measured | None
    section_losses: list[SectionLoss]
    bins: list[BinSummary]
    readings: list[ReadingCheck]
    coverage: dict[Face, Coverage]
    unblended_pits: list[str]
    cell_mm: float
    cell_error_mm: float
    flags: frozenset[Flag] = frozenset()

    @property
    def worst_section(self) -> SectionLoss | None:
        """The station that lost the largest share of its section."""
        return max(self.section_losses, key=lambda cut: cut.share, default=None)


@dataclass(frozen=True)
class Assessment:
    """The answer to a survey.

    `problems` names, in plain words with place and remedy, everything that could not be measured,
    placed or judged; nothing is left out silently.
    """

    survey: SurveyFile
    photos: list[PhotoMeasures]
    placed: list[PlacedPhoto]
    findings: list[Finding]
    members: list[MemberAssessment]
    problems: list[str]
    verdict: Verdict
