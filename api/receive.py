"""Taking uploads off the wire: pictures are worked on while the next ones still arrive."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Mapping
from contextlib import aclosing
from functools import partial
from typing import Any

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from api.context import Context
from api.errors import RequestError, TooLargeError
from api.multipart import Part, read_form
from api.services import SurveyView
from api.uploads import TakenFile, clean_name
from corrosion.errors import CorrosionError
from corrosion.model.files import MAX_FILE_BYTES

# Files received but not yet worked on, per worker; they wait on disk, not in memory.
QUEUED_PER_WORKER = 2
TAG_FIELDS = ("view", "zone", "member", "face", "station", "lens", "note", "taken")


class Intake:
    """Feeds complete files to the photo workers and collects what became of them, in order."""

    def __init__(self, context: Context, survey_id: str, *, only_matching: bool = False) -> None:
        self._context = context
        self._survey_id = survey_id
        self._only_matching = only_matching
        self._running: deque[asyncio.Task[TakenFile]] = deque()
        self._results: list[asyncio.Task[TakenFile]] = []

    async def add(self, part: Part, tags: Mapping[str, Any]) -> None:
        """Start on a file; wait first if too many are queued."""
        while len(self._running) >= QUEUED_PER_WORKER * self._context.settings.workers:
            await asyncio.wait({self._running.popleft()})
        before = self._results[-1] if self._results else None
        task = asyncio.create_task(self._take(part, dict(tags), before))
        self._running.append(task)
        self._results.append(task)

    async def _take(
        self, part: Part, tags: dict[str, Any], before: asyncio.Task[TakenFile] | None
    ) -> TakenFile:
        name = part.file_name or "photo"
        error = self._refusal(part)
        if error is not None or part.incoming is None:
            part.discard()
            size = part.incoming.size if part.incoming else 0
            return TakenFile(clean_name(name), "refused", size_bytes=size, error=error)
        uploads = self._context.uploads
        prepare = partial(uploads.prepare, part.incoming, name)
        prepared = await asyncio.get_running_loop().run_in_executor(self._context.executor, prepare)
        # Files are prepared side by side but entered in the order sent: that is the survey's order.
        if before is not None:
            await asyncio.wait({before})
        enter = partial(uploads.enter, self._survey_id, prepared, tags, only_matching=self._only_matching)
        return await run_in_threadpool(enter)

    def _refusal(self, part: Part) -> CorrosionError | None:
        place = clean_name(part.file_name or "photo")
        if part.incoming is None:
            return TooLargeError(
                f"the upload holds more than {self._context.settings.max_files} files.",
                place=place,
                remedy="Send this one in another upload.",
            )
        if not part.complete:
            return RequestError(
                "the upload broke off inside this file.", place=place, remedy="Send this file again."
            )
        return None

    async def results(self) -> list[TakenFile]:
        """Wait for all files; every one is settled before an unexpected failure is raised."""
        if self._results:
            await asyncio.wait(self._results)
        return [future.result() for future in self._results]


async def receive_photos(request: Request, context: Context, survey_id: str) -> list[TakenFile]:
    """Take the pictures of a form into a survey; text fields before them are tags for all of them."""
    tags: dict[str, Any] = {}
    checked = False
    intake = Intake(context, survey_id)
    await run_in_threadpool(context.uploads.check_tags, survey_id, {})
    form = read_form(
        request,
        context.files,
        max_files=context.settings.max_files,
        limit_of=lambda _: context.settings.max_file_bytes,
    )
    try:
        async with aclosing(form) as parts:
            async for part in parts:
                if part.file_name is None:
                    _take_tag(part, tags, checked=checked)
                    continue
                try:
                    if not checked:
                        await run_in_threadpool(context.uploads.check_tags, survey_id, tags)
                        checked = True
                except CorrosionError:
                    part.discard()
                    raise
                await intake.add(part, tags)
    finally:
        # Also when the sender went away: what arrived whole is kept.
        taken = await intake.results()
    if not taken:
        raise RequestError("the form holds no files.", remedy="Add the pictures as file parts of the form.")
    return taken


def _take_tag(part: Part, tags: dict[str, Any], *, checked: bool) -> None:
    if part.name not in TAG_FIELDS:
        raise RequestError(
            f"the form has a field {part.name!r:.80} that is not a tag.",
            remedy=f"Tags are {', '.join(TAG_FIELDS)}; pictures are sent as files.",
        )
    if checked:
        raise RequestError(
            f"the tag {part.name!r} comes after a file.",
            remedy="Send the tags before the files they are for.",
        )
    if part.value.strip():
        tags[part.name] = part.value.strip()


async def import_survey(
    request: Request, context: Context, structure_id: str | None
) -> tuple[SurveyView, list[TakenFile]]:
    """Import a survey file sent as JSON, or as a form with its pictures after it."""
    if not request.headers.get("content-type", "").startswith("multipart/"):
        body = await _limited_body(request)
        view = await run_in_threadpool(
            context.exchange.import_file, body, place="survey file", structure_id=structure_id
        )
        return view, []
    return await _import_form(request, context, structure_id)


async def _limited_body(request: Request) -> bytes:
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > MAX_FILE_BYTES:
            raise _survey_too_large()
    return bytes(body)


async def _import_form(
    request: Request, context: Context, structure_id: str | None
) -> tuple[SurveyView, list[TakenFile]]:
    view: SurveyView | None = None
    intake: Intake | None = None
    limits = {"survey": MAX_FILE_BYTES}
    largest = context.settings.max_file_bytes
    form = read_form(
        request,
        context.files,
        max_files=context.settings.max_files + 1,
        limit_of=lambda name: limits.get(name, largest),
    )
    try:
        async with aclosing(form) as parts:
            async for part in parts:
                if intake is not None:
                    await intake.add(part, {})
                    continue
                try:
                    source = await run_in_threadpool(_survey_part, part)
                finally:
                    part.discard()
                name = clean_name(part.file_name or "survey")
                view = await run_in_threadpool(
                    context.exchange.import_file, source, place=name, structure_id=structure_id
                )
                intake = Intake(context, view.row.id, only_matching=True)
    finally:
        taken = [] if intake is None else await intake.results()
    if view is None:
        raise _no_survey()
    return view, taken


def _survey_part(part: Part) -> bytes:
    if part.name != "survey" or not part.complete:
        raise _no_survey()
    if part.incoming is None:
        return bytes(part.text)
    if part.incoming.too_large:
        raise _survey_too_large()
    return part.incoming.path.read_bytes()


def _no_survey() -> RequestError:
    return RequestError(
        "the form does not begin with a complete part named 'survey'.",
        remedy="Send survey.json first, as 'survey', then the pictures.",
    )


def _survey_too_large() -> TooLargeError:
    return TooLargeError(
        f"the survey file has more than {MAX_FILE_BYTES} bytes.",
        remedy="A survey file holds no pictures; check that this is one.",
    )
