"""Photos that were brought in by mistake: taken back with a reason, listed, and free to come again."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import FilePayload, Page, expect

from tests.api.samples import MARKS, new_survey, picture, tag, upload
from tests.browser.conftest import OpenPage, Service


@pytest.fixture
def two_photos(service: Service) -> tuple[str, list[str]]:
    """Give a survey with two photos, the first with two marks."""
    survey = new_survey(service.client)
    made = upload(service.client, survey, ("x.jpg", picture(91)), ("y.jpg", picture(92)))
    photos = [str(one["photo"]["id"]) for one in made]
    answer = service.client.put(f"/api/photos/{photos[0]}/marks", json=MARKS, headers=tag(1))
    assert answer.status_code == 200, answer.text
    return survey, photos


def begin(page: Page, *names: str) -> None:
    """Choose photos and press Withdraw."""
    for name in names:
        page.get_by_label(f"Choose {name}").check()
    page.get_by_role("button", name="Withdraw…").click()


def confirm(page: Page, reason: str) -> None:
    """Give the reason and confirm."""
    page.get_by_label("Reason").fill(reason)
    page.locator("#withdraw").get_by_role("button", name="Withdraw").click()


def standing(service: Service, survey: str) -> list[str]:
    """Return the names of the photos that stand."""
    return [one["upload_name"] for one in service.client.get(f"/api/surveys/{survey}/photos").json()]


def test_photos_are_withdrawn_together(
    open_page: OpenPage, service: Service, two_photos: tuple[str, list[str]]
) -> None:
    """The dialog names the photos and what goes with them; afterwards they are listed with the reason."""
    survey, _ = two_photos
    page = open_page(f"/surveys/{survey}/photos").page
    begin(page, "x.jpg", "y.jpg")
    expect(page.locator("#withdraw")).to_contain_text("x.jpg, y.jpg. With them go 2 marks")
    confirm(page, "Of another aircraft")
    expect(page.locator("#list-said")).to_have_text("2 of 2 photos withdrawn")
    expect(page.get_by_role("heading", name="No photos yet")).to_be_visible()
    page.get_by_text("Withdrawn: 2").click()
    expect(page.locator("#withdrawn")).to_contain_text(
        re.compile(r"photo x.jpg.*2 marks.*Of another aircraft", re.DOTALL)
    )
    assert standing(service, survey) == []


def test_keeping_it_changes_nothing(
    open_page: OpenPage, service: Service, two_photos: tuple[str, list[str]]
) -> None:
    """Escape, Keep it, and an empty reason all leave the photo where it is."""
    survey, _ = two_photos
    page = open_page(f"/surveys/{survey}/photos").page
    begin(page, "x.jpg")
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Withdraw…").click()
    page.locator("#withdraw").get_by_role("button", name="Withdraw").click()
    expect(page.locator("#withdraw .error")).to_contain_text("Say why")
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator(".photo-card")).to_have_count(2)
    assert standing(service, survey) == ["x.jpg", "y.jpg"]


def test_a_photo_somebody_just_marked_is_not_withdrawn_unseen(
    open_page: OpenPage, service: Service, two_photos: tuple[str, list[str]]
) -> None:
    """Marks made since the page was loaded keep the photo; the other one goes, and the page says so."""
    survey, photos = two_photos
    watched = open_page(f"/surveys/{survey}/photos")
    watched.expected = ("412",)
    service.client.put(f"/api/photos/{photos[1]}/marks", json=MARKS, headers=tag(1))
    begin(watched.page, "x.jpg", "y.jpg")
    confirm(watched.page, "Blurred")
    expect(watched.page.locator("#list-said")).to_have_text("1 of 2 photos withdrawn")
    expect(watched.page.locator("#bulk .error")).to_contain_text("y.jpg: ")
    expect(watched.page.locator("#bulk .error")).to_contain_text("somebody else just changed it")
    assert standing(service, survey) == ["y.jpg"]


def test_a_withdrawn_photo_can_come_again(
    open_page: OpenPage, service: Service, two_photos: tuple[str, list[str]]
) -> None:
    """The same file is no duplicate after it was withdrawn."""
    survey, _ = two_photos
    page = open_page(f"/surveys/{survey}/photos").page
    begin(page, "y.jpg")
    confirm(page, "Wrong survey")
    expect(page.locator(".photo-card")).to_have_count(1)
    again: FilePayload = {"name": "y.jpg", "mimeType": "image/jpeg", "buffer": picture(92)}
    page.locator("#choose").set_input_files([again])
    expect(page.locator(".photo-card")).to_have_count(2)
