"""Damaged files: whatever the bytes, the answer is a picture or an error of ours."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from corrosion.errors import PhotoError
from corrosion.photo import intake, load_picture
from tests.photo import files

# Library warnings about broken metadata are not what these tests are about.
pytestmark = pytest.mark.filterwarnings("ignore")


def _seeds() -> dict[str, bytes]:
    scene = files.noise(12, 16)
    image = Image.fromarray(scene)
    deep = np.random.default_rng(2).integers(0, 65536, (6, 5, 3)).astype(np.uint16)
    return {
        "jpeg": files.encode(scene, "JPEG", orientation=6),
        "progressive": files.save(image, "JPEG", progressive=True),
        "png": files.encode(scene, "PNG", orientation=3),
        "tiff": files.encode(scene, "TIFF", orientation=5),
        "tiff lzw": files.save(image, "TIFF", compression="tiff_lzw"),
        "tiff jpeg": files.save(image, "TIFF", compression="jpeg"),
        "tiff 16": files.tiff_16(deep, photometric=2),
        "webp": files.encode(scene, "WEBP", orientation=8),
        "webp lossy": files.save(image, "WEBP", quality=50),
        "heic": files.encode(scene, "HEIC", orientation=6),
    }


SEEDS = _seeds()
SLOW = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def _is_handled(data: bytes) -> None:
    for attempt in (load_picture, intake):
        try:
            result = attempt(data, name="f1")
        except PhotoError as error:
            refusal = error
        else:
            assert min(result.header.size_px) >= 1
            continue
        assert refusal.place == "f1"
        assert refusal.problem


@pytest.mark.parametrize("seed", SEEDS)
@SLOW
@given(
    changes=st.lists(
        st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), min_size=1, max_size=6
    )
)
def test_flipped_bytes_never_escape_the_error_tree(seed: str, changes: list[tuple[float, int]]) -> None:
    """Changed bytes give a picture or a `PhotoError` that names the photo, nothing else."""
    data = bytearray(SEEDS[seed])
    for where, mask in changes:
        data[int(where * len(data))] ^= mask
    _is_handled(bytes(data))


@pytest.mark.parametrize("seed", SEEDS)
@SLOW
@given(changes=st.lists(st.tuples(st.integers(0, 200), st.integers(0, 255)), min_size=1, max_size=4))
def test_flipped_header_bytes_never_escape_the_error_tree(
    seed: str, changes: list[tuple[int, int]]
) -> None:
    """The same where it hurts most: in the first two hundred bytes, where sizes and offsets are."""
    data = bytearray(SEEDS[seed])
    for where, value in changes:
        data[min(where, len(data) - 1)] = value
    _is_handled(bytes(data))


@pytest.mark.parametrize("seed", SEEDS)
@settings(max_examples=60, deadline=None)
@given(kept=st.floats(0, 1, exclude_max=True), tail=st.binary(max_size=40))
def test_cut_and_glued_files_never_escape_the_error_tree(seed: str, kept: float, tail: bytes) -> None:
    """A file cut anywhere, with anything behind the cut, is handled."""
    data = SEEDS[seed]
    _is_handled(data[: int(kept * len(data))] + tail)


@pytest.mark.parametrize("mask", [8, 255])
@pytest.mark.parametrize("seed", SEEDS)
def test_every_header_byte_in_turn_is_handled(seed: str, mask: int) -> None:
    """Each of the first 500 bytes changed alone: no single lie about size or place gets through."""
    for where in range(min(500, len(SEEDS[seed]))):
        data = bytearray(SEEDS[seed])
        data[where] ^= mask
        _is_handled(bytes(data))


@settings(max_examples=200, deadline=None)
@given(
    start=st.sampled_from(
        [b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"RIFF\0\0\0\0WEBP"]
    ),
    body=st.binary(max_size=300),
)
def test_noise_behind_a_signature_is_refused(start: bytes, body: bytes) -> None:
    """Random bytes, also behind the first bytes of a format, are handled."""
    _is_handled(start + body)


def test_seeds_are_pictures() -> None:
    """The files that are damaged here are themselves read, so that damage is what is tested."""
    for data in SEEDS.values():
        assert load_picture(data).pixels.shape[2] == 3
        assert len(Image.open(io.BytesIO(intake(data).preview_jpeg)).getbands()) == 3
