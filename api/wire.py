"""Rows to wire forms."""

from __future__ import annotations

from typing import Any

from api.errors import problem_of
from api.repository import PartRow
from api.schemas import (
    FileResult,
    PhotoRecord,
    Picture,
    ReadingRecord,
    RemovalRecord,
    StructureRecord,
    StructureSummary,
    SurveyRecord,
    SurveySummary,
    WithdrawnRecord,
)
from api.services import PhotoView, SurveyView
from api.tables import PhotoRow, PictureRow, ReadingRow, RemovalRow, StructureRow
from api.uploads import TakenFile

WITHDRAWN_KINDS: dict[type[PartRow], str] = {
    PhotoRow: "photo",
    RemovalRow: "removal",
    ReadingRow: "reading",
}


def structure_record(row: StructureRow) -> StructureRecord:
    """Wire form of a structure."""
    return StructureRecord.model_validate(
        {
            "id": row.id,
            "version": row.version,
            "created": row.created,
            "units": row.units,
            "structure": row.document,
        }
    )


def structure_summary(row: StructureRow, surveys: int) -> StructureSummary:
    """Wire form of a structure in a list."""
    return StructureSummary.model_validate(
        {
            "id": row.id,
            "name": row.name,
            "units": row.units,
            "members": len(row.document["members"]),
            "surveys": surveys,
            "created": row.created,
        }
    )


def survey_record(view: SurveyView) -> SurveyRecord:
    """Wire form of a survey's head."""
    return SurveyRecord.model_validate(
        view.row.document
        | {
            "id": view.row.id,
            "version": view.row.version,
            "created": view.row.created,
            "structure_id": view.structure.id,
            "units": view.structure.units,
        }
    )


def survey_summary(view: SurveyView, photos: int, waiting: int) -> SurveySummary:
    """Wire form of a survey in a list."""
    return SurveySummary.model_validate(
        {
            "id": view.row.id,
            "structure_id": view.structure.id,
            "structure_name": view.structure.name,
            "name": view.row.name,
            "units": view.structure.units,
            "photos": photos,
            "waiting": waiting,
            "created": view.row.created,
        }
    )


def photo_record(view: PhotoView) -> PhotoRecord:
    """Wire form of a photo and its picture."""
    row = view.row
    return PhotoRecord.model_validate(
        {
            "id": row.id,
            "version": row.version,
            "survey_id": row.survey_id,
            "upload_name": row.upload_name,
            "created": row.created,
            "photo": row.document,
            "picture": None if view.picture is None else _picture(row.id, view.picture),
        }
    )


def file_result(taken: TakenFile) -> FileResult:
    """Wire form of what became of one uploaded file."""
    return FileResult(
        name=taken.name,
        status=taken.status,
        sha256=taken.sha256,
        size_bytes=taken.size_bytes,
        photo=None if taken.photo is None else photo_record(taken.photo),
        warnings=taken.warnings,
        problem=None if taken.error is None else problem_of(taken.error),
    )


def removal_record(row: RemovalRow) -> RemovalRecord:
    """Wire form of a removal entry."""
    return RemovalRecord.model_validate(
        {"id": row.id, "version": row.version, "survey_id": row.survey_id, "removal": row.document}
    )


def reading_record(row: ReadingRow) -> ReadingRecord:
    """Wire form of a thickness reading."""
    return ReadingRecord.model_validate(
        {"id": row.id, "version": row.version, "survey_id": row.survey_id, "reading": row.document}
    )


def withdrawn_record(row: PartRow) -> WithdrawnRecord:
    """Wire form of a withdrawn photo, removal or reading."""
    return WithdrawnRecord.model_validate(
        {
            "kind": WITHDRAWN_KINDS[type(row)],
            "id": row.id,
            "survey_id": row.survey_id,
            "created": row.created,
            "withdrawn_at": row.withdrawn_at,
            "reason": row.withdrawn_reason or "",
            "part": row.document,
        }
    )


def _picture(photo_id: str, row: PictureRow) -> Picture:
    base = f"/api/photos/{photo_id}"
    values: dict[str, Any] = {
        "sha256": row.sha256,
        "size_bytes": row.size_bytes,
        "media_type": row.media_type,
        "width": row.width,
        "height": row.height,
        "facts": row.facts,
        "original": f"{base}/original",
        "picture": f"{base}/picture",
        "preview": f"{base}/preview",
        "thumbnail": f"{base}/thumbnail",
    }
    return Picture.model_validate(values)
