"""The pictures of a report: every photo is decoded once, reduced as far as its close-ups allow.

A close-up shows one mark or a few near each other; the overview shows where in the photo it is.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from string import ascii_uppercase

import numpy as np
from PIL import Image

from corrosion.errors import CorrosionError
from corrosion.marks import outline_of
from corrosion.model import Photo, Settings
from corrosion.opencv import cv2
from corrosion.photo import DEFAULT_LIMITS, PhotoLimits, load_reduced, sha256_of
from corrosion.photo.header import inspect
from corrosion.photo.picture import UInt8Array
from corrosion.quantity import FloatArray
from corrosion.record.drawing import Box, Canvas, Traced
from corrosion.record.subject import Progress, Read, silent
from corrosion.record.windows import ASPECT, CROP_PX, MOST, Window, close_ups
from corrosion.results import MarkMeasures
from corrosion.units import LengthUnit

OVERVIEW_PX = 560
LEAST_CROP_PX = 320
PIXEL_BUDGET = 130e6
"""Pixels of all pictures together: the typesetter holds each of them decoded, three bytes to a pixel."""
THUMBNAIL_PX = 400
JPEG_QUALITY = 80
THREADS = 2
_REDUCTIONS = (8, 4, 2, 1)


@dataclass(frozen=True)
class CloseUp:
    """A close-up's letter, file and the marks it is for."""

    letter: str
    file: str
    marks: list[str]


@dataclass(frozen=True)
class Shot:
    """What the report shows of one photo.

    Attributes
    ----------
    overview : str
        File of the small whole picture; empty where there is none, `problem` then says why.
    closeups : list of CloseUp
    size_bytes, sha256
        Of the file as read now; None where it is not at hand.
    size_px : (width, height) or None
        Upright, where the file could be read.
    altered : bool
        The file is not the one that was marked; it is then not shown.
    """

    photo_id: str
    overview: str = ""
    closeups: list[CloseUp] = field(default_factory=list)
    size_bytes: int | None = None
    sha256: str | None = None
    size_px: tuple[int, int] | None = None
    altered: bool = False
    problem: str = ""


@dataclass(frozen=True)
class _Decoded:
    """A photo at work: upright BGR at one `reduce`-th of its full `size`."""

    photo: Photo
    pixels: UInt8Array
    reduce: int
    size: tuple[int, int]
    traced: list[Traced]

    @property
    def whole(self) -> Box:
        """All of it; where the size is no multiple of `reduce` the last pixels reach beyond the picture."""
        high, wide = self.pixels.shape[:2]
        return 0.0, 0.0, float(wide * self.reduce), float(high * self.reduce)

    def cut(self, box: Box, width: int) -> tuple[Image.Image, Box]:
        """Resample a window to a width; give also the window that was really cut, whole pixels of it.

        Only the window is copied: a copy of the whole photo for each close-up would take longer than to
        decode it.
        """
        high, wide = self.pixels.shape[:2]
        left, top = (max(math.floor(edge / self.reduce), 0) for edge in box[:2])
        right = min(math.ceil(box[2] / self.reduce), wide)
        bottom = min(math.ceil(box[3] / self.reduce), high)
        part = self.pixels[top:bottom, left:right]
        height = max(round(width * part.shape[0] / part.shape[1]), 1)
        how = cv2.INTER_AREA if part.shape[1] > width else cv2.INTER_CUBIC
        small = cv2.resize(part, (width, height), interpolation=how)
        image = Image.fromarray(cv2.cvtColor(small, cv2.COLOR_BGR2RGB))
        edges = (left, top, right, bottom)
        return image, (edges[0] * self.reduce, edges[1] * self.reduce, edges[2] * self.reduce,
                       edges[3] * self.reduce)  # fmt: skip


@dataclass(frozen=True)
class Studio:
    """Makes the pictures of a survey's photos.

    Attributes
    ----------
    folder : Path
        Where the pictures are written, so that memory holds only the photos at work.
    measures : mapping of (photo, mark) to MarkMeasures
        For the scale bars.
    crop_px : int
        Width of a close-up; overviews keep their size relative to it.
    """

    folder: Path
    settings: Settings
    unit: LengthUnit
    measures: dict[tuple[str, str], MarkMeasures]
    limits: PhotoLimits = DEFAULT_LIMITS
    crop_px: int = CROP_PX

    def shoot_all(
        self, photos: list[Photo], read: Read, progress: Progress = silent, *, threads: int = THREADS
    ) -> dict[str, Shot]:
        """Make the pictures of all photos; at most `threads` of them are in memory at a time."""
        shots: dict[str, Shot] = {}
        progress("photos", 0, len(photos))
        studio = replace(self, crop_px=crop_width(photos))

        def job(number: int) -> Shot:
            return studio.shoot(photos[number], number, read(photos[number].id))

        for shot in _in_turn(job, len(photos), threads):
            shots[shot.photo_id] = shot
            progress("photos", len(shots), len(photos))
        return shots

    def shoot(self, photo: Photo, number: int, data: bytes | None) -> Shot:
        """Make the pictures of one photo from its file's bytes; a photo that cannot be used says why."""
        if data is None:
            return Shot(photo.id, problem="The picture is not at hand.")
        read = Shot(photo.id, size_bytes=len(data), sha256=sha256_of(data))
        if photo.sha256 is not None and photo.sha256 != read.sha256:
            why = "This is not the picture that was marked: its SHA-256 differs. It is not shown."
            return replace(read, altered=True, problem=why)
        try:
            return self._pictures(read, photo, number, data)
        except CorrosionError as error:
            return replace(read, problem=str(error))

    def _pictures(self, read: Shot, photo: Photo, number: int, data: bytes) -> Shot:
        header = inspect(data, photo.file, self.limits)
        size = header.size_px
        traced = list(self._traced(photo, size))
        windows = close_ups(traced, size)
        full = OVERVIEW_PX if photo.marks or photo.scale else THUMBNAIL_PX
        wanted = round(full * self.crop_px / CROP_PX)
        room = min([max(size) / wanted, *(w.width / self.crop_px for w in windows)])
        reduce = next(step for step in _REDUCTIONS if step <= max(room, 1.0))
        decoded = _Decoded(photo, load_reduced(data, header, reduce), reduce, size, traced)
        listed = []
        for letter, window in zip(ascii_uppercase, windows, strict=False):
            file = f"photo-{number:05}-{letter.lower()}.jpg"
            self._save(self._close_up(decoded, window, letter), file)
            listed.append(CloseUp(letter, file, window.marks))
        file = f"photo-{number:05}.jpg"
        self._save(_overview(decoded, windows, wanted), file)
        return replace(read, overview=file, closeups=listed, size_px=size)

    def _save(self, image: Image.Image, file: str) -> None:
        image.save(self.folder / file, "JPEG", quality=JPEG_QUALITY)

    def _traced(self, photo: Photo, size: tuple[int, int]) -> Iterator[Traced]:
        for mark in photo.marks:
            try:
                outline = outline_of(mark, self.settings, size, f"mark {mark.id!r}")
            except CorrosionError:
                # It has told why in the assessment, and its row in the table tells it again.
                continue
            rings = [outline.points_px[ring] for ring in outline.rings] or [outline.points_px]
            yield Traced(mark.id, mark.kind, rings, outline.is_area)

    def _close_up(self, decoded: _Decoded, window: Window, letter: str) -> Image.Image:
        image, box = decoded.cut(window.box, self.crop_px)
        canvas = Canvas(image, box)
        if decoded.photo.scale is not None:
            canvas.reference(decoded.photo.scale)
        inside = [one for one in decoded.traced if _touches(one.box, box)]
        for one in inside:
            canvas.mark(one)
        canvas.corner(letter)
        scale = self._mm_per_px(decoded.photo, inside)
        if scale is not None:
            canvas.scale_bar(scale, self.unit)
        for one in inside:
            canvas.name(one.name, one.box)
        return image

    def _mm_per_px(self, photo: Photo, marks: Iterable[Traced]) -> float | None:
        """Scale at the marks, from how much larger their outlines are on the plane than in the picture."""
        found = []
        for one in marks:
            measured = self.measures.get((photo.id, one.name))
            if measured is None or measured.problem is not None or len(measured.outline_mm) < 2:
                continue
            spread = _spread(np.concatenate(one.rings))
            if spread > 0.0:
                found.append(_spread(measured.outline_mm) / spread)
        return float(np.median(found)) if found else None


def crop_width(photos: list[Photo]) -> int:
    """Give the width of close-ups at which all pictures keep within `PIXEL_BUDGET`, not below the least."""
    pictures = sum(1 + min(len(photo.marks), MOST) for photo in photos)
    most = math.sqrt(PIXEL_BUDGET * ASPECT / max(pictures, 1))
    return max(min(CROP_PX, math.floor(most)), LEAST_CROP_PX)


def _overview(decoded: _Decoded, windows: list[Window], wanted: int) -> Image.Image:
    wide, high = decoded.size
    width = max(round(wide * min(wanted / max(wide, high), 1.0)), 1)
    canvas_image, box = decoded.cut(decoded.whole, width)
    canvas = Canvas(canvas_image, box)
    if decoded.photo.scale is not None:
        canvas.reference(decoded.photo.scale)
    for one in decoded.traced:
        canvas.mark(one)
    for letter, window in zip(ascii_uppercase, windows, strict=False):
        canvas.frame(window.box, letter)
    for one in decoded.traced:
        if not any(_touches(one.box, window.box) for window in windows):
            canvas.name(one.name, one.box)
    return canvas_image


def _spread(points: FloatArray) -> float:
    """Root mean square distance of points from their mean."""
    return float(np.sqrt(((points - points.mean(axis=0)) ** 2).sum(axis=1).mean()))


def _in_turn(job: Callable[[int], Shot], count: int, threads: int) -> Iterator[Shot]:
    """Run jobs on a few threads and give their results in order, never more of them begun than that."""
    if threads <= 1:
        yield from (job(number) for number in range(count))
        return
    with ThreadPoolExecutor(threads, thread_name_prefix="report") as pool:
        running: deque[Future[Shot]] = deque()
        try:
            for number in range(count):
                running.append(pool.submit(job, number))
                if len(running) >= threads:
                    yield running.popleft().result()
            while running:
                yield running.popleft().result()
        finally:
            for future in running:
                future.cancel()


def _touches(box: Box, window: Box) -> bool:
    return box[0] < window[2] and window[0] < box[2] and box[1] < window[3] and window[1] < box[3]
