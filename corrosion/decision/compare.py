"""Repair versus replacement: draws, comparison, drivers, and what to measure next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from corrosion.decision.costs import Tally, tally_candidate, tally_repair
from corrosion.decision.draws import Draws, Input
from corrosion.decision.information import (
    rank_correlation,
    ranks,
    value_of_knowing,
    value_of_perfect_information,
    variance_share,
)
from corrosion.decision.results import (
    REPAIR,
    BreakEven,
    Comparison,
    DecisionResult,
    Driver,
    Kind,
    Measurement,
    OptionResult,
    Share,
    Spread5,
    Totals,
)
from corrosion.model.decision import Decision, Rates
from corrosion.quantity import FloatArray
from corrosion.results import Assessment

NOTES = (
    "Lead time and work follow one another; days of actions are added.",
    "Estimates are beta-PERT distributions (weight 4 on the likeliest value).",
)


def decide(
    decision: Decision, assessment: Assessment, candidates: Mapping[str, Assessment] | None = None
) -> DecisionResult:
    """Compare repair with every candidate.

    Parameters
    ----------
    decision : Decision
        Lengths in mm.
    assessment : Assessment
        Of the structure itself.
    candidates : mapping of candidate id to Assessment, optional
        Of second-hand parts that were surveyed themselves.

    Returns
    -------
    DecisionResult
        What cannot be determined has its reason; the same seed gives the same digits. It informs: it
        names no option as the right one.
    """
    draws = Draws(decision.draws, decision.seed, decision.correlation)
    tally = tally_repair(decision.actions, decision.hidden, assessment, draws)
    options = [_option(REPAIR, "repair", "Repair", tally, decision.rates)]
    for candidate in decision.candidates:
        surveyed = (candidates or {}).get(candidate.id)
        tally = tally_candidate(candidate, decision.hidden, assessment, surveyed, draws)
        name = candidate.name or candidate.id
        options.append(_option(candidate.id, candidate.kind, name, tally, decision.rates))
    return _result(decision, options, list(draws.inputs.values()))


def _option(name: str, kind: Kind, title: str, tally: Tally, rates: Rates) -> OptionResult:
    totals = tally.totals(rates)
    hours, money, days = (None if v is None else Spread5.of(v) for v in _three(totals))
    return OptionResult(
        id=name,
        kind=kind,
        name=title,
        hours=hours,
        money=money,
        days=days,
        totals=totals,
        reasons=list(dict.fromkeys(tally.reasons)),
        notes=list(dict.fromkeys(tally.notes)),
    )


def _three(totals: Totals) -> tuple[FloatArray | None, FloatArray | None, FloatArray | None]:
    return totals.hours, totals.money, totals.days


def _result(decision: Decision, options: list[OptionResult], inputs: list[Input]) -> DecisionResult:
    repair, rest = options[0], options[1:]
    usable = [o for o in options if o.totals.money is not None]
    rivals = [o for o in usable if o is not repair]
    reasons = [reason for o in options for reason in o.reasons]
    if not rest:
        reasons.append("There is no candidate to compare the repair with.")
    costs = np.array([o.totals.money for o in usable])
    comparable = len(usable) > 1
    drivers: list[Driver] = []
    if repair.totals.money is not None and rivals:
        best = min(rivals, key=lambda o: o.money.mean if o.money else np.inf)
        assert best.totals.money is not None  # noqa: S101 -- rivals have money
        drivers = _drivers(repair.totals.money - best.totals.money, inputs)
    measurements, noise = _measurements(costs, inputs) if comparable else ([], 0.0)
    return DecisionResult(
        currency=decision.rates.currency,
        options=_with_cheapest(options, usable, costs) if comparable else options,
        comparisons=[_comparison(repair, other) for other in rest],
        drivers=drivers,
        measurements=measurements,
        knowing_everything=value_of_perfect_information(costs) if comparable else None,
        noise=noise,
        reasons=reasons,
        notes=_notes(decision, options),
        draws=decision.draws,
        seed=decision.seed,
    )


def _notes(decision: Decision, options: Sequence[OptionResult]) -> list[str]:
    notes = [*NOTES, *(note for o in options for note in o.notes)]
    if decision.rates.day is None:
        notes.append("No money for a day out of use is stated: time stands beside the money, not in it.")
    if decision.correlation == 0.0:
        notes.append("Estimates are taken to err each alone; if they err together, the spread is wider.")
    return notes


def _with_cheapest(
    options: list[OptionResult], usable: list[OptionResult], costs: FloatArray
) -> list[OptionResult]:
    """Share of draws in which each option costs least; a tie counts for each its part."""
    least = costs == costs.min(axis=0)
    shares = (least / least.sum(axis=0)).mean(axis=1)
    by_id = {o.id: float(share) for o, share in zip(usable, shares, strict=True)}
    return [replace(o, cheapest=by_id.get(o.id)) for o in options]


def _comparison(repair: OptionResult, other: OptionResult) -> Comparison:
    ours, theirs = repair.totals, other.totals
    cheaper = saving = break_even = None
    if ours.money is not None and theirs.money is not None:
        gain = theirs.money - ours.money
        cheaper, saving = Share.of(_wins(gain)), Spread5.of(gain)
        if theirs.price is not None:
            break_even = _break_even(theirs.price, gain)
    faster = None
    if ours.days is not None and theirs.days is not None:
        faster = Share.of(_wins(theirs.days - ours.days))
    return Comparison(other.id, cheaper, faster, saving, break_even)


def _wins(gain: FloatArray) -> FloatArray:
    """1 where there is a gain, 1/2 where there is none either way."""
    return np.asarray((gain > 0.0) + 0.5 * (gain == 0.0), dtype=np.float64)


def _break_even(price: FloatArray, gain: FloatArray) -> BreakEven:
    """Price at which gain is zero: the price paid less what the candidate costs beyond the repair."""
    return BreakEven(Spread5.of(price - gain), float(_wins(-gain).mean()))


def _drivers(difference: FloatArray, inputs: Sequence[Input]) -> list[Driver]:
    ranked = ranks(difference)
    drivers = [
        Driver(i.name, i.group, rank_correlation(i.values, ranked), variance_share(difference, i.values))
        for i in inputs
    ]
    return sorted(drivers, key=lambda d: -d.variance_share)


def _measurements(costs: FloatArray, inputs: Sequence[Input]) -> tuple[list[Measurement], float]:
    """Value of knowing each group of inputs, and the value that pure noise seems to have."""
    groups: dict[str, list[Input]] = {}
    for one in inputs:
        groups.setdefault(one.group, []).append(one)
    found = [
        Measurement(name, members[0].remedy, value_of_knowing(costs, [m.values for m in members]))
        for name, members in groups.items()
    ]
    rng = np.random.default_rng(0)
    noise = value_of_knowing(costs, [np.asarray(rng.standard_normal(costs.shape[1]))])
    return sorted(found, key=lambda m: -m.value), noise
