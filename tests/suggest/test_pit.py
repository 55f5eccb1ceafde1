"""One click outlines a pit: against exact outlines, and against the picture's own symmetries."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from corrosion.errors import MarkError
from corrosion.suggest import Suggestion, outline_pit
from corrosion.terms import MarkKind
from tests.suggest.support import CLICK, Pixels, apart, area, one_pit, overlap, plain_disc


def click(pixels: Pixels, at: tuple[float, float] = CLICK, **sizes: float) -> Suggestion:
    """Outline with a largest size that fits the small pictures."""
    return outline_pit(pixels, at, **{"largest_px": 110.0, "smallest_px": 12.0} | sizes)


@pytest.mark.parametrize(("inside", "outside"), [(60, 170), (190, 90)], ids=["dark", "bright"])
@pytest.mark.parametrize("radius", [8.0, 20.0, 40.0])
def test_a_plain_disc_is_outlined_to_a_pixel(inside: float, outside: float, radius: float) -> None:
    """A disc of either polarity: area within the band one pixel of edge either way leaves."""
    pixels, rim = plain_disc(201, radius, inside, outside)
    found = click(pixels, (101.0, 98.5))
    assert apart(found.outline_px, rim) < 1.0 + 0.06 * radius
    assert area(found.outline_px) == pytest.approx(np.pi * radius**2, rel=2.0 / radius)


@pytest.mark.parametrize("primed", [False, True], ids=["bare", "stripped primer"])
def test_a_drawn_pit_is_outlined(primed: bool) -> None:
    """On bare grain and in a stripped patch of primer the pit is found, not the grain and not the patch."""
    pixels, truth = one_pit(primed=primed)
    found = click(pixels, (CLICK[0] + 4, CLICK[1] - 3))
    # 0.75: a common offset of 1.5 px on a pit of 24 px radius takes 12 % of the union either way.
    assert overlap(found.outline_px, truth) > 0.75
    assert found.kind is MarkKind.PIT


def test_a_quarter_turn_turns_the_outline() -> None:
    """Rotating the picture by 90 degrees rotates the outline: no direction is special."""
    pixels, _ = one_pit()
    straight = click(pixels).outline_px
    turned = click(np.rot90(pixels).copy(), (CLICK[1], 279.0 - CLICK[0])).outline_px
    back = np.column_stack([279.0 - turned[:, 1], turned[:, 0]])
    assert apart(back, straight) < 1.0


def test_a_shift_shifts_the_outline() -> None:
    """Cutting off a margin moves the outline by exactly that; the window round the click decides."""
    pixels, _ = one_pit()
    whole = click(pixels, largest_px=60.0).outline_px
    cut = click(pixels[16:, 8:].copy(), (CLICK[0] - 8, CLICK[1] - 16), largest_px=60.0).outline_px
    assert apart(cut + np.array([8.0, 16.0]), whole) < 1.0


def test_grey_and_rgb_of_one_grey_agree() -> None:
    """A grey picture is its own RGB."""
    pixels, _ = plain_disc(160, 20, 60, 160)
    rgb = np.repeat(pixels[:, :, None], 3, axis=2)
    assert np.array_equal(click(pixels, (80, 80)).outline_px, click(rgb, (80, 80)).outline_px)


def test_the_same_click_gives_the_same_outline() -> None:
    """Nothing is drawn by chance."""
    pixels, _ = one_pit()
    first, second = click(pixels), click(pixels)
    assert np.array_equal(first.outline_px, second.outline_px)
    assert first.parameters == second.parameters


def test_clicks_anywhere_in_the_middle_give_one_pit() -> None:
    """On bare metal, clicks up to a third of the radius off give outlines that overlap by 0.8 and more."""
    pixels, _ = one_pit()
    first = click(pixels).outline_px
    for dx, dy in ((8, 0), (0, -8), (-5, 5)):
        assert overlap(click(pixels, (CLICK[0] + dx, CLICK[1] + dy)).outline_px, first) > 0.8


def test_a_pit_at_the_border_is_cut_at_the_border() -> None:
    """An outline never leaves the picture, and what is left is a simple polygon."""
    pixels, rim = plain_disc(201, 30, 60, 170)
    cut = pixels[:, 88:].copy()
    found = click(cut, (14.0, 100.0)).outline_px
    assert found[:, 0].min() >= -0.5
    assert shapely.Polygon(found).is_valid
    seen = shapely.Polygon(rim - [88, 0]).intersection(shapely.box(-0.5, -0.5, 200, 200))
    assert shapely.Polygon(found).intersection(seen).area > 0.8 * seen.area


@pytest.mark.parametrize("at", [(-1.0, 50.0), (50.0, 300.0), (np.nan, 5.0)])
def test_a_click_off_the_picture_is_refused(at: tuple[float, float]) -> None:
    """The message names the click and the size of the picture."""
    with pytest.raises(MarkError, match="160 x 160 px"):
        click(plain_disc(160, 20, 60, 160)[0], at)


@pytest.mark.parametrize("tone", [0, 128, 255])
def test_a_constant_picture_has_no_outline(tone: int) -> None:
    """Where nothing is seen nothing is made up."""
    with pytest.raises(MarkError, match="no closed rim"):
        click(np.full((200, 200), tone, np.uint8), (100, 100))


def test_a_smooth_shade_has_no_outline() -> None:
    """Light that falls off smoothly is no rim."""
    shade = np.rint(np.linspace(60, 200, 300))[None, :].repeat(240, axis=0).astype(np.uint8)
    with pytest.raises(MarkError, match="no closed rim"):
        click(shade, (150, 120))


def test_nonsense_is_refused_in_words() -> None:
    """Sizes the wrong way round, samples of 16 bits and an empty picture are refused."""
    pixels, _ = plain_disc(160, 20, 60, 160)
    with pytest.raises(MarkError, match="80 to 40 px"):
        click(pixels, (80, 80), smallest_px=80.0, largest_px=40.0)
    with pytest.raises(MarkError, match="uint16"):
        click(pixels.astype(np.uint16), (80, 80))
    with pytest.raises(MarkError, match="cannot be searched"):
        click(np.zeros((0, 5), np.uint8), (0, 0))


def test_a_suggestion_records_how_it_was_made() -> None:
    """Method, click, sizes and the doubt about the edge travel with the outline."""
    found = click(one_pit()[0])
    assert found.method == "star-convex-4"
    assert (found.parameters["click_x_px"], found.parameters["largest_px"]) == (CLICK[0], 110.0)
    assert 0.0 <= found.score <= 1.0
    assert found.edge_u_px >= 0.5
    assert 0.0 <= float(found.parameters["watershed_agreement"]) <= 1.0
