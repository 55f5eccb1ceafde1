"""Putting a photo on its member's layout, and seeing how well it fits."""

from __future__ import annotations

import math
import re

import pytest
from playwright.sync_api import expect

from tests.api.samples import tag
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import at_rest, click, ready, saved, stored


def test_place_on_the_layout(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Two point pairs, typed and clicked, put the photo on its member."""
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    page.get_by_role("tab", name="3 Place").click()
    page.get_by_label("Member", exact=True).select_option("SK1")
    page.get_by_label("Face", exact=True).select_option("outer")
    expect(page.locator("#layout canvas").first).to_be_visible()
    seen = at_rest(page)
    for letter, (point, station) in enumerate((((500, 400), "400"), ((700, 400), "450"))):
        page.get_by_role("button", name="Add a point pair").click()
        click(page, *seen.screen(*point))
        pair = page.locator(".pairs > li").nth(letter)
        pair.get_by_label("Station (mm)").fill(station)
        pair.get_by_label("Offset (mm)").fill("120")
        page.keyboard.press("Tab")
    saved(page)
    kept = stored(service.client, scaled)
    assert (kept["member"], kept["face"]) == ("SK1", "outer")
    assert kept["placement"]["layout"] == [[400, 120], [450, 120]]


# Four corners of a square of 50 mm and its middle, in picture pixels of 4 to the mm, and on the layout.
SQUARE_PX = [[500, 350], [700, 350], [700, 550], [500, 550], [600, 450]]
SQUARE_MM = [[400, 150], [450, 150], [450, 100], [400, 100], [425, 125]]


def test_the_fit_on_the_layout_names_its_worst_point(
    service: Service, open_page: OpenPage, scaled: str
) -> None:
    """The misfit of every point pair is shown in the display unit, the worst one marked by words.

    Linearised least squares of a homography to a square's corners and middle, the middle entered e off:
    two thirds of e remain there, sqrt(2)/6 e at each corner, and the root mean square over two degrees of
    freedom is e / sqrt(3) (worked out by hand; terms of second order are e / 50 mm of these, 2.4 %).
    """
    off = 1.2
    layout = [*SQUARE_MM[:4], [425, 125 + off]]
    service.client.patch(
        f"/api/photos/{scaled}", json={"member": "SK1", "face": "outer"}, headers=tag(2)
    ).raise_for_status()
    placement = {"image": SQUARE_PX, "layout": layout}
    service.client.put(f"/api/photos/{scaled}/placement", json=placement, headers=tag(3)).raise_for_status()
    page = open_page(f"/photos/{scaled}").page
    page.locator(".display-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="inches (in)").click()
    saved(page)
    page.get_by_role("tab", name="3 Place").click()
    rows = page.locator(".pairs > li")
    expect(rows.nth(4)).to_contain_text("▲ Worst")
    expect(page.locator(".pairs .worst")).to_have_count(1)
    expect(page.locator("#panel")).to_contain_text("Point E misses most")
    shown = [float(_found(r"misses by ([\d.]+) in", rows.nth(i).inner_text())) * 25.4 for i in range(5)]
    # Three decimals of an inch are shown.
    rounding = 0.0005 * 25.4
    assert shown[4] == pytest.approx(off * 2 / 3, rel=0.024, abs=rounding)
    assert shown[:4] == pytest.approx([off * math.sqrt(2) / 6] * 4, rel=0.024, abs=rounding)
    rms = float(_found(r"miss by ([\d.]+) in \(root", page.locator("#panel").inner_text())) * 25.4
    assert rms == pytest.approx(off / math.sqrt(3), rel=0.024, abs=rounding)


def test_marks_on_the_layout_have_their_uncertainty(
    service: Service, open_page: OpenPage, scaled: str
) -> None:
    """Once a photo is placed, the panel says where each mark is, with what is not known of it."""
    mark = {"id": "P1", "kind": "pit", "shape": {"type": "Circle", "center": [600, 450], "radius": 20}}
    service.client.put(f"/api/photos/{scaled}/marks", json=[mark], headers=tag(2)).raise_for_status()
    service.client.patch(
        f"/api/photos/{scaled}", json={"member": "SK1", "face": "outer"}, headers=tag(3)
    ).raise_for_status()
    placement = {"image": SQUARE_PX, "layout": SQUARE_MM}
    service.client.put(f"/api/photos/{scaled}/placement", json=placement, headers=tag(4)).raise_for_status()
    page = open_page(f"/photos/{scaled}").page
    page.get_by_role("tab", name="3 Place").click()
    row = page.get_by_role("row", name="P1")
    expect(row).to_contain_text("±")
    station, offset = (
        row.get_by_role("cell").nth(i).inner_text().replace(" mm", "").split(" ± ") for i in (0, 1)
    )
    # A circle about the middle of the square; its middle is the layout's (425, 125).
    assert float(station[0]) == pytest.approx(425, abs=0.1)
    assert float(offset[0]) == pytest.approx(125, abs=0.1)
    assert float(station[1]) > 0
    assert float(offset[1]) > 0


def _found(pattern: str, text: str) -> str:
    match = re.search(pattern, text)
    assert match, f"{pattern!r} is not in {text!r}"
    return match[1]
