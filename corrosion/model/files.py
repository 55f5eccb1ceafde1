"""Reading and writing survey files, and the one conversion from their unit to millimetres."""

from __future__ import annotations

import json
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from corrosion.errors import SurveyFileError
from corrosion.model.base import InFileUnits
from corrosion.model.survey import FORMAT, VERSION, SurveyFile
from corrosion.units import LengthUnit, mm_per

MAX_FILE_BYTES = 64 * 1024 * 1024
_NOT_LENGTHS = frozenset({"angle_deg", "type"})


def load_survey(path: Path | str) -> SurveyFile:
    """Read a survey file from disk, in its own unit.

    Raises
    ------
    SurveyFileError
        If it cannot be read, is not JSON, is of another format or version, or breaks the schema; the
        message names the path of every bad field.
    """
    file = Path(path)
    try:
        if file.stat().st_size > MAX_FILE_BYTES:
            raise SurveyFileError(
                f"the file has {file.stat().st_size} bytes, more than {MAX_FILE_BYTES}.",
                place=str(path),
                remedy="A survey file holds no pictures; check that this is one.",
            )
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SurveyFileError(
            f"cannot be read ({error}).", place=str(path), remedy="Check the path and the encoding."
        ) from error
    return parse_survey(text, place=str(path))


def parse_survey(source: str | bytes | dict[str, Any], *, place: str = "survey") -> SurveyFile:
    """Check JSON text, or an already parsed document, against the survey format.

    Raises
    ------
    SurveyFileError
        See `load_survey`.
    """
    document = source if isinstance(source, dict) else _read_json(source, place)
    if not isinstance(document, dict):
        raise SurveyFileError("the document is not a JSON object.", place=place)
    if document.get("format") != FORMAT:
        raise SurveyFileError(
            f"'format' is {document.get('format')!r}, not {FORMAT!r}.",
            place=place,
            remedy="This is not a survey file; 'corrosion schema' prints what one looks like.",
        )
    # In Python True equals 1.
    if document.get("version") != VERSION or document["version"] is True:
        raise SurveyFileError(
            f"'version' is {document.get('version')!r}; this program reads version {VERSION}.",
            place=place,
            remedy="Use the release of the program that wrote the file.",
        )
    try:
        return SurveyFile.model_validate_json(json.dumps(document), strict=True)
    except ValidationError as error:
        raise SurveyFileError(
            _explain(error),
            place=place,
            remedy="Correct these fields; 'corrosion schema' has the format.",
        ) from error
    except RecursionError as error:
        raise SurveyFileError("the document is nested too deeply.", place=place) from error


def _read_json(source: str | bytes, place: str) -> Any:
    try:
        return json.loads(source, parse_constant=_refuse_constant, object_pairs_hook=_refuse_repeated_keys)
    except (ValueError, RecursionError) as error:
        raise SurveyFileError(
            f"is not valid JSON ({error}).",
            place=place,
            remedy="Each key once, and no NaN or Infinity: they are not JSON.",
        ) from error


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not a JSON number")


def _refuse_repeated_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {key!r} occurs twice in one object")
        found[key] = value
    return found


def _explain(error: ValidationError) -> str:
    lines = []
    for item in error.errors(include_url=False, include_context=False)[:20]:
        where = ".".join(str(step) for step in item["loc"]) or "document"
        shown = "" if isinstance(item["input"], (dict, list)) else f" (got {item['input']!r:.60})"
        lines.append(f"{where}: {item['msg']}{shown}")
    more = error.error_count() - len(lines)
    return "; ".join(lines) + (f"; and {more} more" if more > 0 else "") + "."


def dump_survey(survey: SurveyFile) -> str:
    """Write a survey as JSON text; `parse_survey` gives the same survey back.

    Fields that hold their default are left out, so that a file stays as short as a person wrote it.
    """
    body = survey.model_dump(mode="json", exclude_defaults=True)
    ordered = {"format": FORMAT, "version": VERSION, "units": survey.units} | body
    return json.dumps(_keep_tags(survey, ordered), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _keep_tags(value: Any, dumped: Any) -> Any:
    """Put back the discriminators (`type`, `kind`) that `exclude_defaults` dropped."""
    if isinstance(value, BaseModel) and isinstance(dumped, dict):
        kept = {
            name: getattr(value, name)
            for name in ("type", "kind")
            if name in type(value).model_fields and isinstance(getattr(value, name), str)
        }
        kept = {name: str(tag) for name, tag in kept.items()}
        return kept | {name: _keep_tags(getattr(value, name, None), part) for name, part in dumped.items()}
    if isinstance(value, (list, tuple)) and isinstance(dumped, list):
        return [_keep_tags(a, b) for a, b in zip(value, dumped, strict=True)]
    return dumped


def survey_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the survey file."""
    schema = SurveyFile.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | schema


def in_millimetres(survey: SurveyFile) -> SurveyFile:
    """Return the survey with every length in mm and `units` set to ``mm``.

    The display unit is kept: an inch file still shows inches.
    """
    shown = survey.display_units or survey.units
    factor = mm_per(survey.units)
    in_mm = survey if factor == 1.0 else _convert(survey, factor)
    return in_mm.model_copy(update={"units": "mm", "display_units": shown})


Model = TypeVar("Model", bound=BaseModel)


def from_millimetres(part: Model, units: LengthUnit) -> Model:
    """Return a part of a survey whose lengths are in mm with every length in another unit."""
    return part if units == "mm" else _convert(part, 1.0 / mm_per(units))


def _convert(part: Model, factor: float) -> Model:
    """Copy a model, multiplying every field marked `InFileUnits` by ``factor ** power``."""
    update: dict[str, Any] = {}
    for name, info in type(part).model_fields.items():
        value = getattr(part, name)
        power = _power_of(info.annotation, info.metadata)
        update[name] = _scale(value, factor**power) if power else _descend(value, factor)
    return part.model_copy(update=update)


def _descend(value: Any, factor: float) -> Any:
    if isinstance(value, BaseModel):
        return _convert(value, factor)
    if isinstance(value, (list, tuple)):
        return type(value)(_descend(item, factor) for item in value)
    return value


def _scale(value: Any, factor: float) -> Any:
    """Multiply all numbers in a value, a nest of lists, or a shape (but not its angle)."""
    if isinstance(value, BaseModel):
        return value.model_copy(
            update={
                name: _scale(getattr(value, name), factor)
                for name in type(value).model_fields
                if name not in _NOT_LENGTHS
            }
        )
    if isinstance(value, (list, tuple)):
        return type(value)(_scale(item, factor) for item in value)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return value * factor
    return value


def _power_of(annotation: Any, metadata: list[Any]) -> int:
    """Find the `InFileUnits` of a field, also inside ``X | None`` and ``list[X]``."""
    for mark in _marks(annotation, metadata):
        return mark.power
    return 0


def _marks(annotation: Any, metadata: list[Any]) -> Iterator[InFileUnits]:
    yield from (m for m in metadata if isinstance(m, InFileUnits))
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *extra = get_args(annotation)
        yield from _marks(inner, list(extra))
    elif origin in (Union, types.UnionType, list, tuple):
        for arg in get_args(annotation):
            if arg is not type(None):
                yield from _marks(arg, [])
