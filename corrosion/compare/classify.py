"""What became of every finding: matched, merged, blended, not found, not seen, new."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from corrosion.compare.matching import INSIDE, Matches, Pair, placed, share_inside, u_position
from corrosion.compare.results import Change, FindingChange, Growth, Shown
from corrosion.quantity import COVERAGE_FACTOR
from corrosion.removal.entries import Entry
from corrosion.results import Assessment, Finding
from corrosion.terms import Face, MarkKind, Origin

MEND_MM = 1e-6
"""Photos that meet leave no gap between them; rounding would (far below any layout's accuracy)."""


@dataclass(frozen=True)
class Blend:
    """Metal blended away, from a record or a mark; a mark without a depth blends too."""

    id: str
    date: str | None
    outline: BaseGeometry
    depth: float | None = None
    u: float = 0.0


class Blends:
    """Blend-outs of one face, found by place."""

    def __init__(self, blends: list[Blend]) -> None:
        self._blends = blends
        self._tree = shapely.STRtree([blend.outline for blend in blends])

    def near(self, shape: BaseGeometry) -> list[Blend]:
        """Return those that touch a shape."""
        return [self._blends[int(k)] for k in sorted(self._tree.query(shape, predicate="intersects"))]


Place = tuple[str, Face]
Subject = tuple[MarkKind, str | None, Face | None]


@dataclass(frozen=True, eq=False)
class Side:
    """One survey.

    Attributes
    ----------
    findings : list of Finding
        What can grow: a clear area is none.
    seen : dict
        What its placed photos show of each face.
    metal : dict of member id to Polygon
    entries : dict of member id to list of Entry
    blends : dict
        Blend-outs of each face, on record or marked.
    """

    assessment: Assessment
    findings: list[Finding]
    seen: dict[Place, BaseGeometry]
    metal: dict[str, BaseGeometry]
    entries: dict[str, list[Entry]]
    blends: dict[Place, Blends]
    trees: dict[Subject, tuple[list[int], shapely.STRtree]]

    @classmethod
    def of(cls, assessment: Assessment, entries: dict[str, list[Entry]]) -> Side:
        """Collect them from an assessment."""
        seen = {
            (member.member.id, face): cover.seen.buffer(MEND_MM)
            for member in assessment.members
            for face, cover in member.coverage.items()
            if not cover.seen.is_empty
        }
        metal = {one.member.id: shapely.Polygon(one.member.outline) for one in assessment.members}
        findings = [one for one in assessment.findings if one.kind is not MarkKind.CLEAR]
        blends = _blends(findings, entries)
        return cls(assessment, findings, seen, metal, entries, blends, _trees(findings))

    def alike_at(self, finding: Finding) -> list[int]:
        """Return the findings of the same kind, member and face that touch another survey's finding."""
        found = self.trees.get(_subject(finding))
        if found is None or finding.outline is None:
            return []
        indices, tree = found
        return sorted(indices[int(k)] for k in tree.query(finding.outline, predicate="intersects"))


def _subject(finding: Finding) -> Subject:
    return finding.kind, finding.member_id, finding.face


def _trees(findings: list[Finding]) -> dict[Subject, tuple[list[int], shapely.STRtree]]:
    by_subject: dict[Subject, list[int]] = defaultdict(list)
    for index, finding in enumerate(findings):
        if placed(finding):
            by_subject[_subject(finding)].append(index)
    return {
        subject: (indices, shapely.STRtree([findings[k].outline for k in indices]))
        for subject, indices in by_subject.items()
    }


def _blends(findings: list[Finding], entries: dict[str, list[Entry]]) -> dict[Place, Blends]:
    """Collect the blend-outs of each face; a record of no depth is one of unknown place, and left out."""
    found: dict[Place, list[Blend]] = defaultdict(list)
    known = set()
    for member, listed in entries.items():
        for one in listed:
            known.add(one.id)
            if one.depth > 0.0:
                found[member, one.face].append(Blend(one.id, one.date, one.footprint, one.depth, one.u))
    for mark in findings:
        if mark.kind is not MarkKind.BLEND_OUT or mark.id in known or mark.outline is None:
            continue
        if placed(mark) and mark.member_id is not None and mark.face is not None:
            found[mark.member_id, mark.face].append(Blend(mark.id, None, mark.outline))
    return {place: Blends(blends) for place, blends in found.items()}


def row(change: Change, earlier: list[Finding], later: Finding | None, **more: object) -> FindingChange:
    """Make a row of the comparison from the findings it is about."""
    about = later or earlier[0]
    return FindingChange(
        change,
        about.kind,
        about.member_id,
        about.face,
        tuple(earlier),
        later,
        **more,  # type: ignore[arg-type]
    )


def unmatched_earlier(
    before: Side, after: Side, matches: Matches, joined: dict[int, list[int]]
) -> list[FindingChange]:
    """Say of every earlier finding without a partner what became of it, save those that `merged` found."""
    told = {pair.earlier for pair in matches.pairs}
    told |= {i for several in joined.values() for i in several}
    return [
        _fate(before.findings, i, before, after, matches)
        for i in range(len(before.findings))
        if i not in told
    ]


def _fate(findings: list[Finding], i: int, before: Side, after: Side, matches: Matches) -> FindingChange:
    finding = findings[i]
    if not placed(finding):
        return row(Change.NOT_PLACED, [finding], None, notes=("its photo is not placed on the layout",))
    rivals = matches.rivals_of_earlier.get(i)
    if rivals:
        names = tuple(sorted(after.findings[j].id for j in rivals))
        return row(Change.AMBIGUOUS, [finding], None, rivals=names, notes=(_ask(names, "later"),))
    blend = blended_by(finding, before, after)
    if blend is not None:
        when = f" of {blend.date}" if blend.date else ""
        return row(Change.BLENDED, [finding], None, notes=(f"inside blend-out {blend.id}{when}",))
    record = on_record(finding, after)
    if record is not None:
        return row(Change.ON_RECORD, [finding], None, notes=(f"removal {record.id} of the later survey",))
    share = seen_share(finding, after)
    if share >= 1.0:
        return row(Change.NOT_FOUND, [finding], None, notes=_clear_note(finding, after))
    words = "not photographed" if share <= 0.0 else "only partly photographed, or at the edge of a photo"
    return row(Change.NOT_SEEN, [finding], None, notes=(f"its place was {words}",))


def _ask(names: tuple[str, ...], survey: str) -> str:
    return f"may be {' or '.join(names)} of the {survey} survey; give both the same feature name to say so"


def _clear_note(finding: Finding, after: Side) -> tuple[str, ...]:
    """Say where a person marked the place as clear."""
    names = [
        one.id
        for one in after.assessment.findings
        if one.kind is MarkKind.CLEAR
        and (one.member_id, one.face) == (finding.member_id, finding.face)
        and share_inside(finding.outline, one.outline) >= INSIDE
    ]
    return (f"marked as clear: {names[0]}",) if names else ()


def unmatched_later(before: Side, after: Side, matches: Matches) -> list[FindingChange]:
    """Say of every later finding without a partner whether it is new."""
    paired = {pair.later for pair in matches.pairs}
    return [_origin(one, j, before, matches) for j, one in enumerate(after.findings) if j not in paired]


def _origin(finding: Finding, j: int, before: Side, matches: Matches) -> FindingChange:
    if not placed(finding):
        return row(Change.NOT_PLACED, [], finding, notes=("its photo is not placed on the layout",))
    rivals = matches.rivals_of_later.get(j)
    if rivals:
        names = tuple(sorted(before.findings[i].id for i in rivals))
        return row(Change.AMBIGUOUS, [], finding, rivals=names, notes=(_ask(names, "earlier"),))
    holders = [
        before.findings[i].id
        for i in before.alike_at(finding)
        if share_inside(finding.outline, before.findings[i].outline) >= INSIDE
    ]
    if holders:
        # One outline then, two now: a person drew it apart, and only a person knows what is what.
        notes = (f"lies inside {holders[0]} of the earlier survey, which is another finding's too",)
        return row(Change.AMBIGUOUS, [], finding, rivals=tuple(holders), notes=notes)
    record = on_record(finding, before)
    if record is not None:
        return row(Change.ON_RECORD, [], finding, notes=(f"removal {record.id} of the earlier survey",))
    if seen_share(finding, before) >= 1.0:
        return row(Change.NEW, [], finding)
    return row(
        Change.FIRST_SEEN, [], finding, notes=("the earlier survey has no photo of its whole place",)
    )


def merged(before: Side, after: Side, matches: Matches) -> dict[int, list[int]]:
    """Later findings that took in earlier ones besides their partner: later index to earlier indices."""
    paired = {pair.earlier for pair in matches.pairs}
    partner = {pair.later for pair in matches.pairs}
    found = defaultdict(list, {later: list(earlier) for later, earlier in matches.also.items()})
    told = paired | {i for several in matches.also.values() for i in several}
    for i, finding in enumerate(before.findings):
        if i in told or i in matches.rivals_of_earlier or not placed(finding):
            continue
        inside = (
            j
            for j in after.alike_at(finding)
            if j in partner and share_inside(finding.outline, after.findings[j].outline) >= INSIDE
        )
        holder = next(inside, None)
        if holder is not None:
            found[holder].append(i)
    return dict(found)


def blended_by(finding: Finding, before: Side, after: Side) -> Blend | None:
    """Find a blend-out of the later survey, made since the earlier one, that holds a pit's place."""
    if finding.kind not in {MarkKind.PIT, MarkKind.AFFECTED} or finding.outline is None:
        return None
    last_look = before.assessment.survey.survey.date or ""
    for blend in _near(finding.outline, finding, after):
        known_before = blend.date is not None and blend.date < last_look
        if known_before or share_inside(finding.outline, blend.outline) < INSIDE:
            continue
        if not any(_same_blend(blend, one) for one in _near(blend.outline, finding, before)):
            return blend
    return None


def _near(shape: BaseGeometry, finding: Finding, side: Side) -> list[Blend]:
    """Blend-outs of a survey that touch a shape, on a finding's face."""
    if finding.member_id is None or finding.face is None:
        return []
    blends = side.blends.get((finding.member_id, finding.face))
    return blends.near(shape) if blends is not None else []


def _same_blend(later: Blend, earlier: Blend) -> bool:
    """Whether a blend-out was there before; ground deeper since, it is a new one."""
    common = later.outline.intersection(earlier.outline).area
    if common < INSIDE * (later.outline.area + earlier.outline.area - common):
        return False
    if later.depth is None or earlier.depth is None:
        return True
    return later.depth <= earlier.depth + COVERAGE_FACTOR * math.hypot(later.u, earlier.u)


def on_record(finding: Finding, side: Side) -> Entry | None:
    """Find a survey's removal record at the place of a blend-out that the other survey marked."""
    if finding.kind is not MarkKind.BLEND_OUT or finding.outline is None or finding.member_id is None:
        return None
    for entry in side.entries.get(finding.member_id, []):
        common = entry.footprint.intersection(finding.outline).area
        union = entry.footprint.area + finding.outline.area - common
        if entry.origin is Origin.EARLIER and entry.face is finding.face and common >= INSIDE * union:
            return entry
    return None


def seen_share(finding: Finding, side: Side) -> float:
    """Share of a finding's place that a survey's placed photos show.

    The place is widened by its expanded uncertainty, so "seen" is not claimed at the edge of a photo;
    metal ends at the member's edge, and what lies beyond it cannot be seen.
    """
    if finding.outline is None or finding.face is None or finding.member_id not in side.metal:
        return 0.0
    seen = side.seen.get((finding.member_id, finding.face))
    if seen is None:
        return 0.0
    reach = COVERAGE_FACTOR * max(u_position(finding))
    place = finding.outline.buffer(reach).intersection(side.metal[finding.member_id])
    if place.area <= 0.0:
        return 0.0
    left = place.difference(seen).area
    return 1.0 if left <= 1e-9 * place.area else float(1.0 - left / place.area)


def matched(pair: Pair, also: list[int], before: Side, after: Side) -> FindingChange:
    """Start the row of a pair; the growths are filled in by `judged`."""
    first, later = before.findings[pair.earlier], after.findings[pair.later]
    earlier = [first, *(before.findings[i] for i in also)]
    u = tuple(math.hypot(a, b) for a, b in zip(u_position(first), u_position(later), strict=True))
    shift = None
    if first.position and later.position:
        shift = (later.position[0] - first.position[0], later.position[1] - first.position[1])
    notes = (
        ("only the feature name, the same in both surveys, tells this pair apart",) if pair.named else ()
    )
    change = Change.MERGED if also else Change.NOT_COMPARED
    return row(change, earlier, later, shift=shift, u_shift=u, named=pair.named, notes=notes)


def judged(change: FindingChange, growths: list[Growth], notes: list[str]) -> FindingChange:
    """Fill in the growths of a matched row and say what they show together."""
    shown = [growth.shown for growth in growths]
    order = (
        (Shown.LARGER, Change.GROWN),
        (Shown.SMALLER, Change.SMALLER),
        (Shown.WITHIN_NOISE, Change.WITHIN_NOISE),
        (Shown.UNCHANGED, Change.UNCHANGED),
    )
    found = next((word for sign, word in order if sign in shown), Change.NOT_COMPARED)
    return replace(
        change,
        change=Change.MERGED if change.change is Change.MERGED else found,
        growths=tuple(growths),
        notes=(*change.notes, *notes),
    )
