"""Square markers on a real photo, measured by the known side of one another.

Photo: ``choriginal.jpg`` of the Debian package ``opencv-doc`` (4.6.0+dfsg-12, Apache-2.0), a board of 5 x 7
squares with markers of DICT_6X6_250 in its white squares. The tutorial it belongs to states squares of
0.04 and markers of 0.02: the size is nominal, so only their ratio is tested. Another place can be named by
the environment variable ``CORROSION_REFERENCE_PHOTOS``.
"""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import numpy as np

from corrosion.find import find_reference
from corrosion.model import TargetScale
from corrosion.photo import load_picture
from corrosion.scale import fit_scale
from tests.metrology.pinhole import survey_of
from tests.support import need

FOLDER = Path(os.environ.get("CORROSION_REFERENCE_PHOTOS", "/usr/share/doc/opencv-doc/opencv4/html"))
MARKER_MM, SQUARE_MM = 20.0, 40.0


def _photo() -> bytes | None:
    plain = FOLDER / "choriginal.jpg"
    packed = plain.with_name(plain.name + ".gz")
    if plain.is_file():
        return plain.read_bytes()
    return gzip.decompress(packed.read_bytes()) if packed.is_file() else None


def test_markers_on_a_real_photo_are_as_far_apart_as_stated() -> None:
    """Markers of 20 mm stand 2 squares of 40 mm apart in a row: to 2 %, with joint fit and no lens profile.

    2 % is twice the 0.3 px by which the edges of a marker of 28 px may bloom (metrology notes, 1.3).
    """
    data = _photo()
    need(data is not None, "the photo of the package opencv-doc is not installed")
    assert data is not None
    found = find_reference(load_picture(data), TargetScale(side=MARKER_MM, dictionary="6x6_250"))
    assert isinstance(found, TargetScale)
    photo, survey = survey_of(found.model_dump(mode="json"), [], size=(640, 480))
    scale = fit_scale(photo, survey)
    markers = np.array(found.image).reshape(-1, 4, 2)
    middles = np.array([scale.to_plane(corners).mean(axis=0) for corners in markers])
    apart = np.linalg.norm(middles[:, None] - middles, axis=2)
    in_a_row = apart[(apart > 1.6 * SQUARE_MM) & (apart < 2.2 * SQUARE_MM)]
    assert len(in_a_row) >= 6
    assert np.abs(in_a_row / (2 * SQUARE_MM) - 1).max() < 0.02
    # Diagonal neighbours: the root of 2 squares.
    diagonal = apart[(apart > 0) & (apart < 1.6 * SQUARE_MM)]
    assert np.abs(diagonal / (np.sqrt(2) * SQUARE_MM) - 1).max() < 0.02
