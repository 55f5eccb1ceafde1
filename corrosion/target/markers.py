"""Square markers: dictionaries by name, and a marker's picture as a grid of cells."""

from __future__ import annotations

from typing import Any

import numpy as np

from corrosion.errors import ScaleError
from corrosion.opencv import cv2


def dictionary_named(name: str, *, place: str = "") -> Any:
    """OpenCV's dictionary of markers for a name such as ``4x4_50`` or ``apriltag_36h11``.

    Raises
    ------
    ScaleError
        If there is none of that name.
    """
    wanted = name.strip().upper().removeprefix("DICT_")
    number = getattr(cv2.aruco, f"DICT_{wanted}", None)
    if number is None:
        # Some are spelt with a lower-case letter within: APRILTAG_36h11.
        every = {attribute.upper(): attribute for attribute in dir(cv2.aruco)}
        number = getattr(cv2.aruco, every.get(f"DICT_{wanted}", ""), None)
    if not isinstance(number, int):
        raise ScaleError(
            f"there is no dictionary of markers named {name!r}.",
            place=place,
            remedy="Name one such as '4x4_50', '5x5_100', '6x6_250' or 'apriltag_36h11'.",
        )
    return cv2.aruco.getPredefinedDictionary(number)


def cells(name: str, number: int) -> np.ndarray:
    """Cells of a marker with its black border, (n, n), True where black."""
    book = dictionary_named(name)
    n = int(book.markerSize) + 2
    picture = cv2.aruco.generateImageMarker(book, number, n)
    return np.asarray(picture) < 128
