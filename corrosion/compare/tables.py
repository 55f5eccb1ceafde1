"""Tables of a comparison for the terminal, in the display unit. Names are never read as markup."""

from __future__ import annotations

from rich import box
from rich.table import Table
from rich.text import Text

from corrosion.compare.results import CHANGE_MEANING, Comparison, FindingChange, MemberChange
from corrosion.compare.words import (
    change_words,
    difference_text,
    growth_words,
    level_words,
    limit_notes,
    limit_words,
    names,
    rate_text,
    value_text,
)
from corrosion.report.numbers import place_text, shown
from corrosion.report.words import KIND_WORDS, clean
from corrosion.units import LengthUnit

LEAST_WIDTH = 12
"""Columns of words keep room for so many letters: about the longest of their words."""


def findings_table(comparison: Comparison, unit: LengthUnit) -> Table | None:
    """One row per thing on the metal, what matters first; None where neither survey found any."""
    if not comparison.findings:
        return None
    title = (
        f"{comparison.earlier_date} → {comparison.later_date}, {comparison.years:.2f} years "
        f"(± U, k = 2; {level_words(comparison)})"
    )
    table = Table(title=clean(title), box=box.SIMPLE_HEAD, title_justify="left", pad_edge=False)
    for heading, right in (
        ("What became of it", False),
        ("Finding, then → now", False),
        ("Kind, member, face", False),
        (f"Station, offset,\n{unit}", True),
        (f"Depth now,\n{unit}", True),
        (f"Depth\nchange, {unit}", True),
        (f"Depth per year,\n{unit} (interval)", True),
        (f"Area change,\n{unit}²", True),
        ("Limit would be reached", False),
    ):
        table.add_column(heading, justify="right" if right else "left", overflow="fold")
    for row in comparison.findings:
        table.add_row(*[Text(clean(cell)) for cell in _cells(row, unit)])
    for column in table.columns:
        # A number is never torn, and no column squeezed out, however narrow the terminal.
        longest = max(len(str(cell)) for cell in column.cells)
        column.min_width = longest if column.justify == "right" else min(longest, LEAST_WIDTH)
    return table


def _cells(row: FindingChange, unit: LengthUnit) -> list[str]:
    at = row.position
    depth = row.later.depth if row.later else None
    where = ", ".join(filter(None, [KIND_WORDS[row.kind], row.member_id, row.face]))
    return [
        change_words(row.change),
        names(row),
        where,
        f"{place_text(at[0], unit)}, {place_text(at[1], unit)}" if at else "-",
        value_text(depth, unit, thickness=True),
        difference_text(row.growth("depth"), unit),
        rate_text(row.growth("depth"), unit),
        difference_text(row.growth("area"), unit),
        limit_words(row.forecast),
    ]


def notes_table(comparison: Comparison) -> Table | None:
    """List what is to be known of single rows; None where there is nothing."""
    table = Table(title="Notes", box=box.SIMPLE_HEAD, title_justify="left", pad_edge=False)
    table.add_column("Finding")
    table.add_column("Note", overflow="fold")
    for row in comparison.findings:
        bounds = [growth_words(one) for one in row.growths if one.note]
        for note in [*row.notes, *bounds, *limit_notes(row.forecast)]:
            table.add_row(Text(clean(names(row))), Text(clean(note)))
    return table if table.row_count else None


def members_table(comparison: Comparison, unit: LengthUnit) -> Table | None:
    """Say what came off each member between the surveys; None where no member was removed from."""
    table = Table(
        title="Thickness removed between the surveys (sum now - sum then)",
        box=box.SIMPLE_HEAD, title_justify="left", pad_edge=False,
    )  # fmt: skip
    for heading in ("Member", f"Most at one place, {unit}", "There", "Volume", "Notes"):
        table.add_column(heading, overflow="fold")
    for member in comparison.members:
        if member.most is not None or member_notes(member):
            table.add_row(*[Text(clean(cell)) for cell in _member_cells(member, unit)])
    return table if table.row_count else None


def _member_cells(member: MemberChange, unit: LengthUnit) -> list[str]:
    at = member.at
    return [
        member.member_id,
        value_text(member.most, unit, thickness=True),
        f"{place_text(at[0], unit)}, {place_text(at[1], unit)}" if at else "-",
        shown(member.volume, unit).text,
        "; ".join(member_notes(member)),
    ]


def member_notes(member: MemberChange) -> list[str]:
    """List what is to be known of a member, lost records first."""
    if not member.missing and member.least is None:
        return list(member.notes)
    lost = ", ".join(member.missing) or "entries"
    words = (
        f"less is removed now than then: the later survey lacks {lost} of the earlier one, or reads them "
        "as shallower; carry them over"
    )
    return [words, *member.notes]


def meanings_table(comparison: Comparison) -> Table | None:
    """Say what the words for changes mean, of those in use."""
    if not comparison.findings:
        return None
    table = Table(box=box.SIMPLE_HEAD, show_header=False, pad_edge=False)
    table.add_column("Word")
    table.add_column("Meaning", overflow="fold")
    for change in comparison.counts():
        table.add_row(change_words(change), CHANGE_MEANING[change])
    return table
