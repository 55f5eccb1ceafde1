"""Repair versus replacement for readers and for programs: words, tables of text, and JSON.

Money is written to three significant digits: estimates carry no more. A probability is never written as
0 or 100 %.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from corrosion.decision import Comparison, DecisionResult, OptionResult, Share, Spread5
from corrosion.extremes import Level, UnseenDepth
from corrosion.units import LengthUnit, show_length

Json = dict[str, Any]

DECISION_FORMAT = "corrosion-decision"
FORM_VERSION = 1
SIGNIFICANT = 3
NOT_DETERMINED = "not determined"


def money_text(value: float, currency: str) -> str:
    """Write money to three significant digits: ``12,300 EUR``."""
    if value == 0.0:
        return f"0 {currency}"
    step = 10.0 ** max(math.floor(math.log10(abs(value))) - SIGNIFICANT + 1, -2)
    shown = round(value / step) * step
    return f"{shown:,.0f} {currency}" if abs(shown) >= 100.0 else f"{shown:,.2f} {currency}"


def share_text(value: float) -> str:
    """Write a probability: ``73 %``; beyond the draws' reach ``under 1 %`` or ``over 99 %``."""
    if value < 0.01:
        return "under 1 %"
    return "over 99 %" if value > 0.99 else f"{100.0 * value:.0f} %"


def decision_lines(result: DecisionResult) -> list[str]:
    """Tell a decision in plain words, line by line, the caution last."""
    lines = [line for option in result.options for line in _option_lines(option, result.currency)]
    lines += [line for c in result.comparisons for line in _comparison_lines(c, result.currency)]
    lines += _driver_lines(result)
    lines += [f"Not determined: {reason}" for reason in result.reasons]
    lines += [f"Note: {note}" for note in result.notes]
    lines.append(f"{result.draws:,} draws, seed {result.seed}.")
    return [*lines, result.caution]


def _option_lines(option: OptionResult, currency: str) -> list[str]:
    parts = [
        f"money {_range(option.money, lambda v: money_text(v, currency))}",
        f"hours {_range(option.hours, lambda v: f'{v:.0f}')}",
        f"days {_range(option.days, lambda v: f'{v:.0f}')}",
    ]
    return [f"{option.name} ({option.kind}): {'; '.join(parts)}."]


def _range(spread: Spread5 | None, write: Any) -> str:
    if spread is None:
        return NOT_DETERMINED
    return f"{write(spread.p50)} (90 %: {write(spread.p5)} to {write(spread.p95)})"


def _comparison_lines(comparison: Comparison, currency: str) -> list[str]:
    cheaper, faster = _share(comparison.repair_cheaper), _share(comparison.repair_faster)
    lines = [f"Repair is cheaper than {comparison.candidate_id} in {cheaper} of draws, faster in {faster}."]
    if comparison.break_even is not None:
        price = comparison.break_even.price
        lines.append(
            f"{comparison.candidate_id} breaks even at a price of {money_text(price.p50, currency)} "
            f"(90 %: {money_text(price.p5, currency)} to {money_text(price.p95, currency)})."
        )
    return lines


def _share(share: Share | None) -> str:
    return "an undetermined share" if share is None else share_text(share.value)


def _driver_lines(result: DecisionResult) -> list[str]:
    lines = [
        f"{share_text(d.variance_share)} of the doubt comes from {d.name} "
        f"({'against' if d.correlation > 0 else 'for'} repair as it grows)."
        for d in result.drivers[:5]
        if d.variance_share >= 0.01
    ]
    worth = [m for m in result.measurements if m.value > 2.0 * result.noise]
    lines += [
        f"Worth up to {money_text(m.value, result.currency)} to know: {m.group}. {m.remedy}"
        for m in worth[:3]
    ]
    if result.knowing_everything is not None and not worth:
        lines.append("No single measurement would be expected to change the choice by cost.")
    return lines


def unseen_lines(unseen: UnseenDepth, unit: LengthUnit) -> list[str]:
    """Tell the deepest pit to expect in the unseen area of a face."""
    where = f"{unseen.member_id}, {unseen.face} face"
    if unseen.median is None or unseen.blocks is None:
        reason = unseen.reason.rstrip(".")
        return [f"{where}: deepest unseen pit not determined: {reason}."]
    upper, side = unseen.upper(), show_length(unseen.blocks.side_mm, unit, decimals=1)
    first = (
        f"{where}: the deepest unseen pit is as likely as not over {_level(unseen.median, unit)}"
        + ("" if upper is None else f", and with 95 % probability under {show_length(upper, unit)}")
        + f" ({len(unseen.blocks.blocks)} blocks of {side})."
    )
    return [first, *(f"Note: {note}" for note in unseen.notes)]


def _level(level: Level, unit: LengthUnit) -> str:
    low, high = show_length(level.low, unit), show_length(level.high, unit)
    return f"{show_length(level.value, unit)} (95 %: {low} to {high})"


def decision_json(result: DecisionResult) -> Json:
    """Machine-readable form of a decision: every figure unrounded, null where not determined."""
    return {
        "format": DECISION_FORMAT,
        "version": FORM_VERSION,
        "currency": result.currency,
        "options": [_option_json(option) for option in result.options],
        "comparisons": [asdict(comparison) for comparison in result.comparisons],
        "drivers": [asdict(driver) for driver in result.drivers],
        "measurements": [asdict(measurement) for measurement in result.measurements],
        "knowing_everything": result.knowing_everything,
        "noise": result.noise,
        "reasons": list(result.reasons),
        "notes": list(result.notes),
        "draws": result.draws,
        "seed": result.seed,
        "caution": result.caution,
    }


def _option_json(option: OptionResult) -> Json:
    return {
        "id": option.id,
        "kind": option.kind,
        "name": option.name,
        "hours": asdict(option.hours) if option.hours else None,
        "money": asdict(option.money) if option.money else None,
        "days": asdict(option.days) if option.days else None,
        "cheapest": option.cheapest,
        "reasons": list(option.reasons),
        "notes": list(option.notes),
    }


def unseen_json(unseen: UnseenDepth) -> Json:
    """Machine-readable form of the deepest unseen pit of a face, in mm; null where not determined."""
    fit = unseen.fit
    return {
        "member": unseen.member_id,
        "face": str(unseen.face),
        "seen_mm2": unseen.seen_mm2,
        "unseen_mm2": unseen.unseen_mm2,
        "block_mm": unseen.blocks.side_mm if unseen.blocks else None,
        "blocks": len(unseen.blocks.blocks) if unseen.blocks else 0,
        "blocks_with_known_depth": unseen.blocks.with_known_depth if unseen.blocks else 0,
        "law": str(fit.law) if fit else None,
        "location_mm": fit.location if fit else None,
        "scale_mm": fit.scale if fit else None,
        "shape": fit.shape if fit else None,
        "doubtful": unseen.goodness.doubtful if unseen.goodness else None,
        "ratio": unseen.ratio,
        "characteristic_mm": asdict(unseen.characteristic) if unseen.characteristic else None,
        "median_mm": asdict(unseen.median) if unseen.median else None,
        "upper_95_mm": unseen.upper(),
        "reason": unseen.reason,
        "notes": list(unseen.notes),
    }
