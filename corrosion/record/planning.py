"""What is planned and decided: blends, disposition, repair or replacement, and the cautions for it."""

from __future__ import annotations

import io
from pathlib import Path

from corrosion.blend import PlannedBlend, ratio_words
from corrosion.decision import DecisionResult, Spread5
from corrosion.disposition import MemberDisposition
from corrosion.model.planning import Planning
from corrosion.record.blocks import (
    NOTHING,
    Block,
    Cell,
    bullets,
    facts,
    figure,
    heading,
    paragraph,
    strong,
    table,
    verdict_cell,
)
from corrosion.record.subject import Subject
from corrosion.record.texts import spelled
from corrosion.report.bench_numbers import target_and_stop
from corrosion.report.decision import decision_lines, money_text, share_text
from corrosion.report.decision_plots import Plot, draw_decision
from corrosion.report.numbers import chance_text, length_text
from corrosion.report.planning_json import PLAN_CAUTION
from corrosion.rules import Caution, cautions_for
from corrosion.units import LengthUnit

PLOTS: tuple[tuple[Plot, str, float], ...] = (
    ("money", "Spread of money for every option", 76.0),
    ("days", "Spread of calendar days for every option", 76.0),
    ("drivers", "What the doubt of the difference comes from", 105.0),
    ("break-even", "Price at which replacement and repair cost the same", 95.0),
)
"""Plots, what they show, and their largest height, mm: their letters stay above 7 pt."""


def planning_sections(subject: Subject, folder: Path) -> list[Block]:
    """Blend plan, disposition, decision and cautions."""
    return [
        *_plan(subject),
        *_disposition(subject),
        *_decision(subject.decision, folder),
        *_cautions(subject),
    ]


def _plan(subject: Subject) -> list[Block]:
    unit = subject.unit
    blends = [(one.member_id, blend) for one in subject.dispositions for blend in one.plan.blends]
    blocks = [
        heading(1, "Blend plan", new_page=True),
        paragraph(PLAN_CAUTION, "box"),
        _basis(subject.assessment.survey.planning, unit),
        *table(
            [
                "Member, face", "Takes out", f"Depth, {unit}",
                f"Stop at, {unit}", f"Run-out each side, {unit}",
                f"Sum after, {unit}", f"Limit, {unit}", "Verdict after",
                "P over", "Meets",
            ],
            [_blend_row(member, blend, unit) for member, blend in blends],
            right=(2, 3, 4, 5, 6, 8),
            empty="No blend is planned.",
        ),
        *bullets(dict.fromkeys(f"Run-out {ratio_words(blend.run_out)}." for _, blend in blends)),
        *bullets(_blend_notes(blends)),
    ]  # fmt: skip
    left = [
        [one.member_id, finding.id, why]
        for one in subject.dispositions
        for finding, why in one.plan.undetermined
    ]
    if left:
        blocks += [
            heading(2, "Cannot be planned"),
            *table(["Member", "Finding", "Why"], left),
        ]
    asked = dict.fromkeys(
        f"{one.member_id}: {question}"
        for one in subject.dispositions
        for question in one.plan.open_questions
    )
    return [*blocks, *([heading(2, "Not stated, and so not looked at")] if asked else []), *bullets(asked)]


def _basis(planning: Planning, unit: LengthUnit) -> Block:
    """Write what the plan rests on, each with its source."""
    allowance, ratio = planning.allowance, planning.run_out
    edge, fastener, support = planning.edge_distance, planning.fastener_distance, planning.support_distance
    away = ""
    if fastener is not None:
        away = (
            f"{fastener.diameters:g} diameters from the centre"
            if fastener.diameters is not None
            else f"{length_text(fastener.distance, unit)} {unit} from the hole"
        )
    return facts(
        [
            ("Clean-up allowance", _with_source(allowance.depth if allowance else None, allowance, unit)),
            ("Run-out ratio", f"{ratio_words(ratio.ratio)} ({ratio.source})" if ratio else "not stated"),
            ("Edge distance", _with_source(edge.distance if edge else None, edge, unit)),
            ("Fastener distance", f"{away} ({fastener.source})" if fastener else "not stated"),
            ("Support distance", _with_source(support.distance if support else None, support, unit)),
        ]
    )


def _with_source(value: float | None, stated: object, unit: LengthUnit) -> str:
    if value is None or stated is None:
        return "not stated"
    return f"{length_text(value, unit)} {unit} ({getattr(stated, 'source', '')})"


def _blend_row(member: str, blend: PlannedBlend, unit: LengthUnit) -> list[Cell]:
    target, stop = target_and_stop(blend.depth, blend.stop_depth, unit)
    return [
        strong(f"{member}, {blend.removal.face}"),
        ", ".join(site.finding.id for site in blend.sites),
        target,
        stop or "no limit",
        length_text(blend.run_out.side * blend.depth, unit),
        length_text(blend.after.removed.value, unit),
        "not set" if blend.after.limit is None else length_text(blend.after.limit, unit),
        verdict_cell(blend.verdict),
        chance_text(blend.after.probability_over),
        "; ".join(f"{c.kind} ({c.stands})" for c in blend.conflicts) or NOTHING,
    ]


def _blend_notes(blends: list[tuple[str, PlannedBlend]]) -> list[str]:
    notes = []
    for member, blend in blends:
        named = f"{member}, {', '.join(site.finding.id for site in blend.sites)}"
        words = [*(c.words for c in blend.conflicts), *blend.notes]
        # The run-out of each blend stands in the table.
        notes += [f"{named}: {line}" for line in words if not line.startswith("Run-out ")]
    return list(dict.fromkeys(notes))


def _disposition(subject: Subject) -> list[Block]:
    blocks = [
        heading(1, "Disposition"),
        paragraph(
            "What is to be done with every member and finding, by the stated rules, and why.", "quiet"
        ),
    ]
    for one in subject.dispositions:
        blocks += [heading(2, f"{one.member_id}: {one.action}"), paragraph(" ".join(one.reasons))]
        blocks += table(["Finding", "Do", "Why"], _finding_rows(one))
        level = " ".join(one.level.reasons)
        blocks.append(paragraph(f"Corrosion programme: {one.level.level}. {level}".strip(), "quiet"))
        blocks += bullets(f"Run-out of {slope.entry_id}: {slope.words}" for slope in one.slopes)
    if not subject.dispositions:
        blocks.append(paragraph("Not determined; the summary names what could not be used."))
    return blocks


def _finding_rows(one: MemberDisposition) -> list[list[Cell]]:
    rows: list[list[Cell]] = []
    for finding in one.findings:
        rule = finding.rule
        by = f" Rule {rule.id}: {rule.source}, {rule.edition}, {rule.paragraph}." if rule else ""
        rows.append([strong(finding.finding_id), str(finding.action), " ".join(finding.reasons) + by])
    return rows


def _decision(result: DecisionResult | None, folder: Path) -> list[Block]:
    blocks = [heading(1, "Repair or replacement")]
    if result is None:
        return [*blocks, paragraph("The survey states nothing to decide: no actions, rates or candidates.")]
    blocks += [
        paragraph(result.caution, "box"),
        *table(
            ["Option", "Money", "Hours", "Days", "Cheapest in"],
            [
                [
                    strong(f"{option.name or option.id} ({option.kind})"),
                    _spread(option.money, result.currency),
                    _spread(option.hours, None),
                    _spread(option.days, None),
                    NOTHING if option.cheapest is None else share_text(option.cheapest),
                ]
                for option in result.options
            ],
        ),
        *bullets(decision_lines(result)[len(result.options) : -1]),
    ]
    for plot, words, most in PLOTS:
        target = io.BytesIO()
        if draw_decision(result, target, plot):
            file = f"plot-{plot}.svg"
            (folder / file).write_bytes(spelled(target.getvalue()))
            alt = f"{words}; the table and list before it give the figures."
            blocks.append(figure(file, alt, words, most_mm=most))
    return blocks


def _spread(spread: Spread5 | None, currency: str | None) -> str:
    if spread is None:
        return "not determined"
    middle, low, high = (
        f"{value:.0f}" if currency is None else money_text(value, currency)
        for value in (spread.p50, spread.p5, spread.p95)
    )
    return f"{middle} (90 %: {low} to {high})"


def _cautions(subject: Subject) -> list[Block]:
    """Write every caution once, with the members it is for, whatever became of the disposition."""
    found: dict[str, tuple[Caution, list[str]]] = {}
    for one in subject.assessment.members:
        for caution in cautions_for(one.member.material):
            found.setdefault(caution.id, (caution, []))[1].append(one.member.id)
    rows: list[list[Cell]] = [
        [strong(caution.title), caution.text, ", ".join(members), caution.source]
        for caution, members in found.values()
    ]
    return [
        heading(1, "Cautions"),
        paragraph(
            "Chosen by each member's material; a material that is not recognised gets all of them. The "
            "usual cautions of the trade do not replace the safety data and approved data for the work.",
            "quiet",
        ),
        *table(["Caution", "", "Members", "Source"], rows),
    ]
