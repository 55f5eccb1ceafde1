"""Archives: a survey as one bag to download, and a bag to import."""

from __future__ import annotations

import os
import secrets
from collections.abc import AsyncIterator, Iterator
from contextlib import aclosing, suppress
from enum import StrEnum
from functools import partial
from pathlib import Path as FilePath
from typing import IO, Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse

from api import wire
from api.archive_import import too_large
from api.archiving import Collected, Options
from api.context import Context, ContextDep, etag
from api.downloads import attachment, serve_bytes
from api.errors import RequestError
from api.files import Incoming
from api.multipart import read_form
from api.routes import problems
from api.schemas import EXAMPLE_SHA256, SurveyRecord, Wire
from corrosion.archive import BagForm
from corrosion.errors import CorrosionError

router = APIRouter(tags=["archives"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
PIECE = 256 * 1024
ZIP = "application/zip"
IMPORT_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            ZIP: {
                "schema": {"type": "string", "format": "binary", "description": "The bag as a zip."},
                "example": "survey-1f0c2a9b.zip",
            },
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["bag"],
                    "properties": {"bag": {"type": "string", "format": "binary"}},
                },
                "example": {"bag": "survey-1f0c2a9b.zip"},
            },
        },
    }
}


class ReportPaper(StrEnum):
    """Paper of the report in an archive, or none."""

    A4 = "a4"
    LETTER = "letter"
    NONE = "none"


class ArchivedFile(Wire):
    """A file of the archive that a survey was imported from."""

    path: Annotated[str, Field(description="Below the bag's data/.", examples=["history.jsonl"])]
    size_bytes: int
    sha256: Annotated[str, Field(examples=[EXAMPLE_SHA256])]


class ArchiveImport(Wire):
    """A survey that came in with an archive."""

    survey: SurveyRecord
    files: Annotated[int, Field(description="Files of the archive's payload.")]
    size_bytes: Annotated[int, Field(description="Their bytes.")]
    signature: Annotated[
        str,
        Field(
            description="`none`, or `unknown`: the signature holds, by a key that only you can vouch for.",
            examples=["unknown"],
        ),
    ]
    fingerprint: Annotated[str, Field(description="Of the key that signed the archive; may be empty.")]
    notes: Annotated[list[str], Field(description="What is worth knowing and not wrong.")]


@router.get(
    "/surveys/{survey_id}/archive",
    summary="Download a survey's archive",
    response_class=Response,
    responses=problems(404, 409, 422, 503)
    | {200: {"description": "The bag as a zip.", "content": {ZIP: {"schema": {"type": "string"}}}}},
)
def download_archive(
    survey_id: SurveyId,
    context: ContextDep,
    paper: Annotated[ReportPaper, Query(description="Paper of the report; none leaves it out.")] = (
        ReportPaper.A4
    ),
    incomplete: Annotated[
        bool, Query(description="Go on although originals are missing; the archive says which.")
    ] = False,
) -> Response:
    """Download everything of a survey as one bag (BagIt, RFC 8493): originals, survey file, report, record.

    Checksums of every file are in it, so that it can be verified years later without this program. The
    archive is made whole before the download begins. A survey that was imported from an archive and not
    changed since gives the same payload again, file by file.
    """
    return archive_answer(
        context, survey_id, Options("" if paper is ReportPaper.NONE else paper, incomplete)
    )


def archive_answer(context: Context, survey_id: str, options: Options) -> Response:
    """Make a survey's archive and answer with it."""
    collected = context.archives.collect(survey_id, options)
    file = _made(context, collected)
    headers = {
        "Content-Length": str(os.fstat(file.fileno()).st_size),
        "Content-Disposition": attachment(f"{collected.name}.zip"),
        "Cache-Control": "private, no-cache",
    }
    return StreamingResponse(_sent(file), media_type=ZIP, headers=headers)


def _made(context: Context, collected: Collected) -> IO[bytes]:
    """Write the zip and open it. Its name is gone at once, so that nothing stays however this ends."""
    # Ends in .part: the next start removes it where an open file could not be unlinked.
    path = context.settings.data_dir / "incoming" / f"archive-{secrets.token_hex(8)}.part"
    try:
        context.archives.write(collected, path, BagForm.ZIP)
        return path.open("rb")
    finally:
        # Windows keeps the name of an open file.
        with suppress(PermissionError):
            path.unlink(missing_ok=True)


def _sent(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while data := file.read(PIECE):
            yield data


@router.get(
    "/surveys/{survey_id}/archived", summary="List what a survey came with", responses=problems(404)
)
def list_archived(survey_id: SurveyId, context: ContextDep) -> list[ArchivedFile]:
    """List the files of the archive a survey was imported from: its origin's history, report, record.

    They are kept as they came, whatever is done to the survey here; none for a survey entered here.
    """
    return [
        ArchivedFile(path=row.path, size_bytes=row.size, sha256=row.sha256)
        for row in context.archives.came_with(survey_id)
    ]


@router.get(
    "/surveys/{survey_id}/archived/{path:path}",
    summary="Download a file a survey came with",
    response_class=Response,
    responses=problems(404, 416, 503)
    | {200: {"description": "The bytes.", "content": {"application/octet-stream": {}}}},
)
def download_archived(
    survey_id: SurveyId,
    path: Annotated[str, Path(description="Path of the file, as listed.")],
    request: Request,
    context: ContextDep,
) -> Response:
    """Download one of these files. A browser saves it and never shows it: it comes from elsewhere."""
    row = context.archives.file_it_came_with(survey_id, path)
    return serve_bytes(
        request,
        partial(context.files.stream, row.sha256),
        total=row.size,
        media_type="application/octet-stream",
        tag=f'"{row.sha256}"',
        disposition=attachment(row.path.rpartition("/")[2]),
    )


@router.post(
    "/archives",
    status_code=201,
    summary="Import an archive",
    responses=problems(400, 403, 404, 409, 413, 422, 503),
    openapi_extra=IMPORT_BODY,
)
async def import_archive(
    request: Request,
    response: Response,
    context: ContextDep,
    structure_id: Annotated[
        str | None, Query(description="Structure it belongs to; must equal the bag's. New one if unset.")
    ] = None,
) -> ArchiveImport:
    """Import a bag, as a zip in the body or as the file `bag` of a form.

    The bag is verified first: every checksum, every photo against the survey file, the seal. If anything
    is wrong it is refused, `errors` names every file and what is wrong with it, and nothing is stored. A
    sealed survey comes in sealed, with its signatures; the history of its origin is kept with it.
    """
    incoming = await received(request, context)
    try:
        done = await run_in_threadpool(
            context.bag_imports.take_in, FilePath(incoming.path), structure_id=structure_id
        )
    finally:
        incoming.discard()
    etag(response, done.view.row.version)
    response.headers["Location"] = f"/api/surveys/{done.view.row.id}"
    return ArchiveImport(
        survey=wire.survey_record(done.view),
        files=done.report.files,
        size_bytes=done.report.size_bytes,
        signature=done.report.signature.state,
        fingerprint=done.report.signature.fingerprint,
        notes=done.notes,
    )


async def received(request: Request, context: Context) -> Incoming:
    """Take an archive sent as the body, or as the file `bag` of a form, onto the disk piece by piece."""
    limit = context.settings.max_upload_bytes
    if request.headers.get("content-type", "").startswith("multipart/"):
        incoming = await _form_file(request, context, limit)
    else:
        incoming = context.files.receive(limit)
        try:
            async for data in _body(request):
                await run_in_threadpool(incoming.write, data)
        except BaseException:
            incoming.discard()
            raise
    incoming.close()
    if incoming.too_large or not incoming.size:
        incoming.discard()
        raise too_large(limit) if incoming.size else _no_bag()
    return incoming


async def _body(request: Request) -> AsyncIterator[bytes]:
    """Yield the body in larger pieces than the network's."""
    waiting = bytearray()
    async for data in request.stream():
        waiting += data
        if len(waiting) >= PIECE:
            yield bytes(waiting)
            waiting.clear()
    yield bytes(waiting)


async def _form_file(request: Request, context: Context, limit: int) -> Incoming:
    found: Incoming | None = None
    form = read_form(request, context.files, max_files=1, limit_of=lambda _name: limit)
    try:
        async with aclosing(form) as parts:
            async for part in parts:
                if part.incoming is None:
                    continue
                if part.name != "bag" or not part.complete or found is not None:
                    part.discard()
                    raise _no_bag()
                found = part.incoming
    except CorrosionError:
        if found is not None:
            found.discard()
        raise
    if found is None:
        raise _no_bag()
    return found


def _no_bag() -> RequestError:
    return RequestError(
        "the request holds no complete archive.",
        remedy="Send the zip as the body (application/zip), or as the file 'bag' of a form.",
    )
