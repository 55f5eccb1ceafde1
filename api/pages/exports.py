"""The findings as CSV and as a workbook."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from api.pages.rows import Row
from corrosion.quantity import COVERAGE_FACTOR, Measured
from corrosion.report.words import CAUTION, KIND_WORDS, flag_words
from corrosion.units import LengthUnit, mm_per

Value = str | float | None
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
WIDEST = 60


def safe_text(text: str) -> str:
    """Return text that no spreadsheet runs as a formula.

    A name in a survey may come from anybody; a cell that begins like a formula would be computed by
    whoever opens the file. An apostrophe in front keeps it text.
    """
    clean = ILLEGAL_CHARACTERS_RE.sub("\N{REPLACEMENT CHARACTER}", text)
    return (
        f"'{clean}"
        if clean.lstrip(" ").startswith(FORMULA_STARTS) or clean[:1] in FORMULA_STARTS
        else clean
    )


def head(unit: LengthUnit) -> list[str]:
    """Names of the columns, with their unit."""
    return [
        "Finding",
        "Kind",
        "Zone",
        "Member",
        "Face",
        "Station as written",
        f"Station on layout, {unit}",
        f"Offset, {unit}",
        f"Depth, {unit}",
        f"U of depth (k = 2), {unit}",
        f"Area, {unit}2",
        f"U of area (k = 2), {unit}2",
        f"Equivalent diameter, {unit}",
        f"U of equivalent diameter (k = 2), {unit}",
        f"Removed, both faces, {unit}",
        f"U of removed (k = 2), {unit}",
        f"Limit, {unit}",
        "Source of limit",
        "Removed as share of limit",
        "Verdict",
        "Grade by depth",
        "Flags",
        "Photos and marks",
    ]


def values(row: Row, unit: LengthUnit) -> list[Value]:
    """One finding's cells: numbers as numbers, in `unit`."""
    finding, spot, per = row.finding, row.spot, mm_per(unit)
    station, offset = finding.position or (None, None)
    removed = spot.removed if spot else None
    verdict = str(row.verdict) if row.verdict else ""
    return [
        finding.id,
        KIND_WORDS[finding.kind],
        finding.zone,
        finding.member_id,
        str(finding.face) if finding.face else None,
        finding.station_text,
        None if station is None else station / per,
        None if offset is None else offset / per,
        *_pair(finding.depth, per),
        *_pair(row.quantity("area"), per**2),
        *_pair(row.quantity("equivalent_diameter"), per),
        *_pair(removed, per),
        None if spot is None or spot.limit is None else spot.limit / per,
        spot.limit_source if spot else None,
        row.share,
        ", ".join(part for part in (row.standing, verdict) if part),
        finding.grade,
        flag_words(finding.flags),
        "; ".join(f"{photo} {mark}" for photo, mark in finding.sources),
    ]


def _pair(measured: Measured | None, per: float) -> tuple[float | None, float | None]:
    if measured is None:
        return None, None
    doubt = COVERAGE_FACTOR * measured.u / per
    return measured.value / per, doubt if math.isfinite(doubt) else None


def to_csv(rows: Iterable[Row], unit: LengthUnit) -> bytes:
    """Write CSV (RFC 4180), UTF-8 with a byte-order mark so that spreadsheets read it as such."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(head(unit))
    for row in rows:
        writer.writerow([_csv_cell(value) for value in values(row, unit)])
    return stream.getvalue().encode("utf-8-sig")


def _csv_cell(value: Value) -> str:
    if isinstance(value, float):
        return f"{value:.9g}"
    return safe_text(value or "")


def to_workbook(rows: Iterable[Row], unit: LengthUnit, title: str) -> bytes:
    """Write a workbook of one sheet, head frozen, columns filterable."""
    book = Workbook(write_only=False)
    book.remove(book.worksheets[0])
    sheet = book.create_sheet("Findings")
    sheet.append([_xlsx_cell(sheet, name, bold=True) for name in head(unit)])
    for row in rows:
        sheet.append([_xlsx_cell(sheet, value) for value in values(row, unit)])
    sheet.freeze_panes = "B2"
    sheet.auto_filter.ref = sheet.dimensions
    for number, column in enumerate(sheet.iter_cols(), start=1):
        width = max((len(str(cell.value)) for cell in column if cell.value is not None), default=8)
        sheet.column_dimensions[get_column_letter(number)].width = min(WIDEST, width + 2)
    about = book.create_sheet("About")
    for line in (title, CAUTION, f"Lengths in {unit}; U is the expanded uncertainty, k = 2."):
        about.append([_xlsx_cell(about, line)])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _xlsx_cell(sheet: Worksheet, value: Value, *, bold: bool = False) -> Cell | None:
    if value is None or value == "":
        return None
    cell = WriteOnlyCell(sheet, safe_text(value) if isinstance(value, str) else value)
    if isinstance(value, str):
        # Said outright: text that looks like a formula stays text.
        cell.data_type = "s"
    if bold:
        cell.font = Font(bold=True)
    return cell
