"""Earlier rework, thickness readings and instruments as a person enters, mends and takes them back."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.samples import READING, REMOVAL, new_survey
from tests.browser.conftest import OpenPage, Service

GAUGES = [
    {"id": "DG-2", "kind": "depth gauge", "u_systematic": 0.005},
    {"id": "UT-1", "kind": "ultrasonic", "u_systematic": 0.008},
    {"id": "MC-4", "kind": "micrometer"},
]


@pytest.fixture
def survey(service: Service) -> str:
    """Give a survey with one removal, one reading and three instruments."""
    made = new_survey(service.client, instruments=GAUGES)
    for noun, part in (("removals", REMOVAL), ("readings", READING)):
        assert service.client.post(f"/api/surveys/{made}/{noun}", json=part).status_code == 201
    return made


def parts(service: Service, survey: str, noun: str) -> dict[str, dict[str, Any]]:
    """Return what is stored, by id: the records with their versions."""
    answer = service.client.get(f"/api/surveys/{survey}/{noun}s").json()
    return {one[noun]["id"]: one for one in answer}


def opened(open_page: OpenPage, survey: str, **options: Any) -> Page:
    """Open the page."""
    page: Page = open_page(f"/surveys/{survey}/rework", **options).page
    return page


def fill(page: Page, form: str, values: dict[str, str]) -> None:
    """Fill fields of a form by their labels."""
    for label, text in values.items():
        page.locator(form).get_by_label(label, exact=True).fill(text)


def new_removal(page: Page) -> None:
    """Begin a new removal: member, face, depth, dished, from the original contour."""
    page.get_by_role("button", name="Add earlier rework").click()
    page.locator("#removal-face").select_option("inner")
    fill(page, "#removal-form", {"Depth (mm)": "0,04", "Uncertainty u (mm)": "0.002"})
    page.get_by_label(re.compile("^Original contour")).check()
    page.get_by_label(re.compile("^Dished")).check()


def fill_circle(page: Page, diameter: str) -> None:
    """Give the footprint as a circle about (500, 200) mm."""
    for name, text in {"station": "500", "offset": "200", "diameter": diameter}.items():
        page.locator(f"#removal-circle-{name}").fill(text)


def test_rework_is_entered_by_numbers(open_page: OpenPage, service: Service, survey: str) -> None:
    """A circle given by numbers arrives as typed, half its diameter as radius, under the next free id."""
    page = opened(open_page, survey)
    new_removal(page)
    fill_circle(page, "25")
    page.get_by_role("button", name="Keep this rework").click()
    expect(page.locator("#page-said")).to_have_text("R2 is on record.")
    expect(page.locator("#removals")).to_contain_text("circle 25.0 at 500.0, 200.0")
    kept = parts(service, survey, "removal")["R2"]["removal"]
    assert kept["footprint"] == {"type": "Circle", "center": [500, 200], "radius": 12.5}
    assert (kept["depth"]["value"], kept["depth"]["u"], kept["measured_from"]) == (0.04, 0.002, "original")
    assert (kept["profile"], kept["origin"], kept["face"]) == ("dished", "earlier", "inner")


@pytest.mark.parametrize("phone", [False, True], ids=["mouse", "touch"])
def test_rework_is_drawn_on_the_pad(
    open_page: OpenPage, service: Service, survey: str, phone: bool
) -> None:
    """An outline clicked or tapped corner by corner is stored where it was clicked, to the pad's step.

    The pad shows the 900 mm of the skin with an edge of 6 % on each side, to scale; its step is 5 mm.
    """
    page = opened(open_page, survey, phone=phone)
    new_removal(page)
    page.get_by_label("Outline", exact=True).check(force=True)
    pad = page.locator("#removal-form [data-part='pad']")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    edge = 0.06 * 900
    step = max((900 + 2 * edge) / box["width"], (400 + 2 * edge) / box["height"])
    wanted = [(300, 100), (600, 100), (600, 250)]
    for count, (station, offset) in enumerate(wanted, 1):
        x = box["x"] + box["width"] / 2 + (station - 450) / step
        y = box["y"] + box["height"] / 2 - (offset - 200) / step
        if phone:
            page.touchscreen.tap(x, y)
        else:
            page.mouse.click(x, y)
        expect(page.locator("#removal-corners")).to_have_value(re.compile(rf"^(\S+ \S+\n?){{{count}}}$"))
    page.get_by_role("button", name="Keep this rework").click()
    expect(page.locator("#page-said")).to_have_text("R2 is on record.")
    ring = parts(service, survey, "removal")["R2"]["removal"]["footprint"]["coordinates"][0]
    for found, meant in zip(ring, wanted, strict=True):
        # Half a step of 5 mm each way, and half a css px.
        assert found == pytest.approx(meant, abs=2.5 + step / 2)


def test_a_drawn_ellipse_fills_the_numbers(open_page: OpenPage, survey: str) -> None:
    """Three clicks give length, width and direction; taking one back asks for it again."""
    page = opened(open_page, survey)
    new_removal(page)
    page.get_by_label("Ellipse", exact=True).check(force=True)
    pad = page.locator("#removal-form [data-part='pad']")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for dx, dy in ((-40, 0), (40, 0), (0, -20)):
        page.mouse.click(x + dx, y + dy)
    step = page.locator("#removal-form [data-part='step']")
    expect(step).to_contain_text("Drawn")
    length = float(page.locator("#removal-ellipse-length").input_value())
    width = float(page.locator("#removal-ellipse-width").input_value())
    # 80 css px to 40 css px, each end rounded to a step of 5 mm.
    assert length / 2 == pytest.approx(width, abs=10)
    assert float(page.locator("#removal-ellipse-angle").input_value()) == 0
    page.locator("#removal-form [data-pad='back']").click()
    expect(step).to_contain_text("beside the middle")


def test_a_run_out_is_shown_both_ways(open_page: OpenPage, service: Service, survey: str) -> None:
    """20:1 in all is 10:1 on each side, and it is stored the way it was stated."""
    page = opened(open_page, survey)
    new_removal(page)
    expect(page.get_by_label("Ratio, to 1")).to_be_hidden()
    page.get_by_label(re.compile("^Faired")).check()
    page.get_by_label("Ratio, to 1").fill("10")
    page.get_by_label("That is").select_option("per_side")
    expect(page.locator("[data-part='both-ways']")).to_have_text("20:1 in all, which is 10:1 on each side.")
    fill_circle(page, "25")
    page.get_by_role("button", name="Keep this rework").click()
    expect(page.locator("#removals")).to_contain_text("faired, 20:1 in all (10:1 per side)")
    assert parts(service, survey, "removal")["R2"]["removal"]["run_out"] == {"total": None, "per_side": 10}


def test_the_service_speaks_while_one_types(open_page: OpenPage, service: Service, survey: str) -> None:
    """What is missing, what it would mean, what to look at, and what cannot be kept: all before saving."""
    page = opened(open_page, survey)
    new_removal(page)
    said = page.locator("#removal-form .said")
    expect(said).to_contain_text("Still to come: Station of its middle is missing.")
    fill_circle(page, "20")
    # pi r^2 of a radius of 10 mm.
    expect(said).to_contain_text(f"Area {math.pi * 100:.3g} mm²")
    page.locator("#removal-depth-value").fill("0.4")
    expect(said).to_contain_text("over the limit by itself")
    page.locator("#removal-circle-station").fill("5000")
    expect(said).to_contain_text("lies off member SK1")
    page.get_by_role("button", name="Keep this rework").click()
    expect(page.locator("#removal-form > .error")).to_contain_text("lies off member SK1")
    assert list(parts(service, survey, "removal")) == ["R1"]


def test_what_is_missing_takes_the_focus(open_page: OpenPage, survey: str) -> None:
    """Saving too early names the first missing thing and goes there; nothing typed is lost."""
    page = opened(open_page, survey)
    page.get_by_role("button", name="Add a thickness reading").click()
    page.locator("#reading-value").fill("0.9")
    page.get_by_role("button", name="Keep this reading").click()
    expect(page.locator("#reading-form > .error")).to_have_text("Uncertainty u is missing.")
    expect(page.locator("#reading-u")).to_be_focused()
    expect(page.locator("#reading-value")).to_have_value("0.9")


def test_an_untouched_entry_goes_back_as_it_came(
    open_page: OpenPage, service: Service, survey: str
) -> None:
    """An edit of the note in inches leaves every length in mm as it was, bit for bit."""
    page = opened(open_page, survey)
    page.locator(".display-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="inches (in)").click()
    page.get_by_role("button", name="Edit R1").click()
    # 2 x 12 mm is 0.944881890 in.
    expect(page.locator("#removal-circle-diameter")).to_have_value("0.94488189")
    page.locator("#removal-note").fill("Work card 12")
    page.get_by_role("button", name="Keep this rework").click()
    expect(page.locator("#page-said")).to_have_text("R1 is changed.")
    kept = parts(service, survey, "removal")["R1"]["removal"]
    assert kept["footprint"] == REMOVAL["footprint"]
    assert kept["depth"] == REMOVAL["depth"]
    assert kept["note"] == "Work card 12"


def test_two_people_change_one_entry(open_page: OpenPage, service: Service, survey: str) -> None:
    """The second is shown both versions and nothing is saved until they choose; both choices work."""
    watched = open_page(f"/surveys/{survey}/rework")
    watched.expected = ("412",)
    page = watched.page
    for choice, stands in (("Take theirs", 0.93), ("Save mine over it", 0.91)):
        # The version that is edited has to be in hand before the other person's edit.
        with page.expect_response(lambda one: "/api/readings/" in one.url):
            page.get_by_role("button", name="Edit T1").click()
        expect(page.locator("#reading-value")).not_to_have_value("")
        record = parts(service, survey, "reading")["T1"]
        theirs = record["reading"] | {"value": 0.93, "note": choice}
        answer = service.client.put(
            f"/api/readings/{record['id']}", json=theirs, headers={"If-Match": f'"{record["version"]}"'}
        )
        assert answer.status_code == 200
        page.locator("#reading-value").fill("0.91")
        page.get_by_role("button", name="Keep this reading").click()
        conflict = page.locator("#reading-form [data-part='conflict']")
        expect(conflict).to_contain_text("Someone else changed T1 while you had it open.")
        expect(conflict.get_by_role("row", name=re.compile("^value"))).to_contain_text("0.930.91")
        assert parts(service, survey, "reading")["T1"]["reading"]["value"] == 0.93
        page.get_by_role("button", name=choice).click()
        if choice == "Take theirs":
            expect(page.locator("#reading-value")).to_have_value("0.93")
            page.locator("#reading-form").get_by_role("button", name="Cancel").click()
        else:
            expect(page.locator("#page-said")).to_have_text("T1 is changed.")
        assert parts(service, survey, "reading")["T1"]["reading"]["value"] == stands


def test_an_entry_is_withdrawn_with_its_reason(open_page: OpenPage, service: Service, survey: str) -> None:
    """Without a reason nothing happens; with one it leaves the list and is listed as withdrawn."""
    page = opened(open_page, survey)
    page.get_by_role("button", name="Withdraw R1").click()
    page.locator("#withdraw").get_by_role("button", name="Withdraw").click()
    expect(page.locator("#withdraw .error")).to_contain_text("Say why")
    page.get_by_label("Reason").fill("Entered for the wrong member")
    page.locator("#withdraw").get_by_role("button", name="Withdraw").click()
    expect(page.locator("#page-said")).to_have_text("R1 is withdrawn.")
    expect(page.locator("#removals")).to_have_count(0)
    page.get_by_text("Withdrawn: 1").click()
    expect(page.locator("#withdrawn")).to_contain_text(
        re.compile(r"removal R1.*Entered for the wrong member")
    )
    assert parts(service, survey, "removal") == {}
    (record,) = service.client.get(f"/api/surveys/{survey}/withdrawn").json()
    assert record["reason"] == "Entered for the wrong member"


def test_a_changed_entry_is_not_withdrawn_unseen(
    open_page: OpenPage, service: Service, survey: str
) -> None:
    """If someone mended it meanwhile it stays, and the page shows what it is now."""
    watched = open_page(f"/surveys/{survey}/rework")
    watched.expected = ("412",)
    record = parts(service, survey, "reading")["T1"]
    mended = record["reading"] | {"value": 0.955}
    service.client.put(f"/api/readings/{record['id']}", json=mended, headers={"If-Match": '"1"'})
    watched.page.get_by_role("button", name="Withdraw T1").click()
    watched.page.get_by_label("Reason").fill("Misread")
    watched.page.locator("#withdraw").get_by_role("button", name="Withdraw").click()
    expect(watched.page.locator("#page-said")).to_contain_text("Someone else changed T1 just now")
    expect(watched.page.locator("#readings")).to_contain_text("0.955")
    assert "T1" in parts(service, survey, "reading")


def test_an_instrument_is_mended_beside_other_peoples_edits(
    open_page: OpenPage, service: Service, survey: str
) -> None:
    """An edit of the survey's name in between is kept; the instrument's uncertainty arrives."""
    page = opened(open_page, survey)
    page.get_by_role("button", name="Edit DG-2").click()
    expect(page.locator("#instrument-u_systematic")).to_have_value("0.005")
    answer = service.client.get(f"/api/surveys/{survey}")
    head = {
        key: value
        for key, value in answer.json().items()
        if key not in {"id", "version", "created", "structure_id", "units"}
    }
    head["survey"] = head["survey"] | {"name": "Renamed meanwhile"}
    done = service.client.put(
        f"/api/surveys/{survey}", json=head, headers={"If-Match": answer.headers["ETag"]}
    )
    assert done.status_code == 200, done.text
    page.locator("#instrument-u_systematic").fill("0.007")
    page.get_by_role("button", name="Keep this instrument").click()
    expect(page.locator("#page-said")).to_have_text("DG-2 is changed.")
    now = service.client.get(f"/api/surveys/{survey}").json()
    assert now["survey"]["name"] == "Renamed meanwhile"
    assert [one["u_systematic"] for one in now["instruments"]] == [0.007, 0.008, 0]


def test_only_an_unused_instrument_leaves_the_list(
    open_page: OpenPage, service: Service, survey: str
) -> None:
    """An instrument that read something stays; one that read nothing can be taken off."""
    page = opened(open_page, survey)
    row = page.locator("#instruments-table tr[data-key='DG-2']")
    expect(row.get_by_role("button", name=re.compile("Take off"))).to_have_count(0)
    page.get_by_role("button", name="Take off the list MC-4").click()
    expect(page.locator("#page-said")).to_contain_text("MC-4 is off the list")
    listed = service.client.get(f"/api/surveys/{survey}").json()["instruments"]
    assert [one["id"] for one in listed] == ["DG-2", "UT-1"]


def test_rework_counts_on_the_map(open_page: OpenPage, survey: str) -> None:
    """What is entered here is what the map speaks of: 0.05 mm, deepest at the middle of R1."""
    page = opened(open_page, survey)
    page.get_by_role("navigation", name="Survey").get_by_role("link", name="Map").click()
    expect(page.locator("#member-body")).to_contain_text("offset 130.0 mm the 0.050 mm removed")
