"""Warnings that make a photographer take the picture again. The thresholds are our own rule."""

from __future__ import annotations

import math

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from corrosion.photo import intake, load_picture, quality
from corrosion.photo.quality import BLURRED_BELOW, fit_within, quality_of_size
from tests.photo import files


def _texture(blur_px: float, *, mean: float = 120.0, deviation: float = 25.0) -> npt.NDArray[np.uint8]:
    """White texture of given mean and deviation, blurred by a Gaussian, 1024 x 768 px."""
    white = np.random.default_rng(11).standard_normal((768, 1024))
    if blur_px:
        white = cv2.GaussianBlur(white, (0, 0), blur_px)
    return np.clip(np.rint(white / white.std() * deviation + mean), 0, 255).astype(np.uint8)


def _sharpness_in_closed_form(blur_px: float) -> float:
    """Sharpness of white texture under a Gaussian of `blur_px`, from its autocorrelation.

    Smoothing adds variances, v = 1 + s^2, and leaves the autocorrelation exp(-r^2 / (4 v)). The variance
    of the five-point Laplacian is its kernel's own correlation (20, -8, 2, 1 at distances 0, 1, sqrt 2, 2)
    weighted with it. Taking away the mean over a box of side n leaves 1 - 2 a^2 + b^2 of the contrast,
    with a the mean correlation of the centre with a row of the box and b that of two places in a row.
    """
    v = 1.0 + blur_px**2
    near, diagonal, far = (math.exp(-r2 / (4.0 * v)) for r2 in (1.0, 2.0, 4.0))
    laplacian = 20.0 - 32.0 * near + 8.0 * diagonal + 4.0 * far
    n, root = 27.0, math.sqrt(4.0 * v)
    a = math.sqrt(math.pi) * root * math.erf(n / 2.0 / root) / n
    ends = 1.0 - math.exp(-((n / root) ** 2))
    b = (math.sqrt(math.pi) * n * root * math.erf(n / root) - root**2 * ends) / n**2
    return laplacian / (1.0 - 2.0 * a**2 + b**2)


@pytest.mark.parametrize("blur_px", [1.5, 2.0, 2.5, 3.0, 4.0])
def test_sharpness_of_blurred_white_texture(blur_px: float) -> None:
    """Blurred white texture has the sharpness that its autocorrelation gives in closed form.

    A picture of N pixels holds about N / (4 pi v) independent ones, 3700 at the worst here, so two
    variances and their ratio scatter by sqrt(2 / 3700) = 2.3 %; the bound is three times that.
    """
    expected = _sharpness_in_closed_form(blur_px)
    assert quality(_texture(blur_px)).sharpness == pytest.approx(expected, rel=0.07)


def test_threshold_is_the_blur_it_is_documented_to_be() -> None:
    """White texture crosses the threshold between 2.5 and 3.5 px of blur at the working size."""
    assert _sharpness_in_closed_form(2.5) > BLURRED_BELOW > _sharpness_in_closed_form(3.5)


def test_sharpness_falls_with_blur() -> None:
    """More blur is never sharper."""
    figures = [quality(_texture(blur)).sharpness for blur in (0.0, 1.0, 2.0, 3.0, 5.0)]
    assert figures == sorted(figures, reverse=True)


@pytest.mark.parametrize("gain", [0.4, 0.7])
def test_sharpness_does_not_depend_on_exposure(gain: float) -> None:
    """A darker print of the same scene has the same sharpness, within rounding to levels."""
    scene = _texture(2.0).astype(float)
    darker = np.rint(scene * gain).astype(np.uint8)
    assert quality(darker).sharpness == pytest.approx(quality(scene.astype(np.uint8)).sharpness, rel=0.03)


def _warned(grey: npt.NDArray[np.uint8]) -> set[str]:
    return {warning.split(" ")[0] for warning in quality(grey).warnings}


def test_good_picture_draws_no_warning() -> None:
    """A sharp, evenly lit picture of enough pixels passes in silence."""
    assert quality(_texture(0.7)).warnings == ()


def test_blurred_dark_blown_out_and_small_pictures_are_told_apart() -> None:
    """Each defect draws its own warning and no other."""
    assert _warned(_texture(5.0)) == {"blurred"}
    assert _warned(_texture(0.7, mean=25.0, deviation=4.0)) == {"dark"}
    blown = _texture(0.7)
    blown[:100] = 255
    assert _warned(blown) == {"blown"}
    assert _warned(_texture(0.7)[:300, :400]) == {"low"}


def test_flat_picture_has_no_sharpness() -> None:
    """Where there is no detail, sharpness is not a number and a person is told."""
    result = quality(np.full((600, 800), 120, np.uint8))
    assert np.isnan(result.sharpness)
    assert any("no detail" in warning for warning in result.warnings)


def test_shares_count_pixels() -> None:
    """Shares and mean are plain counts: a quarter black, a quarter white, half at level 100."""
    grey = np.full((400, 800), 100, np.uint8)
    grey[:, :200], grey[:, 600:] = 0, 255
    result = quality(grey)
    assert result.dark_share == 0.25
    assert result.clipped_share == 0.25
    assert result.exposure_mean == 0.5 * 100 + 0.25 * 255


def test_small_size_is_judged_on_the_photo_not_on_its_copy() -> None:
    """A reduced copy of a large photo is no low-resolution photo."""
    assert not any("low" in w for w in quality_of_size(_texture(0.7)[:300, :400], (4000, 3000)).warnings)


def test_picture_and_array_agree() -> None:
    """The same photo judged as a picture, as RGB and as grey gives the same figures."""
    data = files.encode(np.dstack([_texture(1.0)] * 3), "PNG")
    picture = load_picture(data)
    assert quality(picture) == quality(picture.pixels) == quality(picture.grey)
    assert intake(data).quality == quality(picture)


@pytest.mark.parametrize(
    ("shape", "wanted"),
    [((100, 50), (100, 50)), ((3000, 4000), (768, 1024)), ((1025, 1), (1024, 1)), ((2048, 3), (1024, 2))],
)
def test_shrinking_keeps_the_sides_in_proportion(shape: tuple[int, int], wanted: tuple[int, int]) -> None:
    """Copies never grow, never vanish and keep their proportions to the pixel."""
    assert fit_within(np.zeros(shape, np.uint8), 1024).shape == wanted
