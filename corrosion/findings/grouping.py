"""Which marks show the same thing.

Counting one blend-out twice condemns a good part, taking two for one hides an over-limit sum. So marks
are joined when a person gave them one name, or when they clearly cover each other and joining cannot
hide metal; what overlaps and is neither is kept apart and marked doubtful.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import STRtree

from corrosion.model import Mark, Photo
from corrosion.results import MarkMeasures, PlacedOutline
from corrosion.terms import MarkKind, MeasuredFrom

LEAST_OVERLAP = 0.3
"""Intersection over union from which two outlines count as one thing (this program's choice)."""

POSITION_FACTOR = 3.0
"""Distance, in combined standard uncertainties, within which two points count as one place."""

Pair = tuple[float, int, int]


@dataclass(frozen=True, eq=False)
class Sighting:
    """One mark as one photo shows it; measures and place may be missing."""

    photo: Photo
    mark: Mark
    measures: MarkMeasures | None
    placed: PlacedOutline | None

    @property
    def has_depth(self) -> bool:
        """Whether a depth was read."""
        return bool(self.mark.depths)

    @property
    def subject(self) -> tuple[MarkKind, str | None, str | None]:
        """What two sightings of one thing must share: kind, member and face."""
        return self.mark.kind, self.photo.member, self.photo.face

    @property
    def u_place(self) -> float:
        """Standard uncertainty of the place, the larger of station and offset, mm."""
        return max(self.placed.u_position) if self.placed else math.inf


class Grouping:
    """Sightings in groups, none with two marks of one photo."""

    def __init__(self, sightings: list[Sighting], survey_date: str | None) -> None:
        self.sightings = sightings
        self.survey_date = survey_date
        self.group_of = list(range(len(sightings)))
        self.members: dict[int, list[int]] = {i: [i] for i in range(len(sightings))}
        self.doubtful: set[int] = set()

    def try_join(self, one: int, other: int) -> bool:
        """Join the groups of two sightings unless that would join two marks of one photo."""
        a, b = self.group_of[one], self.group_of[other]
        if a == b:
            return True
        photos = [self.sightings[i].photo.id for i in self.members[a] + self.members[b]]
        if len(set(photos)) < len(photos):
            return False
        low, high = min(a, b), max(a, b)
        for i in self.members.pop(high):
            self.group_of[i] = low
            self.members[low].append(i)
        return True

    def doubt(self, one: int, other: int) -> None:
        """Keep two sightings apart, but say that they may be one thing."""
        self.doubtful |= {one, other}

    def date_of(self, index: int) -> str | None:
        """Date of a mark; the survey's where it has none."""
        return self.sightings[index].mark.date or self.survey_date

    def names_of(self, index: int) -> set[str]:
        """Feature names in a sighting's group."""
        group = self.members[self.group_of[index]]
        return {name for i in group if (name := self.sightings[i].mark.feature)}

    def one_pass(self, one: int, other: int) -> bool:
        """Whether two blend-out sightings can be one pass of the tool.

        Passes on different days, or measured from different surfaces, are removals of their own. An
        outline without a depth removes nothing by itself and goes with any.
        """
        a, b = self.sightings[one], self.sightings[other]
        if a.mark.kind is not MarkKind.BLEND_OUT or not (a.has_depth and b.has_depth):
            return True
        same_surface = a.mark.measured_from == b.mark.measured_from
        return same_surface and self.date_of(one) == self.date_of(other)

    def groups_are_one_pass(self, one: int, other: int) -> bool:
        """Whether all sightings of both groups can be one pass."""
        first, second = self.members[self.group_of[one]], self.members[self.group_of[other]]
        return all(self.one_pass(i, j) for i in first for j in second)


def group_sightings(sightings: list[Sighting], survey_date: str | None) -> tuple[list[list[int]], set[int]]:
    """Group the sightings of one thing.

    Parameters
    ----------
    sightings : list of Sighting
    survey_date : str or None
        Taken for marks without a date.

    Returns
    -------
    groups : list of list of int
        Indices into `sightings`, in their order.
    doubtful : set of int
        Sightings that may be the same thing as one in another group.
    """
    grouping = Grouping(sightings, survey_date)
    _join_named(grouping)
    _join_overlapping(grouping)
    groups = sorted((sorted(group) for group in grouping.members.values()), key=lambda group: group[0])
    return groups, grouping.doubtful


def _join_named(grouping: Grouping) -> None:
    """Join what bears one name; outlines without a depth last, so that they cannot bridge two passes."""
    named = defaultdict(list)
    for index, sighting in enumerate(grouping.sightings):
        if sighting.mark.feature:
            named[sighting.mark.feature, sighting.subject].append(index)
    for same in named.values():
        ordered = sorted(same, key=lambda i: not grouping.sightings[i].has_depth)
        for position, index in enumerate(ordered):
            for other in ordered[:position]:
                if not grouping.groups_are_one_pass(index, other):
                    if _same_day_other_surface(grouping, index, other):
                        grouping.doubt(index, other)
                elif grouping.try_join(index, other):
                    break
                else:
                    grouping.doubt(index, other)


def _same_day_other_surface(grouping: Grouping, one: int, other: int) -> bool:
    """Whether one name has depths from two surfaces on one day, so that nobody can tell the order."""
    a, b = grouping.sightings[one].mark, grouping.sightings[other].mark
    return a.measured_from != b.measured_from and grouping.date_of(one) == grouping.date_of(other)


def _join_overlapping(grouping: Grouping) -> None:
    """Join unnamed sightings that cover each other, best match first; doubt what must stay apart."""
    for overlap, one, other in sorted(_candidates(grouping), key=lambda pair: (-pair[0], *pair[1:])):
        a, b = grouping.sightings[one], grouping.sightings[other]
        names = grouping.names_of(one) | grouping.names_of(other)
        if grouping.group_of[one] == grouping.group_of[other] or len(names) > 1:
            # Joined already, or called two things by a person.
            continue
        if len(names) == 1 and a.mark.feature and b.mark.feature:
            continue  # One name, kept apart above.
        joins = overlap >= LEAST_OVERLAP and _may_join(grouping, one, other)
        if not (joins and grouping.try_join(one, other)):
            grouping.doubt(one, other)


def _may_join(grouping: Grouping, one: int, other: int) -> bool:
    """Whether joining cannot hide metal removed.

    Two depths from the original contour give the larger of the two whether joined or not. Two depths
    from the surface as found add up, and only a person knows whether there were two passes.
    """
    if grouping.sightings[one].mark.kind is not MarkKind.BLEND_OUT:
        return True
    groups = (grouping.members[grouping.group_of[i]] for i in (one, other))
    surfaces = {
        grouping.sightings[i].mark.measured_from
        for group in groups
        for i in group
        if grouping.sightings[i].has_depth
    }
    return surfaces <= {MeasuredFrom.ORIGINAL} and grouping.groups_are_one_pass(one, other)


def _candidates(grouping: Grouping) -> Iterator[Pair]:
    """Pairs of placed sightings of one subject in different photos, with how well they agree (0 to 1)."""
    by_subject = defaultdict(list)
    for index, sighting in enumerate(grouping.sightings):
        if sighting.placed is not None and not sighting.placed.outline.is_empty:
            by_subject[sighting.subject].append(index)
    for indices in by_subject.values():
        areas = [i for i in indices if _outline(grouping, i).area > 0.0]
        thin = [i for i in indices if _outline(grouping, i).area <= 0.0]
        yield from _overlapping(grouping, areas)
        yield from _near(grouping, thin, indices)


def _outline(grouping: Grouping, index: int) -> shapely.Geometry:
    placed = grouping.sightings[index].placed
    return placed.outline if placed else shapely.Point()


def _overlapping(grouping: Grouping, indices: list[int]) -> Iterator[Pair]:
    """Pairs of areas that share at least 0.3 of the smaller, with intersection over union."""
    shapes = np.array([_outline(grouping, i) for i in indices], dtype=object)
    first, second = _different_photos(grouping, indices, STRtree(shapes).query(shapes, "intersects"))
    common = shapely.area(shapely.intersection(shapes[first], shapes[second]))
    sizes = shapely.area(shapes)
    smaller = np.minimum(sizes[first], sizes[second])
    union = sizes[first] + sizes[second] - common
    for k in np.nonzero(common >= LEAST_OVERLAP * smaller)[0]:
        yield float(common[k] / union[k]), indices[first[k]], indices[second[k]]


def _near(grouping: Grouping, thin: list[int], every: list[int]) -> Iterator[Pair]:
    """Pairs of a point or line with any shape, within 3 combined standard uncertainties."""
    if not thin:
        return
    shapes = np.array([_outline(grouping, i) for i in every], dtype=object)
    u = np.array([grouping.sightings[i].u_place for i in every])
    position = {index: k for k, index in enumerate(every)}
    asked = np.array([position[i] for i in thin])
    reach = POSITION_FACTOR * np.hypot(u[asked], u.max())
    found = STRtree(shapes).query(shapes[asked], "dwithin", distance=reach)
    kind_thin = set(thin)
    both = [
        (a, b)
        for a, b in zip(asked[found[0]], found[1], strict=True)
        # A pair of two thin shapes is found from both sides; keep one.
        if every[b] not in kind_thin or a < b
    ]
    for a, b in both:
        if grouping.sightings[every[a]].photo.id == grouping.sightings[every[b]].photo.id:
            continue
        far = float(shapely.distance(shapes[a], shapes[b])) / float(np.hypot(u[a], u[b]))
        if far <= POSITION_FACTOR:
            # Nearest first; 3 combined uncertainties still reach the least overlap that joins.
            agreement = 1.0 - (1.0 - LEAST_OVERLAP) * far / POSITION_FACTOR
            yield agreement, every[a], every[b]


def _different_photos(
    grouping: Grouping, indices: list[int], pairs: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Keep each pair once, and only pairs of different photos."""
    photos = np.array([grouping.sightings[i].photo.id for i in indices])
    first, second = pairs
    kept = (first < second) & (photos[first] != photos[second])
    return first[kept], second[kept]
