"""Close-ups: every mark has one, at its place, from one decode of each photo, whatever the orientation."""

from __future__ import annotations

import io
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from corrosion.model import Photo, Settings
from corrosion.record import pictures
from corrosion.record.drawing import Traced, dashed, round_length
from corrosion.record.pictures import Studio
from corrosion.record.windows import ASPECT, CROP_PX, MOST, WHOLE_SHARE, close_ups
from corrosion.terms import MarkKind

SIZE = (4000, 3000)
DOT = np.array([250, 20, 20])
"""Red, as no mark is drawn."""


def square(name: str, x: float, y: float, half: float) -> Traced:
    """Trace a square pit."""
    ring = np.array(
        [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]
    )
    return Traced(name, MarkKind.PIT, [ring], closed=True)


@given(
    st.lists(st.tuples(st.floats(0, 3999), st.floats(0, 2999), st.floats(1, 900)), min_size=1, max_size=40)
)
def test_every_mark_is_in_its_close_up(places: list[tuple[float, float, float]]) -> None:
    """Windows are few, lie in the picture, and hold the marks they name, each named once."""
    marks = {f"P{n}": square(f"P{n}", *place) for n, place in enumerate(places)}
    windows = close_ups(list(marks.values()), SIZE)
    assert len(windows) <= MOST
    named = [name for window in windows for name in window.marks]
    assert len(named) == len(set(named))
    for name, mark in marks.items():
        wide = 1.6 * max(mark.box[2] - mark.box[0], ASPECT * (mark.box[3] - mark.box[1]))
        # What a close-up would show hardly larger is shown on the whole photo.
        assert (name in named) == (wide <= WHOLE_SHARE * SIZE[0])
    for window in windows:
        left, top, right, bottom = window.box
        # A hundredth of a pixel: rounding.
        assert left >= -0.01
        assert top >= -0.01
        assert right <= SIZE[0] + 0.01
        assert bottom <= SIZE[1] + 0.01
        for name in window.marks:
            x = (marks[name].box[0] + marks[name].box[2]) / 2
            y = (marks[name].box[1] + marks[name].box[3]) / 2
            assert left - 1 <= x <= right + 1
            assert top - 1 <= y <= bottom + 1


def spotted(orientation: int, at: tuple[int, int]) -> bytes:
    """Make a JPEG of 1600 x 1200 px upright with a red square of 40 px about `at`, stored turned."""
    pixels = np.full((1200, 1600, 3), 120, dtype=np.uint8)
    pixels[at[1] - 20 : at[1] + 20, at[0] - 20 : at[0] + 20] = DOT
    # EXIF orientation 6: to be turned clockwise for viewing (CIPA DC-008, tag 0112h; from memory).
    stored = np.rot90(pixels) if orientation == 6 else pixels
    exif = Image.Exif()
    exif[0x0112] = orientation
    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(stored)).save(stream, "JPEG", quality=95, exif=exif)
    return stream.getvalue()


def shoot(folder: Path, data: bytes | None, **parts: Any) -> tuple[pictures.Shot, dict[str, np.ndarray]]:
    """Make the pictures of one photo with one pit; give them by file name."""
    pit = {"id": "P1", "kind": "pit", "shape": {"type": "Circle", "center": [400, 300], "radius": 60}}
    photo = Photo.model_validate({"id": "f", "file": "f.jpg", "marks": [pit]} | parts)
    shot = Studio(folder, Settings(), "mm", {}).shoot(photo, 0, data)
    made = {path.name: np.asarray(Image.open(path)) for path in folder.iterdir()}
    return shot, made


@pytest.mark.parametrize("orientation", [1, 6])
def test_a_close_up_shows_the_place_of_its_mark(tmp_path: Path, orientation: int) -> None:
    """The red square under the mark is in the middle of the close-up, and in its place on the whole."""
    shot, made = shoot(tmp_path, spotted(orientation, (400, 300)))
    assert [one.marks for one in shot.closeups] == [["P1"]]
    assert shot.size_px == (1600, 1200)
    for file, middle in ((shot.closeups[0].file, (0.5, 0.5)), (shot.overview, (0.25, 0.25))):
        pixels = made[file].astype(int)
        red = (pixels[..., 0] > 180) & (pixels[..., 1] < 90)
        y, x = (float(places.mean()) for places in np.nonzero(red))
        # Two hundredths of the picture: JPEG blocks of 8 px at the square's edge.
        assert x / pixels.shape[1] == pytest.approx(middle[0], abs=0.02)
        assert y / pixels.shape[0] == pytest.approx(middle[1], abs=0.02)


def test_a_photo_is_decoded_once_and_no_larger_than_needed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A small mark asks for full size, a large one for a reduced decode, none for a small one."""
    asked: list[int] = []
    load = pictures.load_reduced

    def noted(data: bytes, header: Any, reduce: int) -> Any:
        asked.append(reduce)
        return load(data, header, reduce)

    monkeypatch.setattr(pictures, "load_reduced", noted)
    data = spotted(1, (400, 300))
    for marks in (
        [{"id": "P1", "kind": "pit", "shape": {"type": "Circle", "center": [400, 300], "radius": 60}}],
        [
            {
                "id": "P1",
                "kind": "affected",
                "shape": {"type": "Circle", "center": [800, 600], "radius": 500},
            }
        ],
        [],
    ):
        shoot(tmp_path, data, marks=marks)
    assert asked == [1, 2, 4]


def test_many_pictures_are_made_smaller() -> None:
    """A few have full width; of many, all pixels together stay within the budget, down to a least width."""
    pits = [
        {"id": f"P{n}", "kind": "pit", "shape": {"type": "Point", "coordinates": [9, 9]}} for n in range(5)
    ]
    photo = Photo.model_validate({"id": "f", "file": "f.jpg", "marks": pits})
    assert pictures.crop_width([photo] * 20) == CROP_PX
    width = pictures.crop_width([photo] * 200)
    # Six pictures of 4 : 3 for each photo.
    assert pictures.LEAST_CROP_PX < width < CROP_PX
    assert 200 * 6 * width**2 * 3 / 4 <= pictures.PIXEL_BUDGET
    assert pictures.crop_width([photo] * 9000) == pictures.LEAST_CROP_PX


def test_no_more_photos_are_held_than_threads(tmp_path: Path) -> None:
    """Two hundred photos are read one after the other: never more than two at a time are in memory."""
    lock, held, most = threading.Lock(), 0, 0
    data = spotted(1, (400, 300))

    class Watching(Studio):
        def shoot(self, photo: Photo, number: int, data: bytes | None) -> pictures.Shot:
            nonlocal held
            try:
                return pictures.Shot(photo.id)
            finally:
                with lock:
                    held -= 1

    def read(_: str) -> bytes:
        nonlocal held, most
        with lock:
            held += 1
            most = max(most, held)
        return data

    photos = [Photo.model_validate({"id": f"f{n}", "file": "f.jpg"}) for n in range(200)]
    shots = Watching(tmp_path, Settings(), "mm", {}).shoot_all(photos, read, threads=2)
    assert list(shots) == [photo.id for photo in photos]
    assert most <= 2


@given(st.floats(1e-3, 1e4), st.sampled_from(["mm", "in"]))
def test_scale_bars_have_round_lengths(most: float, unit: Any) -> None:
    """A bar is 1, 2 or 5 times a power of ten of its unit, and fills a third of its room or more."""
    length, words = round_length(most, unit)
    shown = float(words.split()[0])
    per = 25.4 if unit == "in" else 1.0
    assert length == pytest.approx(shown * per)
    assert f"{shown:e}"[0] in "125"
    assert most / 3.0 <= length <= most * (1.0 + 1e-6)


def test_dashes_follow_the_path() -> None:
    """A path of 100 px in dashes of 14 with gaps of 7 has five of them, all on the path (closed form)."""
    pieces = dashed(np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 40.0]]), 14.0, 7.0)
    assert len(pieces) == 5
    lengths = [float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()) for p in pieces]
    assert lengths == pytest.approx([14.0, 14.0, 14.0, 14.0, 14.0])
