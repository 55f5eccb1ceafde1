"""Structures, surveys and photos as a person enters them, on a bad connection too."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import FilePayload, expect

from tests.api.samples import new_survey, picture, survey_file, upload
from tests.browser.conftest import OpenPage, Service

LAYOUT = (
    "member,kind,zone,material,thickness,outline\nRB9,rib,332,7075-T6,0.81,0 0; 400 0; 400 120; 0 120\n"
)


def file(name: str, data: bytes) -> FilePayload:
    """Make a file as a person chooses it."""
    return {"name": name, "mimeType": "application/octet-stream", "buffer": data}


def test_a_structure_is_entered_by_hand(open_page: OpenPage, service: Service) -> None:
    """What is typed and drawn arrives as the structure, its limit with its source; one is corrected."""
    page = open_page("/structures/new").page
    page.locator("#structure-name").fill("Fin, hand-made")
    for label, text in {
        "Id": "SK7", "Kind": "skin", "Material": "2024-T3", "Thickness, mm": "1,02",
        "Blend limit, % of thickness": "10", "Source of the limit": "RS-1, paragraph 2",
    }.items():  # fmt: skip
        page.get_by_label(label, exact=True).fill(text)
    page.locator('[data-name="zone"]').fill("334")
    page.get_by_label("Outline: one corner a line").fill("0 0\n900 0\n900 400")
    box = page.locator("svg.draw").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    drawn = re.compile(r"^0 0\n900 0\n900 400\n[\d.]+ [\d.]+$")
    expect(page.get_by_label("Outline: one corner a line")).to_have_value(drawn)
    page.get_by_role("button", name="Take back a corner").click()
    page.get_by_role("button", name="Keep this structure").click()
    page.wait_for_url(re.compile(r"/structures/[0-9a-f]{32}$"))
    stored = service.client.get(f"/api{page.url.removeprefix(service.url)}").json()["structure"]
    (member,) = stored["members"]
    assert (member["id"], member["thickness"]) == ("SK7", 1.02)
    assert member["outline"] == [[0, 0], [900, 0], [900, 400]]
    assert member["limit"]["fraction"] == pytest.approx(0.1)
    assert member["limit"]["source"] == "RS-1, paragraph 2"
    with page.expect_navigation():
        page.get_by_role("link", name="Correct this structure").click()
    thickness = page.get_by_label("Thickness, mm", exact=True)
    expect(thickness).to_have_value("1.02")
    thickness.fill("1.05")
    with page.expect_navigation():
        page.get_by_role("button", name="Keep this structure").click()
    corrected = service.client.get(f"/api{page.url.removeprefix(service.url)}").json()["structure"]
    assert corrected == stored | {"members": [member | {"thickness": 1.05}]}


def test_a_missing_source_is_asked_for(open_page: OpenPage) -> None:
    """A limit without its source is not kept; the field is named and takes the focus."""
    page = open_page("/structures/new").page
    page.locator("#structure-name").fill("Fin")
    for label, text in {"Id": "A", "Kind": "skin", "Material": "al", "Thickness, mm": "1"}.items():
        page.get_by_label(label, exact=True).fill(text)
    page.locator('[data-name="zone"]').fill("334")
    page.get_by_label("Outline: one corner a line").fill("0 0\n9 0\n9 4")
    page.get_by_label("Blend limit, % of thickness").fill("10")
    page.get_by_role("button", name="Keep this structure").click()
    expect(page.get_by_role("alert").filter(has_text="needs its source")).to_be_visible()
    expect(page.get_by_label("Source of the limit")).to_be_focused()


def test_a_layout_file_fills_the_form(open_page: OpenPage, service: Service) -> None:
    """A CSV file is read, shown for checking, and kept with everything the form does not show."""
    stations = "record,label,station," + LAYOUT.replace("\n", "\n,,,", 1)
    stations += 'station,"Rib 3",300,RB9,,,,,\n'
    page = open_page("/structures/new").page
    page.locator("#layout-file").set_input_files([file("Rib 9.csv", stations.encode())])
    expect(page.locator("#layout-said")).to_contain_text("Read 1 member")
    page.get_by_role("button", name="Keep this structure").click()
    page.wait_for_url(re.compile(r"/structures/[0-9a-f]{32}$"))
    stored = service.client.get(f"/api{page.url.removeprefix(service.url)}").json()["structure"]
    assert stored["name"] == "Rib 9"
    assert stored["members"][0]["stations"] == [{"label": "Rib 3", "at": 300}]


def test_a_bad_layout_file_says_where(open_page: OpenPage) -> None:
    """A fault in a chosen file is shown with its line and column."""
    watched = open_page("/structures/new")
    watched.expected = ("422",)
    bad = LAYOUT.replace("0.81", "thin")
    watched.page.locator("#layout-file").set_input_files([file("a.csv", bad.encode())])
    expect(watched.page.locator("#layout-said")).to_contain_text(re.compile("a.csv, line 2", re.IGNORECASE))
    expect(watched.page.locator("#layout-said")).to_contain_text("thickness is 'thin'")


def test_a_survey_is_started(open_page: OpenPage, service: Service) -> None:
    """A survey starts with a name and date; its overview says what to do first, and corrects both."""
    survey = new_survey(service.client)
    structure = service.client.get(f"/api/surveys/{survey}").json()["structure_id"]
    page = open_page(f"/structures/{structure}").page
    page.get_by_label("Name").fill("Second look")
    page.get_by_label("Inspector").fill("B. Example")
    page.get_by_role("button", name="Start the survey").click()
    page.wait_for_url(re.compile(r"/surveys/[0-9a-f]{32}$"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Second look")
    expect(page.get_by_role("heading", name="No photos yet")).to_be_visible()
    expect(page.get_by_role("row", name=re.compile("SK1"))).to_contain_text("not seen")
    page.get_by_text("Correct name, date and the rest").click()
    page.get_by_label("Date").fill("2031-04-20")
    page.get_by_label("Light at the surface, lx").fill("bright")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator("#about-form .error")).to_contain_text("is not a number of lux")
    page.get_by_label("Light at the surface, lx").fill("800")
    with page.expect_navigation():
        page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator("dl.facts").first).to_contain_text("2031-04-20")
    head = service.client.get(f"/api{page.url.removeprefix(service.url)}").json()["survey"]
    assert (head["date"], head["illuminance_lx"]) == ("2031-04-20", 800)
    assert (head["name"], head["inspector"]) == ("Second look", "B. Example")


def test_a_survey_file_comes_in_with_its_photos(
    open_page: OpenPage, service: Service, tmp_path: Path
) -> None:
    """Survey file and pictures chosen together arrive together, matched by name."""
    (tmp_path / "survey.json").write_text(json.dumps(survey_file()))
    (tmp_path / "f1.jpg").write_bytes(picture(71))
    (tmp_path / "stray.jpg").write_bytes(picture(72))
    page = open_page("/").page
    page.get_by_role("button", name="Import a survey file").click()
    page.locator("#import-files").set_input_files(sorted(tmp_path.iterdir()))
    # The sample picture is noise, so its quality is remarked on and the page waits to be read.
    expect(page.locator("#import-said")).to_contain_text("see what is said of them")
    page.get_by_role("link", name="Open the survey").click()
    page.wait_for_url(re.compile(r"/surveys/[0-9a-f]{32}$"))
    photos = service.client.get(f"/api{page.url.removeprefix(service.url)}/photos").json()
    assert [(one["photo"]["id"], one["picture"] is not None) for one in photos] == [("f1", True)]


def test_what_is_no_survey_is_refused(open_page: OpenPage) -> None:
    """Photos alone are not imported as a survey; the page says what to choose."""
    page = open_page("/").page
    page.get_by_role("button", name="Import a survey file").click()
    page.locator("#import-files").set_input_files([file("a.jpg", picture(1)), file("b.json", b"{}")])
    expect(page.locator("#import-said")).to_contain_text("no survey file among these")


def test_photos_arrive_and_duplicates_are_noticed(open_page: OpenPage, service: Service) -> None:
    """Each photo gets its own result; the same picture again is noticed and not stored twice."""
    survey = new_survey(service.client)
    page = open_page(f"/surveys/{survey}/photos").page
    first, second = picture(81), picture(82)
    page.locator("#choose").set_input_files([file("a.jpg", first), file("b.jpg", second)])
    expect(page.locator(".photo-card")).to_have_count(2)
    page.locator("#choose").set_input_files([file("copy of a.jpg", first)])
    expect(page.locator("#queue")).to_contain_text("already in this survey")
    expect(page.locator(".photo-card")).to_have_count(2)


def test_one_bad_file_does_not_stop_the_rest(open_page: OpenPage, service: Service) -> None:
    """A file that is no picture is refused with the reason; the others arrive."""
    survey = new_survey(service.client)
    page = open_page(f"/surveys/{survey}/photos").page
    page.locator("#choose").set_input_files([file("notes.jpg", b"no picture"), file("c.jpg", picture(83))])
    expect(page.locator("#queue li", has_text="notes.jpg").locator(".error")).to_contain_text("✗")
    expect(page.locator(".photo-card")).to_have_count(1)


def test_uploads_go_on_after_a_lost_connection(open_page: OpenPage, service: Service) -> None:
    """Photos chosen while the service is away wait, say so, and arrive once it is back."""
    survey = new_survey(service.client)
    watched = open_page(f"/surveys/{survey}/photos")
    watched.expected = ("ERR_CONNECTION_REFUSED",)
    service.stop()
    try:
        watched.page.locator("#choose").set_input_files(
            [file("d.jpg", picture(84)), file("e.jpg", picture(85))]
        )
        expect(watched.page.locator("#upload-said")).to_contain_text("no connection")
        noted = watched.page.evaluate("name => localStorage.getItem(name)", unsent_at(survey))
        assert json.loads(noted) == ["d.jpg", "e.jpg"]
    finally:
        service.start()
    # By script: on a slow machine the page has tried by itself before, and the button is gone.
    watched.page.locator("#retry").evaluate("one => one.click()")
    expect(watched.page.locator(".photo-card")).to_have_count(2)
    expect(watched.page.locator("#upload-said")).to_contain_text("2 of 2 photos here")
    assert watched.page.evaluate("name => localStorage.getItem(name)", unsent_at(survey)) is None


def unsent_at(survey: str) -> str:
    """Return where a browser notes the names of photos it has not sent."""
    return f"corrosion.unsent./api/surveys/{survey}/photos"


def test_photos_not_sent_are_named_at_the_next_visit(open_page: OpenPage, service: Service) -> None:
    """The page was left with a photo unsent: it says which and what to do, until that photo is here."""
    survey = new_survey(service.client)
    page = open_page("/").page
    page.evaluate('name => localStorage.setItem(name, \'["f.jpg", "g.jpg"]\')', unsent_at(survey))
    page.goto(f"{service.url}/surveys/{survey}/photos")
    expect(page.locator("#unsent")).to_contain_text("2 photos had not been sent")
    expect(page.locator("#unsent")).to_contain_text("Choose the same photos again")
    page.locator("#choose").set_input_files([file("f.jpg", picture(96))])
    expect(page.locator("#upload-said")).to_contain_text("1 of 1 photo here")
    page.reload()
    expect(page.locator("#unsent")).to_contain_text("1 photo had not been sent when this page was left: g")
    page.get_by_role("button", name="I know").click()
    expect(page.locator("#unsent")).to_be_hidden()
    page.reload()
    expect(page.locator(".photo-card")).to_have_count(1)
    expect(page.locator("#unsent")).to_be_hidden()


@pytest.fixture
def two_photos(service: Service) -> tuple[str, list[str]]:
    """Give a survey with two photos."""
    survey = new_survey(service.client)
    made = upload(service.client, survey, ("x.jpg", picture(86)), ("y.jpg", picture(87)))
    return survey, [str(one["photo"]["id"]) for one in made]


def tags(service: Service, photo: str) -> tuple[Any, ...]:
    """Return a photo's stored tags."""
    document = service.client.get(f"/api/photos/{photo}").json()["photo"]
    return tuple(document[name] for name in ("member", "face", "zone", "station"))


def test_many_photos_are_tagged_at_once(
    open_page: OpenPage, service: Service, two_photos: tuple[str, list[str]]
) -> None:
    """Tags chosen once go to all chosen photos; the member brings its zone."""
    survey, photos = two_photos
    page = open_page(f"/surveys/{survey}/photos").page
    page.get_by_role("button", name="Choose all shown").click()
    page.locator("#b-member").select_option("SK1")
    page.locator("#b-face").select_option("inner")
    page.locator("#b-station").fill("340B+10.25")
    page.get_by_role("button", name="Tag", exact=True).click()
    expect(page.locator("#bulk-said")).to_have_text("2 of 2 photos tagged")
    assert [tags(service, photo) for photo in photos] == [("SK1", "inner", "334", "340B+10.25")] * 2


def test_a_tag_that_somebody_else_just_set_is_theirs(
    open_page: OpenPage, service: Service, two_photos: tuple[str, list[str]]
) -> None:
    """A face that changed since the page was loaded is not overwritten; the page says whose photo it is."""
    survey, photos = two_photos
    watched = open_page(f"/surveys/{survey}/photos")
    watched.expected = ("412",)
    theirs = service.client.patch(
        f"/api/photos/{photos[0]}", json={"face": "outer"}, headers={"If-Match": '"1"'}
    )
    assert theirs.status_code == 200
    watched.page.get_by_role("button", name="Choose all shown").click()
    watched.page.locator("#b-face").select_option("inner")
    watched.page.get_by_role("button", name="Tag", exact=True).click()
    expect(watched.page.locator("#bulk .error")).to_contain_text("somebody else just set its face")
    assert [tags(service, photo)[1] for photo in photos] == ["outer", "inner"]


def test_marks_made_meanwhile_do_not_hinder_a_tag(
    open_page: OpenPage, service: Service, two_photos: tuple[str, list[str]]
) -> None:
    """An edit of something else since the page was loaded is kept, and the tag is set too."""
    survey, photos = two_photos
    watched = open_page(f"/surveys/{survey}/photos")
    watched.expected = ("412",)
    service.client.patch(f"/api/photos/{photos[0]}", json={"note": "kept"}, headers={"If-Match": '"1"'})
    watched.page.locator(".photo-card input").first.check(force=True)
    watched.page.locator("#b-face").select_option("inner")
    watched.page.get_by_role("button", name="Tag", exact=True).click()
    expect(watched.page.locator("#bulk-said")).to_have_text("1 of 1 photo tagged")
    document = service.client.get(f"/api/photos/{photos[0]}").json()["photo"]
    assert (document["face"], document["note"]) == ("inner", "kept")


def test_filters_hide_and_unchoose(open_page: OpenPage, two_photos: tuple[str, list[str]]) -> None:
    """A filter hides what does not match, and what is hidden is not chosen any more."""
    survey, _ = two_photos
    page = open_page(f"/surveys/{survey}/photos").page
    page.get_by_role("button", name="Choose all shown").click()
    page.get_by_label("Name or note").fill("x.jpg")
    expect(page.locator(".photo-card:visible")).to_have_count(1)
    expect(page.locator("#bulk-count")).to_have_text("1 photo")
    page.reload()
    expect(page.locator(".photo-card:visible")).to_have_count(1)


def test_photos_by_keyboard(open_page: OpenPage, two_photos: tuple[str, list[str]]) -> None:
    """Arrow keys move from photo to photo, space chooses, Enter opens."""
    survey, photos = two_photos
    page = open_page(f"/surveys/{survey}/photos").page
    page.locator(".photo-card input").first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Space")
    expect(page.locator("#bulk-count")).to_have_text("1 photo")
    expect(page.locator(".photo-card input").nth(1)).to_be_checked()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(f"/photos/{photos[1]}$"))


def test_a_closed_hint_stays_closed(open_page: OpenPage) -> None:
    """A first-use hint that a person closed is closed on the next visit."""
    page = open_page("/").page
    hint = page.locator("details.hint")
    expect(hint).to_have_attribute("open", "")
    page.get_by_text("How this page works").click()
    page.reload()
    expect(hint).not_to_have_attribute("open", "")
