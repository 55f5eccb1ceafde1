"""Is the photo good enough to be measured? Plain warnings while the photographer is still there.

The thresholds are engineering rules of this project, not a standard. They warn; they never refuse: how
well a photo measures is told by the uncertainty of what is measured on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from corrosion.opencv import cv2
from corrosion.photo.picture import Picture, to_grey

WORKING_LONG_SIDE_PX = 1024
"""Sharpness is judged at this size, so that figures of different cameras compare."""

_NOISE_SIGMA_PX = 1.0
_LOCAL_WIDTH_PX = 27

BLURRED_BELOW = 0.02
"""Sharpness under which a photo is called blurred.

White texture blurred by a Gaussian of standard deviation s px at the working size has the sharpness
2 / (1 + s^2)^2; 0.02 is s = 3 px, that is 12 px in a picture 4000 px wide. Surfaces with less fine
texture reach the threshold at about s = 2 px.
"""

NO_DETAIL_BELOW = 1.0
"""Local contrast (variance, grey levels squared) under which there is nothing to judge sharpness by."""

DARK_LEVEL = 16
DARK_MEAN_BELOW = 30.0
DARK_SHARE_ABOVE = 0.75
"""Dark: mean under 30 of 255, or more than three quarters of the picture under level 16."""

CLIPPED_LEVEL = 250
CLIPPED_SHARE_ABOVE = 0.05
"""Blown out: more than a twentieth of the picture at level 250 or above."""

LOW_RESOLUTION_BELOW_PX = (640, 480)
"""Long and short side of the smallest picture that draws no warning."""


@dataclass(frozen=True)
class PhotoQuality:
    """Figures about a photo and what they mean.

    Attributes
    ----------
    sharpness : float
        Variance of the Laplacian over local contrast at a long side of 1024 px, dimensionless, >= 0;
        NaN where the picture has no detail to judge by.
    exposure_mean : float
        Mean grey level, 0 to 255.
    dark_share, clipped_share : float
        Share of the picture, 0 to 1, under `DARK_LEVEL` and from `CLIPPED_LEVEL` up.
    warnings : tuple of str
        What a photographer should do again.
    """

    sharpness: float
    exposure_mean: float
    dark_share: float
    clipped_share: float
    warnings: tuple[str, ...]


def quality(picture: Picture | npt.NDArray[np.uint8]) -> PhotoQuality:
    """Judge sharpness, exposure and resolution.

    Parameters
    ----------
    picture : Picture, or ndarray of shape (H, W) or (H, W, 3), uint8
        RGB or grey.

    Returns
    -------
    PhotoQuality
    """
    grey = picture.grey if isinstance(picture, Picture) else to_grey(picture)
    return quality_of_size(grey, (grey.shape[1], grey.shape[0]))


def quality_of_size(grey: npt.NDArray[np.uint8], size_px: tuple[int, int]) -> PhotoQuality:
    """Judge a reduced copy `grey` of a picture whose full size is `size_px` (width, height)."""
    small = fit_within(grey, WORKING_LONG_SIDE_PX)
    sharpness = _sharpness(small)
    mean = float(small.mean())
    dark = float(np.mean(small < DARK_LEVEL))
    clipped = float(np.mean(small >= CLIPPED_LEVEL))
    warnings = _warnings(sharpness, mean, dark, clipped) + _size_warnings(size_px)
    return PhotoQuality(sharpness, mean, dark, clipped, warnings)


def fit_within(
    pixels: npt.NDArray[np.uint8], long_side: int, *, interpolation: int = cv2.INTER_AREA
) -> npt.NDArray[np.uint8]:
    """Shrink a picture so that its long side is at most `long_side` px; never enlarge."""
    height, width = pixels.shape[:2]
    factor = long_side / max(height, width)
    if factor >= 1.0:
        return pixels
    size = max(1, round(width * factor)), max(1, round(height * factor))
    return np.asarray(cv2.resize(pixels, size, interpolation=interpolation), dtype=np.uint8)


def _sharpness(grey: npt.NDArray[np.uint8]) -> float:
    """Variance of the Laplacian over local contrast.

    A first smoothing keeps sensor noise from passing for detail. Dividing by the contrast that is left
    after taking away the mean of the neighbourhood makes the figure independent of exposure and of the
    fall-off of a flashlight.
    """
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), _NOISE_SIGMA_PX)
    local = smooth - cv2.blur(smooth, (_LOCAL_WIDTH_PX, _LOCAL_WIDTH_PX))
    contrast = float(np.var(local))
    if contrast < NO_DETAIL_BELOW:
        return float("nan")
    return float(np.var(cv2.Laplacian(smooth, cv2.CV_32F))) / contrast


def _warnings(sharpness: float, mean: float, dark: float, clipped: float) -> tuple[str, ...]:
    found = []
    if np.isnan(sharpness):
        found.append("no detail in the picture: sharpness cannot be judged")
    elif sharpness < BLURRED_BELOW:
        found.append(f"blurred (sharpness {sharpness:.3f}): steady the camera or focus again")
    if mean < DARK_MEAN_BELOW or dark > DARK_SHARE_ABOVE:
        found.append(f"dark (mean {mean:.0f} of 255, {dark:.0%} nearly black): bring more light")
    if clipped > CLIPPED_SHARE_ABOVE:
        found.append(f"blown out ({clipped:.0%} white): turn the light aside or expose less")
    return tuple(found)


def _size_warnings(size_px: tuple[int, int]) -> tuple[str, ...]:
    if max(size_px) >= LOW_RESOLUTION_BELOW_PX[0] and min(size_px) >= LOW_RESOLUTION_BELOW_PX[1]:
        return ()
    return (
        f"low resolution ({size_px[0]} x {size_px[1]} px): take the picture itself, not a preview of it",
    )
