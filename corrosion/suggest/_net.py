"""A small convolutional net's opinion on where a picture looks like the inside of a pit.

192,000 weights, trained by ``tests/suggest/train.py`` on this project's own drawn and rendered pictures
alone. It sees patterns the other features cannot tell (a rough floor from flat bare metal, a hole from a
dome), but it knows drawn and rendered pits, not real ones: it is one feature among others, never the
decision itself.
"""

from __future__ import annotations

import threading
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corrosion.opencv import cv2

Plane = NDArray[np.float32]
MIDDLE = np.array([50.0, 0.0, 0.0], np.float32)
SCALE = np.array([40.0, 20.0, 20.0], np.float32)
"""L*a*b* is moved and divided by these before it goes in, as in training."""
STRIDE = 16
"""The net halves the picture four times: its sides have to be multiples of this."""
_ONE_AT_A_TIME = threading.Lock()
"""A net of OpenCV keeps its intermediate results in itself."""


@cache
def _net() -> Any:
    weights = files("corrosion.suggest").joinpath("pit_net.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))


def pit_likeness(level: Plane) -> Plane:
    """Likeness of each pixel to the inside of a pit of 9 to 125 px across.

    Parameters
    ----------
    level : ndarray of shape (H, W, 3), float32
        CIE L*a*b*.

    Returns
    -------
    ndarray of shape (H, W), float32
        0 to 1. Made at half the resolution.
    """
    height, width = level.shape[:2]
    right, below = -width % STRIDE + STRIDE, -height % STRIDE + STRIDE
    padded = cv2.copyMakeBorder((level - MIDDLE) / SCALE, 0, below, 0, right, cv2.BORDER_REPLICATE)
    blob = np.ascontiguousarray(padded.transpose(2, 0, 1)[None], np.float32)
    with _ONE_AT_A_TIME:
        net = _net()
        net.setInput(blob)
        odds = np.array(net.forward()[0, 0], np.float32)
    size = (padded.shape[1], padded.shape[0])
    whole = cv2.resize(1.0 / (1.0 + np.exp(-odds)), size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(whole[:height, :width], np.float32)
