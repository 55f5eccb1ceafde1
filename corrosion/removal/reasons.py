"""The verdict on a member, and why, in plain words in the survey's display unit."""

from __future__ import annotations

from corrosion.layout import MemberLayout
from corrosion.removal.member import MemberRemoval, worst_of
from corrosion.results import Coverage, ReadingCheck, Spot
from corrosion.terms import Face, Verdict, worst_verdict
from corrosion.units import LengthUnit, mm_per, show_length

_NAMES_SHOWN = 5


def judge_member(
    removal: MemberRemoval,
    readings: list[ReadingCheck],
    coverage: dict[Face, Coverage],
    least: Spot | None,
    shown: LengthUnit,
) -> tuple[Verdict, list[str]]:
    """Roll every place up into one verdict, and say why.

    Parameters
    ----------
    least : Spot or None
        The spot with the least margin.
    shown : {"mm", "in"}
        Unit of the words.
    """
    verdicts = [
        worst_of(places.verdict[places.touched]) for places in removal.everywhere if places.touched.any()
    ]
    reasons = _limit_words(least, removal.within_probability, shown)
    reasons += _unproven_words(removal.unproven())
    if Verdict.NOT_DETERMINED in verdicts:
        reasons.append("No limit is set where metal was removed.")
    for finding, why in removal.undetermined:
        verdicts.append(Verdict.NOT_DETERMINED)
        reasons.append(f"Blend-out {finding.id} cannot be summed: {why}.")
    for check in readings:
        if not check.agrees:
            verdicts.append(check.spot.verdict)
            reasons.append(_reading_words(check, shown))
    if not verdicts:
        verdicts, words = _nothing_removed(removal.layout, coverage)
        reasons.append(words)
    return worst_verdict(verdicts), reasons + _unseen_words(coverage)


def _limit_words(least: Spot | None, within_probability: float, shown: LengthUnit) -> list[str]:
    """Say how the spot with the least margin stands against its limit."""
    if least is None or least.limit is None or least.probability_over is None:
        return []
    stands = {
        Verdict.OVER: "is more than",
        Verdict.TOO_CLOSE: "is too close to",
        Verdict.WITHIN: "is within",
    }[least.verdict]
    station, offset = (f"{x / mm_per(shown):.1f}" for x in least.at)
    words = (
        f"At station {station}, offset {offset} {shown} the "
        f"{show_length(least.removed.value, shown)} removed {stands} the limit of "
        f"{show_length(least.limit, shown)} ({least.limit_source}); the chance of exceeding it "
        f"is {100 * least.probability_over:.0f} %, and at most "
        f"{100 * within_probability:.0f} % counts as within."
    )
    return [words]


def _unproven_words(names: list[str]) -> list[str]:
    if not names:
        return []
    more = f" and {len(names) - _NAMES_SHOWN} more" if len(names) > _NAMES_SHOWN else ""
    named = ", ".join(names[:_NAMES_SHOWN]) + more
    return [f"Of {named} only a lower bound or a depth read by light is known: nothing there is within."]


def _nothing_removed(layout: MemberLayout, coverage: dict[Face, Coverage]) -> tuple[list[Verdict], str]:
    if layout.has_unlimited_area:
        return [], "No limit is set, and no removal was measured or recorded."
    if not any(cover.share > 0.0 for cover in coverage.values()):
        return [], "Not photographed and no removal on record: not seen is not clean."
    return [Verdict.WITHIN], "No removal was measured or recorded where the member was seen."


def _reading_words(check: ReadingCheck, shown: LengthUnit) -> str:
    more = "more" if check.removed_by_reading > check.removed_by_entries else "less"
    return (
        f"Thickness reading {check.reading.id} shows {more} removed "
        f"({show_length(check.removed_by_reading, shown)}) than the entries add up to "
        f"({show_length(check.removed_by_entries, shown)}); the larger governs there."
    )


def _unseen_words(coverage: dict[Face, Coverage]) -> list[str]:
    unseen = [
        f"{1 - cover.share:.0%} of the {face} face" for face, cover in coverage.items() if cover.share < 1.0
    ]
    return ["Not seen: " + ", ".join(unseen) + "."] if unseen else []
