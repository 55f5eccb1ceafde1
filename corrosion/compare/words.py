"""A comparison in words and figures, as tables, pages and JSON all show it."""

from __future__ import annotations

from corrosion.compare.results import Change, Comparison, FindingChange, Forecast, Growth, Reach, Shown
from corrosion.quantity import Measured
from corrosion.report.numbers import fixed, rounded, shown
from corrosion.units import DECIMALS, LengthUnit, mm_per

CHANGE_SYMBOL: dict[Change, str] = {
    Change.GROWN: "▲",
    Change.MERGED: "⊃",
    Change.NEW: "+",
    Change.FIRST_SEEN: "+",
    Change.AMBIGUOUS: "?",
    Change.SMALLER: "▽",
    Change.WITHIN_NOISE: "≈",
    Change.NOT_COMPARED: "?",
    Change.UNCHANGED: "=",
    Change.BLENDED: "◌",
    Change.ON_RECORD: "=",
    Change.NOT_FOUND: "∅",
    Change.NOT_SEEN: "…",
    Change.NOT_PLACED: "?",
}

ASSUMPTION = (
    "Dates assume that depth goes on growing evenly at the rate between the two surveys. Corrosion need "
    "not: it stops when dried and protected and runs away under a broken finish. A pit has reached the "
    "limit when blending it away would take all that may still come off there: limit minus what was "
    "removed, minus the clean-up allowance, minus the pit's depth. A date helps to choose when to look "
    "again; it allows nothing until then."
)


def level_words(comparison: Comparison) -> str:
    """Say what counts as growth: ``5 % significance, two-sided; intervals cover 95 %``."""
    percent = 100.0 * comparison.level
    return f"{percent:g} % significance, two-sided; intervals cover {100.0 - percent:g} %"


def change_words(change: Change) -> str:
    """Write a change as symbol and words: ``▲ grown``."""
    return f"{CHANGE_SYMBOL[change]} {change}"


def value_text(measured: Measured | None, unit: LengthUnit, *, thickness: bool) -> str:
    """Write a value with its U, without the unit; a dash where there is none."""
    return "-" if measured is None else shown(measured, unit, thickness=thickness).number


def difference_text(growth: Growth | None, unit: LengthUnit) -> str:
    """Write a growth with its U and its sign, without the unit."""
    if growth is None:
        return "-"
    text = value_text(growth.difference, unit, thickness=growth.quantity == "depth")
    rounds_to_zero = not text.split(" ")[0].strip("0.")
    plain = text.startswith(("≥", "≤", "-")) or rounds_to_zero
    return text if plain else f"+{text}"


def rate_text(growth: Growth | None, unit: LengthUnit) -> str:
    """Write a rate per year with its coverage interval, without the unit: ``0.060 (0.046 to 0.074)``.

    Rates are small: a length per year has one decimal more than a thickness. A bound has an open end.
    """
    if growth is None:
        return "-"
    rate = growth.per_year
    low, high = growth.interval
    factor = 1.0 / mm_per(unit) ** (2 if rate.unit == "mm2" else 1)
    if low is None and high is None:
        return "cannot be said"
    width = max(abs(end - rate.value) for end in growth.interval if end is not None)

    def text(value: float) -> str:
        if growth.quantity == "depth":
            return fixed(value * factor, 0.0, DECIMALS[unit] + 1)[0]
        return rounded(value * factor, width * factor)[0]

    if low is None or high is None:
        return f"at most {text(high)}" if high is not None else f"at least {text(low or 0.0)}"
    return f"{text(rate.value)} ({text(low)} to {text(high)})"


def limit_words(forecast: Forecast | None) -> str:
    """Say when the limit would be reached: an interval, an open end, or that there is no date."""
    if forecast is None:
        return "-"
    earliest, latest = forecast.earliest, forecast.latest
    match forecast.reach:
        case Reach.BETWEEN:
            return f"between {earliest} and {latest}"
        case Reach.NOT_BEFORE:
            return f"not before {earliest}"
        case Reach.NO_LATER:
            return f"by {latest}, perhaps any time before"
        case Reach.REACHED:
            return "reached"
        case Reach.NO_DATE:
            return f"{forecast.reason}; not before {earliest}" if earliest else forecast.reason


def limit_notes(forecast: Forecast | None) -> list[str]:
    """Say what a date rests on: why an end is open, how far it reaches beyond what was observed."""
    if forecast is None or forecast.reach is Reach.NO_DATE:
        return []
    notes = [forecast.reason] if forecast.reason else []
    if forecast.spans is not None and forecast.spans > 1.0:
        notes.append(f"the date lies {forecast.spans:.1f} times as far ahead as the surveys lie apart")
    return notes


def growth_words(growth: Growth) -> str:
    """Say what one growth shows: ``depth larger``, with its note."""
    said = f"{growth.quantity} {growth.shown}"
    if growth.shown is Shown.NOT_DETERMINED:
        said = f"{growth.quantity}: whether it grew is not determined"
    return f"{said} ({growth.note})" if growth.note else said


def names(change: FindingChange) -> str:
    """Name the findings of a row: ``f1/P1 → f3/P2``."""
    before = " + ".join(finding.id for finding in change.earlier) or "-"
    return f"{before} → {change.later.id if change.later else '-'}"
