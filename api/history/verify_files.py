"""Verify that every original is in the picture store, its bytes what they were."""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.files import PictureFiles
from api.history.faults import StoreReport
from api.tables import Base, PhotoRow, PictureRow, SurveyRow
from corrosion.errors import StorageError
from corrosion.intake import Progress


def verify_files(session: Session, files: PictureFiles, report: StoreReport, progress: Progress) -> None:
    """Hash every stored original again; add what is wrong to the report."""
    wanted = _wanted(session)
    for done, (sha256, size) in enumerate(wanted.items(), start=1):
        problem = _problem(files, sha256, size)
        if problem:
            report.add("picture", _users(session, sha256), problem)
        report.files += 1
        report.size_bytes += size
        progress("pictures", done, len(wanted))


def _wanted(session: Session) -> dict[str, int]:
    """Every file that must be in the store with its size: originals, and files of archived records."""
    found = dict(_pairs(session, select(PictureRow.sha256, PictureRow.size_bytes)))
    records = Base.metadata.tables.get("record_files")
    if records is not None:
        found |= dict(_pairs(session, select(records.c.sha256, records.c.size)))
    return found


def _pairs(session: Session, statement: Any) -> list[tuple[str, int]]:
    return [(row[0], row[1]) for row in session.execute(statement)]


def _problem(files: PictureFiles, sha256: str, size: int) -> str:
    try:
        stored = files.size_of(sha256)
        computed = hashlib.sha256()
        for piece in files.stream(sha256, 0, stored):
            computed.update(piece)
    except StorageError as error:
        return error.problem
    if stored != size:
        return f"it has {stored} bytes, not {size}"
    if computed.hexdigest() != sha256:
        return "its bytes were changed: they no longer have its hash"
    return ""


def _users(session: Session, sha256: str) -> str:
    """Name a stored file by the photos that show it."""
    statement = (
        select(PhotoRow.key, SurveyRow.name)
        .join(SurveyRow, SurveyRow.id == PhotoRow.survey_id)
        .where(PhotoRow.picture_sha256 == sha256)
    )
    users = [f"photo {key!r} of survey {name!r}" for key, name in session.execute(statement)]
    return "; ".join([*users, f"file {sha256}"])
