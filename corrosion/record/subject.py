"""What a report is about: one assessed survey, what follows from it, and where its photos are."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from corrosion.decision import DecisionResult, decide, unseen_depths
from corrosion.disposition import MemberDisposition, dispose
from corrosion.errors import CorrosionError
from corrosion.extremes import UnseenDepth
from corrosion.results import Assessment, MarkMeasures, MemberAssessment
from corrosion.units import LengthUnit

Progress = Callable[[str, int, int], None]
Read = Callable[[str], bytes | None]
"""Bytes of a photo's file by the photo's id; None where it is not at hand. Called from several threads."""


def no_photos(photo: str) -> bytes | None:
    """Give no photo."""
    del photo
    return None


def silent(step: str, done: int, total: int) -> None:
    """Report no progress."""
    del step, done, total


@dataclass(frozen=True)
class Subject:
    """Everything a report is made from.

    Attributes
    ----------
    assessment : Assessment
        From `corrosion.survey.assess`.
    dispositions : list of MemberDisposition
        Empty where they could not be had; `problems` says why.
    unseen : list of UnseenDepth
    decision : DecisionResult or None
        None where the survey states nothing to decide.
    digest : str
        SHA-256 of the survey file the report speaks of, hexadecimal.
    read : callable
        Where the photos' files come from.
    problems : list of str
        What could not be used, in plain words.
    """

    assessment: Assessment
    dispositions: list[MemberDisposition]
    unseen: list[UnseenDepth]
    decision: DecisionResult | None
    digest: str
    read: Read = no_photos
    problems: list[str] = field(default_factory=list)

    @property
    def unit(self) -> LengthUnit:
        """Unit that people see."""
        survey = self.assessment.survey
        return survey.display_units or survey.units

    @property
    def name(self) -> str:
        """What the survey is called; the structure's name where it has none of its own."""
        survey = self.assessment.survey
        return survey.survey.name.strip() or survey.structure.name

    def disposition(self, member: str) -> MemberDisposition | None:
        """Give what is to be done with a member."""
        return next((one for one in self.dispositions if one.member_id == member), None)

    def measures(self) -> dict[tuple[str, str], MarkMeasures]:
        """Measures by photo and mark."""
        return {
            (photo.photo_id, one.mark.id): one for photo in self.assessment.photos for one in photo.marks
        }

    def has_something(self, member: MemberAssessment) -> bool:
        """Whether anything was found on a member, taken off it, or read there."""
        name = member.member.id
        found = any(finding.member_id == name for finding in self.assessment.findings)
        taken = any(record.member == name for record in self.assessment.survey.removals)
        return found or taken or bool(member.readings)


def subject_of(
    assessment: Assessment,
    file: bytes,
    *,
    read: Read = no_photos,
    candidates: Mapping[str, Assessment] | None = None,
    problems: list[str] | None = None,
) -> Subject:
    """Work out everything a report speaks of.

    Parameters
    ----------
    assessment : Assessment
    file : bytes
        The survey file as it is kept: its digest stands on every page.
    read : callable
        See `Read`.
    candidates : mapping of candidate id to Assessment, optional
        Surveys of the second-hand parts.
    problems : list of str, optional
        What could not be used before the assessment.

    Returns
    -------
    Subject
        What cannot be worked out is named in its `problems`; the rest is still reported.
    """
    told = [*(problems or []), *assessment.problems]
    dispositions: list[MemberDisposition] = []
    unseen: list[UnseenDepth] = []
    decision = None
    stated = assessment.survey.decision
    try:
        dispositions = dispose(assessment)
    except CorrosionError as error:
        told.append(f"The disposition cannot be worked out: {error}")
    try:
        hidden = stated.hidden if stated else None
        unseen = [one for m in assessment.members for one in unseen_depths(assessment, m, hidden)]
        decision = decide(stated, assessment, dict(candidates or {})) if stated else None
    except CorrosionError as error:
        told.append(f"Repair and replacement cannot be compared: {error}")
    digest = hashlib.sha256(file).hexdigest()
    return Subject(
        assessment, dispositions, unseen, decision, digest, read=read, problems=list(dict.fromkeys(told))
    )
