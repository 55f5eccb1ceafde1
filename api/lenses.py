"""Lens profiles for a survey: from photos of a board, or from one straight edge of a stored picture.

Nothing here is stored: a person looks at how well it fits, then puts the profile into the survey's head.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Sequence
from contextlib import aclosing
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api.context import Context
from api.errors import NotFoundError, RequestError
from api.multipart import Part, read_form
from api.photos import photo_limits
from api.repository import check
from api.uploads import clean_name
from corrosion.calibrate import (
    Binding,
    Board,
    BoardView,
    Calibration,
    calibrate_lens,
    distance_range,
    find_board,
    straighten,
)
from corrosion.errors import CorrosionError
from corrosion.model import LensProfile
from corrosion.model.base import Identifier, PlainPositiveLength, Text
from corrosion.photo import PhotoLimits, load_picture

MOST_PHOTOS = 100


class BoardForm(BaseModel):
    """The text fields of a calibration: the board, and what the profile is to hold for."""

    model_config = ConfigDict(extra="forbid")
    id: Identifier
    columns: int = Field(ge=3, le=100)
    rows: int = Field(ge=3, le=100)
    square: PlainPositiveLength
    marker: PlainPositiveLength | None = None
    dictionary: Text = "4x4_50"
    device: Text = ""
    adapter: Text = ""
    focus: Text = ""
    nearest: PlainPositiveLength | None = None
    furthest: PlainPositiveLength | None = None
    partial: bool = False

    @property
    def board(self) -> Board:
        """The board; `LensError` if it cannot be one."""
        return Board(self.columns, self.rows, self.square, self.marker, self.dictionary)

    @property
    def binding(self) -> Binding:
        """What the profile holds for; `LensError` if the distances are no range."""
        distances = distance_range(self.nearest, self.furthest, "form")
        note = f"board {self.columns}x{self.rows}, square {self.square:g}"
        return Binding(self.id, self.device, self.adapter, self.focus, distances, note)


@dataclass
class Boards:
    """What was found in the photos so far, in the order sent."""

    views: list[BoardView] = field(default_factory=list)
    missed: list[tuple[str, str]] = field(default_factory=list)
    size: tuple[int, int] | None = None

    def add(self, name: str, found: tuple[BoardView | None, tuple[int, int]] | CorrosionError) -> None:
        """Take in one photo; the first that is readable sets the size of all."""
        if isinstance(found, CorrosionError):
            self.missed.append((name, str(found)))
            return
        view, size = found
        self.size = self.size or size
        if size != self.size:
            words = f"it has {size[0]} x {size[1]} px, the others {self.size[0]} x {self.size[1]} px"
            self.missed.append((name, words))
        elif view is None:
            self.missed.append((name, "no board was found in it"))
        else:
            self.views.append(view)


async def calibrate_from_form(request: Request, context: Context) -> tuple[Calibration, Boards]:
    """Calibrate a lens from a form: its text fields (`BoardForm`) first, then photos of the board.

    Each photo is read while the next ones arrive, and dropped; only the corners are kept.

    Raises
    ------
    RequestError
        If the form has no photos, or a field after the first photo.
    InvalidError
        If a field breaks `BoardForm`.
    LensError
        If the profile would not be good enough; see `corrosion.calibrate.calibrate_lens`.
    """
    fields: dict[str, Any] = {}
    asked: BoardForm | None = None
    running: deque[tuple[str, asyncio.Future[Any]]] = deque()
    form = read_form(
        request,
        context.files,
        max_files=MOST_PHOTOS,
        limit_of=lambda _: context.settings.max_file_bytes,
    )
    boards = Boards()
    try:
        async with aclosing(form) as parts:
            async for part in parts:
                if part.file_name is None:
                    _take_field(part, fields, late=asked is not None)
                    continue
                try:
                    asked = asked or check(BoardForm, fields, path="form")
                    look = partial(_corners, part, asked.board, photo_limits(context.settings))
                except CorrosionError:
                    part.discard()
                    raise
                if len(running) > 2 * context.settings.workers:
                    await _settle(running, boards)
                future = asyncio.get_running_loop().run_in_executor(context.executor, look)
                running.append((clean_name(part.file_name), future))
    finally:
        while running:
            await _settle(running, boards)
    if asked is None:
        raise RequestError("the form holds no photos.", remedy="Add the photos of the board as files.")
    made = await run_in_threadpool(
        calibrate_lens, boards.views, boards.size or (1, 1), asked.binding, partial=asked.partial
    )
    return made, boards


async def _settle(running: deque[tuple[str, asyncio.Future[Any]]], boards: Boards) -> None:
    name, future = running.popleft()
    boards.add(name, await future)


def _take_field(part: Part, fields: dict[str, Any], *, late: bool) -> None:
    if late:
        raise RequestError(
            f"the field {part.name!r:.80} comes after a photo.", remedy="Send the fields before the photos."
        )
    if part.value.strip():
        fields[part.name] = part.value.strip()


def _corners(
    part: Part, board: Board, limits: PhotoLimits
) -> tuple[BoardView | None, tuple[int, int]] | CorrosionError:
    """Find the board in one received photo and remove the photo."""
    name = clean_name(part.file_name or "photo")
    try:
        if part.incoming is None:
            return RequestError(f"a calibration takes at most {MOST_PHOTOS} photos.")
        if not part.complete or part.incoming.too_large:
            return RequestError("it did not arrive whole, or is too large.")
        part.incoming.close()
        picture = load_picture(Path(part.incoming.path), limits=limits)
        return find_board(picture.grey, board, name), picture.header.size_px
    except CorrosionError as error:
        return error
    finally:
        part.discard()


def straightened(
    context: Context, photo_id: str, lens_id: str, edge_px: Sequence[tuple[float, float]]
) -> LensProfile:
    """Make a rough profile from points along one edge of a stored picture that is straight in fact.

    Raises
    ------
    NotFoundError
        If there is no such photo, or its picture is not here.
    LensError
        See `corrosion.calibrate.straighten`.
    """
    view = context.services.photo(photo_id)
    if view.picture is None:
        raise NotFoundError(
            "the photo's picture is not here yet.", place=f"photo {view.row.key}", remedy="Upload it first."
        )
    size = (view.picture.width, view.picture.height)
    device = str(view.row.document.get("device") or "")
    return straighten(np.asarray(edge_px, dtype=np.float64), size, name=lens_id, device=device)
