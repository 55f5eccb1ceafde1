"""Tables for the terminal, in the survey's display unit.

Every cell that holds a name from a file is plain `rich.text.Text`: names are never read as markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rich import box
from rich.table import Table
from rich.text import Text

from corrosion.quantity import Measured
from corrosion.report.numbers import Shown, chance_text, length_text, percent_text, place_text, shown
from corrosion.report.words import (
    KIND_WORDS,
    TOTAL_WORDS,
    VERDICT_STYLE,
    clean,
    flag_legend,
    flag_words,
    verdict_words,
)
from corrosion.results import (
    Assessment,
    BinSummary,
    MarkMeasures,
    MemberAssessment,
    PhotoMeasures,
    Spot,
)
from corrosion.terms import Flag, Verdict
from corrosion.units import LengthUnit

NOTHING = "-"


def measures_table(photos: Iterable[PhotoMeasures], unit: LengthUnit) -> Table:
    """Measures per photo and mark, each with its expanded uncertainty (k = 2)."""
    table = _table(
        "Measures (± U, k = 2)",
        ("Photo", "left"),
        ("Mark", "left"),
        ("Kind", "left"),
        (f"Area, {unit}²", "right"),
        (f"Equivalent\ndiameter, {unit}", "right"),
        (f"Longest\ncalliper, {unit}", "right"),
        (f"Shortest\ncalliper, {unit}", "right"),
        (f"Spacing, {unit}", "right"),
        (f"Depth, {unit}", "right"),
        ("Flags", "left"),
    )
    for photo in photos:
        for cells in _photo_rows(photo, unit):
            table.add_row(*cells)
        table.add_section()
    return unbreakable(table)


def _photo_rows(photo: PhotoMeasures, unit: LengthUnit) -> Iterator[list[Text]]:
    name = photo.photo_id
    if photo.problem:
        yield _row([name, "", "not measured", *[NOTHING] * 6, ""])
    common = _common_flags(photo)
    for mark in photo.marks:
        yield _mark_row(name, mark, unit, common)
        name = ""
    if common:
        yield _row([name, "", "every mark", *[""] * 6, flag_words(common)])
    for key, sum_of in photo.totals.items():
        if key.endswith("_area"):
            yield _row([name, "", f"Σ {TOTAL_WORDS[key]}", _number(sum_of, unit), *[""] * 6])
            name = ""


def _common_flags(photo: PhotoMeasures) -> frozenset[Flag]:
    """Collect the flags that all measured marks of a photo share, to say them once."""
    flags = [flags_of(mark) for mark in photo.marks if not mark.problem]
    return frozenset.intersection(*flags) if len(flags) > 1 else frozenset()


def _mark_row(
    photo_id: str, measures: MarkMeasures, unit: LengthUnit, common: frozenset[Flag]
) -> list[Text]:
    mark = measures.mark
    names = ("area", "equivalent_diameter", "longest_calliper", "shortest_calliper", "spacing")
    numbers = [_number(measures.quantities.get(name), unit) for name in names]
    if measures.quantities.get("area") is None and "length" in measures.quantities:
        # A line has a length and nothing else; it is its own longest calliper.
        numbers[2] = _number(measures.quantities["length"], unit)
    depth = _number(measures.depth, unit, thickness=True)
    flags = flag_words(flags_of(measures) - common)
    return _row(
        [
            photo_id,
            mark.id,
            KIND_WORDS[mark.kind],
            *numbers,
            depth,
            "not measured" if measures.problem else flags,
        ]
    )


def totals_table(photos: Iterable[PhotoMeasures], unit: LengthUnit) -> Table | None:
    """List counts, densities and shares per photo; None if no photo has any."""
    table = _table("Per photo", ("Photo", "left"), ("What", "left"), ("± U, k = 2", "right"))
    for photo in photos:
        for key, sum_of in photo.totals.items():
            if not key.endswith("_area"):
                table.add_row(*_row([photo.photo_id, TOTAL_WORDS.get(key, key), _total(key, sum_of, unit)]))
    return unbreakable(table) if table.row_count else None


def _total(key: str, sum_of: Measured, unit: LengthUnit) -> str:
    if key == "affected_share":
        percent = shown(sum_of.scaled(100.0), unit)
        return f"{percent.number} %"
    return f"{sum_of.value:.0f}" if key == "pit_count" else shown(sum_of, unit).text


def flags_of(measures: MarkMeasures) -> frozenset[Flag]:
    """All flags of a mark's quantities and depth."""
    listed = [*measures.quantities.values(), *([measures.depth] if measures.depth else [])]
    return frozenset().union(*(quantity.flags for quantity in listed))


def measures_flags(photos: Iterable[PhotoMeasures]) -> frozenset[Flag]:
    """All flags that appear in a measures table."""
    return frozenset().union(*(flags_of(mark) for photo in photos for mark in photo.marks))


def assessment_flags(assessment: Assessment) -> frozenset[Flag]:
    """All flags of the members' assessments."""
    return frozenset().union(*(member.flags for member in assessment.members))


def legend_table(flags: Iterable[Flag]) -> Table | None:
    """Short words and what they mean; None if there are no flags."""
    lines = flag_legend(flags)
    if not lines:
        return None
    table = Table(title="Flags", title_justify="left", box=None, show_header=False, pad_edge=False)
    table.add_column("flag", style="bold", no_wrap=True)
    table.add_column("meaning")
    for words, meaning in lines:
        table.add_row(*_row([words, meaning]))
    return table


def assessment_table(assessment: Assessment) -> Table:
    """Say what is gone and what is left, by member, zone and station bin.

    Bins with no finding and no removal are left out; a member without any has one line.
    """
    unit = assessment.survey.display_units or assessment.survey.units
    table = _table(
        "Thickness removed, both faces (± U, k = 2)",
        ("Member", "left"),
        ("Zone", "left"),
        (f"Stations, {unit}", "left"),
        ("Findings", "right"),
        (f"Deepest\nremoved, {unit}", "right"),
        (f"Limit, {unit}", "right"),
        (f"Margin\nleft, {unit}", "right"),
        (f"Remaining,\n{unit}", "right"),
        ("Section\nloss", "right"),
        ("Verdict", "left"),
    )
    for assessed in assessment.members:
        for cells in _member_rows(assessed, unit):
            table.add_row(*cells)
        table.add_section()
    return unbreakable(table)


def _member_rows(assessed: MemberAssessment, unit: LengthUnit) -> Iterator[list[Text]]:
    member = assessed.member
    for one in assessed.bins:
        if one.findings or _removed_here(one.deepest):
            yield _bin_row(member.id, member.zone, one, unit)
    findings = sum(one.findings for one in assessed.bins)
    worst = assessed.worst_section
    spot = assessed.deepest if _removed_here(assessed.deepest) else None
    cells = [member.id, member.zone, "whole member", str(findings), *_spot_cells(spot, unit)]
    loss = percent_text(worst.share) if worst and worst.lost_mm2 > 0.0 else NOTHING
    row = [*_row([*cells, loss]), _verdict(assessed.verdict)]
    for cell in row[:-1]:
        cell.stylize("bold")
    yield row


def _bin_row(member: str, zone: str, one: BinSummary, unit: LengthUnit) -> list[Text]:
    stations = f"{place_text(one.start, unit)} … {place_text(one.stop, unit)}"
    removed = _removed_here(one.deepest)
    loss = percent_text(one.section_loss.share) if removed and one.section_loss else NOTHING
    cells = [
        member,
        zone,
        stations,
        str(one.findings),
        *_spot_cells(one.deepest if removed else None, unit),
    ]
    # No removal in a bin is no verdict on it: its pits are not blended yet.
    verdict = _verdict(one.verdict) if removed else Text(NOTHING)
    return [*_row([*cells, loss]), verdict]


def _removed_here(spot: Spot | None) -> bool:
    return spot is not None and spot.removed.value > 0.0


def _spot_cells(spot: Spot | None, unit: LengthUnit) -> list[str]:
    if spot is None:
        return [NOTHING] * 4
    return [
        _number(spot.removed, unit, thickness=True),
        length_text(spot.limit, unit) if spot.limit is not None else "not set",
        length_text(spot.margin, unit),
        length_text(spot.remaining, unit),
    ]


def reasons_table(assessment: Assessment) -> Table:
    """Why each member got its verdict, and what the verdict does not speak of."""
    table = Table(title="Why", title_justify="left", box=None, show_header=False, pad_edge=False)
    table.add_column("member", style="bold", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    table.add_column("reasons")
    for assessed in assessment.members:
        words = list(assessed.reasons)
        if assessed.unblended_pits:
            words.append(f"Pits not blended yet: {', '.join(assessed.unblended_pits)}.")
        if assessed.flags:
            words.append(f"Flags: {flag_words(assessed.flags)}.")
        cells = _row([assessed.member.id, " ".join(words) or NOTHING])
        table.add_row(cells[0], _verdict(assessed.verdict), cells[1])
    return table


def ledger_table(spot: Spot, unit: LengthUnit, *, name: str = "") -> Table:
    """List which entries add up at one place, in the order they were applied."""
    where = f"{place_text(spot.at[0], unit)}, {place_text(spot.at[1], unit)} {unit}"
    table = _table(
        f"Ledger of {clean(name)} at station, offset {where}".replace("of  ", ""),
        ("Entry", "left"),
        ("Date", "left"),
        ("Face", "left"),
        ("Origin", "left"),
        ("Measured from", "left"),
        (f"Depth\nhere, {unit}", "right"),
        (f"Adds, {unit}", "right"),
        (f"Face total\nafter, {unit}", "right"),
    )
    for line in spot.ledger:
        lengths = [length_text(v, unit) for v in (line.depth_here, line.adds, line.face_total_after)]
        names = [line.entry_id, line.date or NOTHING, str(line.face), str(line.origin), line.measured_from]
        table.add_row(*_row([*names, *lengths]))
    table.caption = _ledger_caption(spot, unit)
    table.caption_justify = "left"
    return unbreakable(table)


def _ledger_caption(spot: Spot, unit: LengthUnit) -> Text:
    faces = " + ".join(f"{face} {length_text(part, unit)}" for face, part in spot.by_face.items())
    removed = f"Removed {shown(spot.removed, unit, thickness=True).text} ({faces}) "
    left = f"of {length_text(spot.thickness, unit)}; remaining {length_text(spot.remaining, unit)}."
    lines = [removed + left]
    if spot.limit is None:
        lines.append("No limit is set here.")
    else:
        over = "" if spot.probability_over is None else f", P(over) {chance_text(spot.probability_over)}"
        lines.append(
            f"Limit {length_text(spot.limit, unit)} ({clean(spot.limit_source)}); "
            f"margin {length_text(spot.margin, unit)}{over}."
        )
    reason = f": {clean(spot.reason)}" if spot.reason else ""
    caption = Text("\n".join(lines) + "\n")
    caption.append(f"{verdict_words(spot.verdict)}{reason}", style=VERDICT_STYLE[spot.verdict])
    return caption


def problems_list(problems: Iterable[str]) -> Text | None:
    """Everything that could not be measured, placed or judged; None if there is nothing."""
    listed = list(problems)
    if not listed:
        return None
    text = Text(f"Could not be used ({len(listed)})\n", style="bold")
    for problem in listed:
        text.append(f"  ! {clean(problem)}\n", style="not bold")
    text.rstrip()
    return text


def _number(quantity: Measured | None, unit: LengthUnit, *, thickness: bool = False) -> str:
    return NOTHING if quantity is None else _tight(shown(quantity, unit, thickness=thickness))


def _tight(number: Shown) -> str:
    """Leave one place to break: before the ±, so that a narrow column never tears a number apart."""
    return number.number.replace("± ", "±").replace("≥ ", "≥").replace("≤ ", "≤")


def _verdict(verdict: Verdict) -> Text:
    return Text(verdict_words(verdict), style=VERDICT_STYLE[verdict], no_wrap=True)


def _row(cells: Iterable[str]) -> list[Text]:
    return [Text(clean(cell)) for cell in cells]


def unbreakable(table: Table) -> Table:
    """Give number columns room for their longest part: a number is never torn, however narrow."""
    for column in table.columns:
        if column.justify == "right":
            parts = [part for cell in column.cells for part in str(cell).split()]
            column.min_width = max((len(part) for part in parts), default=1)
    return table


def _table(title: str, *columns: tuple[str, str]) -> Table:
    table = Table(
        title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False
    )
    for header, side in columns:
        table.add_column(header, justify="right" if side == "right" else "left", vertical="top")
    return table
