"""Reading a structure's layout from a file: JSON, or the CSV that `COLUMNS` describes.

One row is one record. Rows of kind ``member`` come first in meaning, not necessarily in the file: zones,
fasteners and stations name the member they belong to.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping
from typing import Any, Literal, cast

from pydantic import ValidationError

from corrosion.errors import SurveyFileError
from corrosion.model import FORMAT, Structure, parse_survey

Units = Literal["mm", "in"]
Record = dict[str, Any]
MAX_ROWS = 20_000
MAX_BYTES = 16 * 1024 * 1024

COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("record", "every row", "member (also when empty), limit zone, thickness zone, fastener or station"),
    ("member", "every row", "id of the member, such as SK1"),
    ("id", "zones", "id of the zone"),
    ("kind", "member", "skin, spar web, rib, ..."),
    ("zone", "member", "three-digit zone number, such as 334"),
    ("material", "member", "alloy and temper, such as 2024-T3 clad"),
    ("thickness", "member, thickness zone", "thickness on the drawing"),
    ("thickness_measured", "member, optional", "thickness measured on unblended metal near by"),
    ("name", "member, optional", "a name people use"),
    ("offset_is", "member, optional", "what offsets mean: chordwise, buttock line, ..."),
    ("limit_fraction", "member or limit zone", "blend limit as a fraction of the thickness, such as 0.10"),
    ("limit_depth", "member or limit zone", "or the blend limit as a depth"),
    ("limit_source", "with a limit", "document, paragraph and revision that set the limit"),
    ("outline", "member, zones", "corners 'station offset; station offset; ...' once round"),
    ("station_from, station_to, offset_from, offset_to", "member, zones", "or a rectangle"),
    ("station", "fastener, station", "where it is"),
    ("offset", "fastener", "where it is"),
    ("diameter", "fastener", "shank diameter"),
    ("label", "station", "what the station line is called, such as Rib 3"),
)
"""Name, where it is used, and meaning of every column."""

EXAMPLE = """\
record,member,id,kind,zone,material,thickness,limit_fraction,limit_source,station_from,station_to,\
offset_from,offset_to,station,offset,diameter,label
member,SK1,,skin,334,2024-T3 clad,1.02,0.10,"RS-12, paragraph 4, revision B",0,900,0,400,,,,
limit zone,SK1,row,,,,,0.05,"RS-12, paragraph 5, revision B",0,900,0,20,,,,
fastener,SK1,,,,,,,,,,,,25,10,3.2,
station,SK1,,,,,,,,,,,,300,,,Rib 3
"""

_TEXTS = ("name", "kind", "zone", "material", "offset_is")
_RECTANGLE = ("station_from", "station_to", "offset_from", "offset_to")
_KNOWN = {name for names, _, _ in COLUMNS for name in names.split(", ")}


def read_layout(source: bytes, *, name: str, units: Units) -> tuple[Structure, Units]:
    """Read a layout file.

    Parameters
    ----------
    source : bytes
        CSV as `COLUMNS` says, a structure as JSON, ``{"units", "structure"}``, or a whole survey file.
    name : str
        The file's name: its stem names a structure read from CSV, and errors name it.
    units : str
        Unit of the lengths where the file does not state one.

    Raises
    ------
    SurveyFileError
        If it cannot be read; the message names the line and column, or the field.
    """
    if len(source) > MAX_BYTES:
        raise SurveyFileError(
            f"has {len(source)} bytes, more than {MAX_BYTES}.", place=name, remedy="Choose a layout file."
        )
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SurveyFileError(
            f"is not UTF-8 text ({error}).", place=name, remedy="Save it as CSV UTF-8, or as JSON."
        ) from error
    if text.lstrip().startswith(("{", "[")):
        return _from_json(text, name, units)
    members = _from_csv(text, name)
    stem = name.rsplit(".", 1)[0] or "Structure"
    return _checked({"name": stem, "members": members}, name), units


def _from_json(text: str, name: str, units: Units) -> tuple[Structure, Units]:
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SurveyFileError(f"is not valid JSON ({error}).", place=name) from error
    if isinstance(document, dict) and document.get("format") == FORMAT:
        survey = parse_survey(document, place=name)
        return survey.structure, survey.units
    if isinstance(document, dict) and "structure" in document:
        stated = document.get("units", units)
        if stated not in ("mm", "in"):
            raise SurveyFileError(f"'units' is {stated!r}.", place=name, remedy="Use 'mm' or 'in'.")
        return _checked(document["structure"], name), cast(Units, stated)
    return _checked(document, name), units


def _checked(document: Any, name: str) -> Structure:
    try:
        return Structure.model_validate_json(json.dumps(document))
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        where = _where(document, first["loc"])
        more = f" and {error.error_count() - 1} more" if error.error_count() > 1 else ""
        raise SurveyFileError(
            f"{where}: {first['msg']} (got {first['input']!r:.60}){more}.",
            place=name,
            remedy="Correct the file and choose it again.",
        ) from error


def _where(document: Any, steps: tuple[int | str, ...]) -> str:
    """Name a faulty field the way the file does: by the member's id instead of its number."""
    if len(steps) > 2 and steps[0] == "members":
        member = document["members"][steps[1]]
        shown = member.get("id", steps[1]) if isinstance(member, dict) else steps[1]
        return f"member {shown!r}, " + ".".join(str(step) for step in steps[2:])
    return ".".join(str(step) for step in steps) or "the structure"


class _Row:
    """One row of the CSV: its cells by column, its place for errors."""

    def __init__(self, cells: Mapping[str, str], place: str, *, decimal_comma: bool) -> None:
        self._cells = cells
        self.place = place
        self._comma = decimal_comma

    def text(self, column: str) -> str:
        return self._cells.get(column, "").strip()

    def needed(self, column: str) -> str:
        if not self.text(column):
            raise self.wrong(column, "is empty")
        return self.text(column)

    def number(self, column: str) -> float:
        return self._number(column, self.needed(column))

    def outline(self) -> list[tuple[float, float]]:
        written = self.text("outline")
        if not written:
            s0, s1, o0, o1 = (self.number(column) for column in _RECTANGLE)
            return [(s0, o0), (s1, o0), (s1, o1), (s0, o1)]
        corners = []
        for corner in filter(None, (part.strip() for part in written.split(";"))):
            pair = corner.split()
            if len(pair) != 2:
                raise self.wrong("outline", f"has {corner!r} where 'station offset' should be")
            corners.append((self._number("outline", pair[0]), self._number("outline", pair[1])))
        return corners

    def limit(self) -> Record | None:
        given = {
            key: self.number(f"limit_{key}") for key in ("fraction", "depth") if self.text(f"limit_{key}")
        }
        return {**given, "source": self.needed("limit_source")} if given else None

    def wrong(self, column: str, fault: str) -> SurveyFileError:
        return SurveyFileError(
            f"{column} {fault}.", place=self.place, remedy="Correct the cell and choose the file again."
        )

    def _number(self, column: str, written: str) -> float:
        try:
            return float(written.replace(",", ".") if self._comma else written)
        except ValueError as error:
            raise self.wrong(column, f"is {written!r:.40}, not a number") from error


def _from_csv(text: str, name: str) -> list[Record]:
    rows = _rows(text, name)
    members: dict[str, Record] = {}
    for row in rows:
        if (row.text("record") or "member") == "member":
            if row.needed("member") in members:
                raise row.wrong("member", f"{row.text('member')!r} is there twice")
            members[row.text("member")] = _member(row)
    if not members:
        raise SurveyFileError("has no row that is a member.", place=name, remedy="See the columns below.")
    for row in rows:
        _attach(row, members)
    return list(members.values())


def _rows(text: str, name: str) -> list[_Row]:
    head = text.lstrip("\r\n").partition("\n")[0]
    delimiter = max(";\t,", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    columns: list[str] = []
    rows: list[_Row] = []
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        if not columns:
            columns = _columns(cells, name)
            continue
        place = f"{name}, line {reader.line_num}"
        if len(rows) >= MAX_ROWS:
            raise SurveyFileError(f"more than {MAX_ROWS} rows.", place=place, remedy="Split the file.")
        rows.append(_Row(dict(zip(columns, cells, strict=False)), place, decimal_comma=delimiter != ","))
    return rows


def _columns(cells: list[str], name: str) -> list[str]:
    columns = [cell.strip().lower().replace(" ", "_") for cell in cells]
    unknown = [column for column in columns if column and column not in _KNOWN]
    if unknown or "member" not in columns:
        fault = f"column {unknown[0]!r} is not known" if unknown else "there is no column 'member'"
        raise SurveyFileError(
            f"{fault}.", place=f"{name}, first line", remedy="The columns are listed on the page."
        )
    return columns


def _member(row: _Row) -> Record:
    member: Record = {"id": row.text("member"), "thickness": row.number("thickness")}
    member |= {column: row.text(column) for column in _TEXTS if row.text(column)}
    if row.text("thickness_measured"):
        member["thickness_measured"] = row.number("thickness_measured")
    member["outline"] = row.outline()
    if (limit := row.limit()) is not None:
        member["limit"] = limit
    return member


def _limit_zone(row: _Row) -> Record:
    limit = row.limit()
    if limit is None:
        raise row.wrong("limit_fraction", "and limit_depth are both empty")
    return {"id": row.needed("id"), "outline": row.outline(), "limit": limit}


def _thickness_zone(row: _Row) -> Record:
    return {"id": row.needed("id"), "outline": row.outline(), "thickness": row.number("thickness")}


def _fastener(row: _Row) -> Record:
    return {"at": (row.number("station"), row.number("offset")), "diameter": row.number("diameter")}


def _station(row: _Row) -> Record:
    return {"label": row.needed("label"), "at": row.number("station")}


_PARTS: dict[str, tuple[str, Callable[[_Row], Record]]] = {
    "limit zone": ("limit_zones", _limit_zone),
    "thickness zone": ("thickness_zones", _thickness_zone),
    "fastener": ("fasteners", _fastener),
    "station": ("stations", _station),
}


def _attach(row: _Row, members: dict[str, Record]) -> None:
    kind = row.text("record").lower() or "member"
    if kind == "member":
        return
    if kind not in _PARTS:
        raise row.wrong("record", f"is {kind!r:.40}, not member, {', '.join(_PARTS)}")
    member = members.get(row.needed("member"))
    if member is None:
        raise row.wrong("member", f"{row.text('member')!r} has no row of its own")
    field, build = _PARTS[kind]
    member.setdefault(field, []).append(build(row))
