"""The first pages: what was surveyed, by whom, and what came of it."""

from __future__ import annotations

from corrosion.record.blocks import (
    NOTHING,
    Block,
    Cell,
    bullets,
    facts,
    heading,
    paragraph,
    strong,
    table,
    verdict_cell,
)
from corrosion.record.facts import Cited, RecordFacts
from corrosion.record.subject import Subject
from corrosion.report.numbers import length_text, percent_text, shown
from corrosion.report.words import CAUTION, verdict_words
from corrosion.results import MemberAssessment
from corrosion.terms import Face
from corrosion.units import LengthUnit

DRAFT = "DRAFT: not sealed"
DEFER = (
    "Approved data govern: where they differ from this report, they hold. A licensed person inspects, "
    "decides, signs and releases the work under local rules."
)
VERDICTS_MEAN = (
    "A verdict speaks of metal removed, against the stated limit: within limit where the probability of "
    "being over is at most {share}; over limit where the best estimate is above it; too close to call in "
    "between: measure better. Not determined says what is missing; it is never a pass. Pits not yet "
    "blended and areas not seen are told beside it."
)


def front_page(subject: Subject, facts_of: RecordFacts) -> list[Block]:
    """Title facts, state of the record, cautions and the overall verdict."""
    survey = subject.assessment.survey
    return [
        paragraph(f"{CAUTION} {DEFER}", "box"),
        identity(subject, facts_of),
        facts([("Overall verdict", verdict_words(subject.assessment.verdict))]),
        *([paragraph(survey.survey.note, "quiet")] if survey.survey.note.strip() else []),
        *([paragraph(survey.structure.note, "quiet")] if survey.structure.note.strip() else []),
    ]


def identity(subject: Subject, record: RecordFacts) -> Block:
    """State what was surveyed, when, by whom; revision and seal."""
    survey = subject.assessment.survey
    info, structure = survey.survey, survey.structure
    light = "" if info.illuminance_lx is None else f"{info.illuminance_lx:g} lx"
    return facts(
        [
            ("Survey", subject.name),
            ("Structure", structure.name),
            ("Zone", structure.zone or ""),
            ("Aircraft", structure.aircraft),
            ("Serial number", structure.serial),
            ("Date of survey", info.date or "not stated"),
            ("Inspector", info.inspector or "not stated"),
            ("Light", ", ".join(part for part in (light, info.light_standard) if part) or "not stated"),
            ("Lengths in", "inches" if subject.unit == "in" else "millimetres"),
            ("Revision", _revision(record)),
            ("Sums carried from", cited_words(record.carried_from)),
            ("State", state_words(record)),
        ]
    )


def _revision(record: RecordFacts) -> str:
    if record.revises is None:
        return str(record.revision)
    why = f", because: {record.revision_reason}" if record.revision_reason else ""
    return f"{record.revision}, corrects {cited_words(record.revises)}{why}"


def cited_words(cited: Cited | None) -> str:
    """Name another survey with its revision and digest; empty for none."""
    if cited is None:
        return ""
    digest = f", SHA-256 {cited.digest}" if cited.digest else ", not sealed"
    return f"{cited.name or cited.survey} ({cited.survey}), revision {cited.revision}{digest}"


def state_words(record: RecordFacts) -> str:
    """Say whether the survey is sealed, and by whom."""
    if record.seal is None:
        return DRAFT
    return f"Sealed by {record.seal.by}, {record.seal.at}"


def summary(subject: Subject) -> list[Block]:
    """Verdicts per member with what they rest on, then the reasons, then what could not be used."""
    unit = subject.unit
    probability = subject.assessment.survey.settings.within_probability
    blocks = [
        heading(1, "Summary"),
        paragraph(VERDICTS_MEAN.format(share=percent_text(probability)), "quiet"),
        *table(
            [
                "Member", "Verdict", f"Deepest removed ± U, {unit}",
                f"Limit, {unit}", f"Margin, {unit}", f"Remaining, {unit}",
                "Section loss", "Seen outer / inner", "To do",
            ],
            [_member_row(subject, one, unit) for one in subject.assessment.members],
            right=(2, 3, 4, 5, 6, 7),
            empty="The survey has no members.",
        ),
        heading(2, "Why"),
        *table(
            ["Member", "Reasons"],
            [[strong(one.member.id), " ".join(_reasons(one)) or NOTHING]
             for one in subject.assessment.members],
            empty="Nothing to tell.",
        ),
    ]  # fmt: skip
    if subject.problems:
        blocks += [heading(2, "Could not be used"), *bullets(subject.problems)]
    return blocks


def verdict_table(subject: Subject, members: list[MemberAssessment]) -> list[Block]:
    """One row for each member: its verdict and what it rests on."""
    unit = subject.unit
    return table(
        [
            "Member", "Verdict", f"Deepest removed ± U, {unit}", f"Limit, {unit}", f"Margin, {unit}",
            f"Remaining, {unit}", "Section loss", "Seen outer / inner", "To do",
        ],
        [_member_row(subject, one, unit) for one in members],
        right=(2, 3, 4, 5, 6, 7),
        empty="The survey has no members.",
    )  # fmt: skip


def _member_row(subject: Subject, one: MemberAssessment, unit: LengthUnit) -> list[Cell]:
    spot = one.deepest if one.deepest and one.deepest.removed.value > 0.0 else None
    worst = one.worst_section
    disposition = subject.disposition(one.member.id)
    figures = [NOTHING] * 4
    if spot is not None:
        limit = "not set" if spot.limit is None else length_text(spot.limit, unit)
        removed = shown(spot.removed, unit, thickness=True).number
        figures = [removed, limit, length_text(spot.margin, unit), length_text(spot.remaining, unit)]
    return [
        strong(one.member.id),
        verdict_cell(one.verdict),
        *figures,
        percent_text(worst.share) if worst and worst.lost_mm2 > 0.0 else NOTHING,
        seen_words(one),
        str(disposition.action) if disposition else "not determined",
    ]


def seen_words(one: MemberAssessment) -> str:
    """Shares of both faces that were photographed."""
    return " / ".join(
        percent_text(one.coverage[face].share) if face in one.coverage else NOTHING for face in Face
    )


def _reasons(one: MemberAssessment) -> list[str]:
    reasons = list(one.reasons)
    if one.unblended_pits:
        reasons.append(f"Pits not blended yet: {', '.join(one.unblended_pits)}.")
    return reasons
