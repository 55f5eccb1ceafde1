"""The whole chain: a survey goes in, an assessment comes out.

`assess` is the one function that runs the steps in order; command line, service and archive all use it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from corrosion.errors import CorrosionError, LayoutError
from corrosion.findings import collect_findings, coverage
from corrosion.layout import MemberLayout
from corrosion.measure import measure_photo
from corrosion.model import Photo, SurveyFile, in_millimetres
from corrosion.placement import place_photo
from corrosion.removal import MemberRemoval, assess_member
from corrosion.results import Assessment, Finding, MemberAssessment, PhotoMeasures, PlacedPhoto
from corrosion.scale import fit_scale
from corrosion.terms import MarkKind, worst_verdict

Sizes = Mapping[str, tuple[int, int]]
Progress = Callable[[str, int, int], None]


def assess(
    survey: SurveyFile, *, sizes: Sizes | None = None, progress: Progress | None = None
) -> Assessment:
    """Measure every photo, place it, find what is there, and sum what was removed.

    Parameters
    ----------
    survey : SurveyFile
        In its own unit; the assessment is in millimetres.
    sizes : mapping of photo id to (width, height), optional
        Upright picture sizes in px, where the survey file does not state them. Without a size, marks
        beyond the picture cannot be refused and the photo covers nothing of the layout.
    progress : callable, optional
        Called with step name, done and total.

    Returns
    -------
    Assessment
        What could not be measured, placed or judged is in `problems`; nothing is dropped silently.

    Raises
    ------
    LayoutError
        If a member does not hold together: nothing on it could be trusted.
    RemovalError
        If a removal entry contradicts itself.
    """
    in_mm = in_millimetres(survey)
    known = dict(sizes or {}) | {p.id: p.size for p in in_mm.photos if p.size is not None}
    layouts = member_layouts(in_mm)
    measures, placed = _photos(in_mm, layouts, known, progress or _silent)
    findings = collect_findings(measures, placed, in_mm, layouts)
    members = _members(in_mm, layouts, placed, findings, progress or _silent)
    return Assessment(
        survey=in_mm,
        photos=measures,
        placed=placed,
        findings=findings,
        members=members,
        problems=_problems(in_mm, measures, placed, findings),
        verdict=worst_verdict([member.verdict for member in members]),
    )


def _silent(step: str, done: int, total: int) -> None:
    del step, done, total


def member_layouts(survey: SurveyFile) -> dict[str, MemberLayout]:
    """Layouts of all members of a survey in millimetres, by member id."""
    return {m.id: MemberLayout.of(m, survey.structure) for m in survey.structure.members}


def member_removal(assessment: Assessment, member_id: str) -> MemberRemoval:
    """Rebuild one member's removal, for maps and for the ledger of any spot.

    Raises
    ------
    LayoutError
        If the survey has no such member.
    """
    survey = assessment.survey
    member = next((m for m in survey.structure.members if m.id == member_id), None)
    if member is None:
        names = ", ".join(m.id for m in survey.structure.members)
        raise LayoutError(f"there is no member {member_id!r}.", remedy=f"Members: {names}.")
    layout = MemberLayout.of(member, survey.structure)
    return assess_member(layout, survey, assessment.findings, {}).removal


def _photos(
    survey: SurveyFile, layouts: dict[str, MemberLayout], sizes: Sizes, progress: Progress
) -> tuple[list[PhotoMeasures], list[PlacedPhoto]]:
    measures, placed = [], []
    for number, photo in enumerate(survey.photos):
        progress("photos", number, len(survey.photos))
        size = sizes.get(photo.id)
        measures.append(measure_photo(photo, survey, size))
        found = placed_photo(photo, survey, layouts, size)
        if found is not None:
            placed.append(found)
    progress("photos", len(survey.photos), len(survey.photos))
    return measures, placed


def placed_photo(
    photo: Photo,
    survey: SurveyFile,
    layouts: dict[str, MemberLayout],
    size: tuple[int, int] | None,
) -> PlacedPhoto | None:
    """Put one photo of a survey in millimetres on its member.

    Returns
    -------
    PlacedPhoto or None
        A photo that cannot be placed says why in `problem`; None where it has no point pairs, or does
        not say which face of which member it shows.
    """
    if photo.placement is None or photo.member is None or photo.face is None:
        return None
    try:
        scale = fit_scale(photo, survey, size) if photo.scale is not None else None
        lens = next((lens for lens in survey.lenses if lens.id == photo.lens), None)
        return place_photo(photo, scale, layouts[photo.member], survey.settings, size, lens=lens)
    except CorrosionError as error:
        return PlacedPhoto(photo.id, photo.member, photo.face, None, [], [], None, problem=str(error))


def _untagged(photo: Photo) -> str:
    """Say that a photo with point pairs lacks what they refer to; empty where it does not."""
    missing = [what for what in ("member", "face") if getattr(photo, what) is None]
    if photo.placement is None or not missing:
        return ""
    return (
        f"photo {photo.id}: it has point pairs but does not say which {' and '.join(missing)} it shows, "
        "so it is not placed. Tag it."
    )


def _members(
    survey: SurveyFile,
    layouts: dict[str, MemberLayout],
    placed: list[PlacedPhoto],
    findings: list[Finding],
    progress: Progress,
) -> list[MemberAssessment]:
    members = []
    for number, (member_id, layout) in enumerate(layouts.items()):
        progress("members", number, len(layouts))
        seen = coverage([p for p in placed if p.member_id == member_id], layout)
        members.append(assess_member(layout, survey, findings, seen).summary)
    progress("members", len(layouts), len(layouts))
    return members


def _unlisted_instruments(survey: SurveyFile) -> list[str]:
    """Return the instruments that readings name and the survey does not list, as they are named."""
    depths = [depth for photo in survey.photos for mark in photo.marks for depth in mark.depths]
    named = [
        *(depth.instrument for depth in depths),
        *(removal.depth.instrument for removal in survey.removals),
        *(reading.instrument for reading in survey.thickness_readings),
    ]
    listed = {instrument.id for instrument in survey.instruments}
    return [name for name in dict.fromkeys(named) if name is not None and name not in listed]


def _problems(
    survey: SurveyFile,
    measures: list[PhotoMeasures],
    placed: list[PlacedPhoto],
    findings: list[Finding],
) -> list[str]:
    """Everything that could not be measured, placed or summed, once each."""
    problems = [words for photo in survey.photos if (words := _untagged(photo))]
    problems += [
        f"instrument {name!r} is not listed, so the error its readings share counts as none. List it."
        for name in _unlisted_instruments(survey)
    ]
    problems += [
        f"blend-out {finding.id}: it belongs to no member, so no sum counts it. Tag its photo."
        for finding in findings
        if finding.kind is MarkKind.BLEND_OUT and finding.member_id is None
    ]
    for photo in measures:
        if photo.problem:
            problems.append(photo.problem)
        problems.extend(mark.problem for mark in photo.marks if mark.problem)
    problems.extend(photo.problem for photo in placed if photo.problem)
    return list(dict.fromkeys(problems))
