"""How far a survey has come, member by member: photographed, marked, measured, not seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from api.context import Context
from api.results import Kept
from corrosion.errors import CorrosionError
from corrosion.model import Member, Photo
from corrosion.results import Assessment, MemberAssessment
from corrosion.terms import Face, MarkKind, Verdict


@dataclass(frozen=True)
class FaceProgress:
    """One face of a member.

    `seen` is the share of the face that placed photos cover; None while nothing can be said.
    """

    face: Face
    photos: int
    seen: float | None

    @property
    def words(self) -> str:
        """Say it plainly; no photo is *not seen*, never clean."""
        if self.photos == 0:
            return "not seen"
        if self.seen is None or self.seen <= 0:
            return f"{self.photos} photo{'' if self.photos == 1 else 's'}, not placed"
        return f"{100 * self.seen:.0f} % seen" if self.seen < 0.995 else "all seen"


@dataclass(frozen=True)
class NextStep:
    """What is to be done next, and where: an address below the survey's."""

    words: str
    path: str


@dataclass(frozen=True)
class MemberProgress:
    """One member of a survey."""

    member: Member
    faces: list[FaceProgress]
    photos: int
    marked: int
    marks: int
    without_depth: int
    verdict: Verdict
    reasons: list[str]
    next_step: NextStep


def assess_or_say(context: Context, survey_id: str) -> tuple[Kept | None, str]:
    """Assess a survey, or say in plain words why that cannot be done.

    A page shows what is stored even while a fault in it stops the sums.
    """
    try:
        return context.results.assessed(survey_id), ""
    except CorrosionError as error:
        return None, str(error)


def members_progress(
    members: Sequence[Member], photos: Sequence[Photo], assessment: Assessment | None
) -> list[MemberProgress]:
    """Count a survey's photos and marks by member."""
    assessed = {one.member.id: one for one in assessment.members} if assessment else {}
    return [
        _progress(member, [p for p in photos if p.member == member.id], assessed.get(member.id))
        for member in members
    ]


def _progress(member: Member, photos: list[Photo], assessed: MemberAssessment | None) -> MemberProgress:
    marks = [mark for photo in photos for mark in photo.marks if mark.kind is not MarkKind.CLEAR]
    deep = [mark for mark in marks if mark.kind in (MarkKind.PIT, MarkKind.BLEND_OUT)]
    without_depth = sum(not (mark.depths or mark.light) for mark in deep)
    return MemberProgress(
        member=member,
        faces=[_face(face, photos, assessed) for face in Face],
        photos=len(photos),
        marked=sum(bool(photo.marks) for photo in photos),
        marks=len(marks),
        without_depth=without_depth,
        verdict=assessed.verdict if assessed else Verdict.NOT_DETERMINED,
        reasons=assessed.reasons if assessed else [],
        next_step=_next_step(member, photos, without_depth),
    )


def _face(face: Face, photos: list[Photo], assessed: MemberAssessment | None) -> FaceProgress:
    cover = assessed.coverage.get(face) if assessed else None
    return FaceProgress(face, sum(photo.face is face for photo in photos), cover.share if cover else None)


def _next_step(member: Member, photos: list[Photo], without_depth: int) -> NextStep:
    """Say the first thing that is still to be done, and where; the map when nothing is."""
    if not photos:
        return NextStep("Photograph it, both faces.", "/photos")
    listed = f"/photos?{urlencode({'member': member.id})}"
    missing = [str(face) for face in Face if face not in {photo.face for photo in photos}]
    limited = member.limit is not None or bool(member.limit_zones)
    steps = (
        (
            sum(photo.face is None for photo in photos),
            "Say which face {} of its photos show.",
            f"{listed}&show=not+tagged",
        ),
        (
            sum(photo.scale is None for photo in photos),
            "Give {} of its photos a scale reference.",
            f"{listed}&show=no+scale",
        ),
        (
            sum(photo.placement is None for photo in photos),
            "Place {} of its photos on the layout.",
            f"{listed}&show=not+placed",
        ),
        (without_depth, "Read the depth of {} of its marks.", listed),
        (len(missing), f"Photograph its {' and '.join(missing)} face.", "/photos"),
        (int(not limited), "Set its blend limit, with the source.", "/plan#limits-form"),
    )
    done = NextStep("Look at the map.", f"/map?{urlencode({'member': member.id})}")
    return next((NextStep(words.format(count), path) for count, words, path in steps if count), done)
