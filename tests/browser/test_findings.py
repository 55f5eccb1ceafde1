"""The findings table: order, filters, links and files."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import Browser, Page, expect

from corrosion.demo import sample_folder
from tests.api.samples import PLACEMENT, SCALE, picture, survey_file
from tests.browser.conftest import OpenPage, Service


@pytest.fixture
def survey(service: Service) -> str:
    """Give a survey with three pits and a blend-out that is over its limit."""
    pit = {"kind": "pit", "shape": {"type": "Circle", "center": [120, 200], "radius": 8}}
    depth = {"u": 0.001, "method": "micrometer"}
    marks = [
        pit | {"id": "P10", "depths": [{"value": 0.03, **depth}]},
        pit | {"id": "P9", "shape": {"type": "Circle", "center": [160, 200], "radius": 8},
               "depths": [{"value": 0.25, **depth}]},
        pit | {"id": "=P1", "shape": {"type": "Circle", "center": [200, 200], "radius": 8}},
        {"id": "B1", "kind": "blend-out", "shape": {"type": "Circle", "center": [250, 120], "radius": 20},
         "depths": [{"value": 0.15, **depth}], "measured_from": "original"},
    ]  # fmt: skip
    photo = {"id": "f1", "file": "f1.jpg", "view": "daylight", "member": "SK1", "face": "inner",
             "zone": "334", "scale": SCALE, "placement": PLACEMENT, "marks": marks}  # fmt: skip
    document = survey_file([photo]) | {"removals": [], "thickness_readings": [], "display_units": "mm"}
    made = service.client.post("/api/surveys/import", json=document)
    assert made.status_code == 201, made.text
    survey = str(made.json()["survey"]["id"])
    service.client.post(f"/api/surveys/{survey}/photos", files=[("files", ("f1.jpg", picture(91)))])
    return survey


def column(page: Page, label: str) -> list[str]:
    """Return the visible cells of a column."""
    cells = page.locator(f'#findings tbody tr:visible [data-label^="{label}"]').all_inner_texts()
    return [cell.strip().splitlines()[0] for cell in cells]


def test_columns_sort_by_value_and_say_so(open_page: OpenPage, survey: str) -> None:
    """A click sorts by number, a second one the other way; missing depths stay last both ways."""
    page = open_page(f"/surveys/{survey}/findings").page
    head = page.get_by_role("columnheader", name="Depth")
    head.get_by_role("button").click()
    expect(head).to_have_attribute("aria-sort", "ascending")
    rising = column(page, "Depth")
    assert [text.split()[0] for text in rising] == ["0.030", "0.150", "0.250", "no"]
    head.get_by_role("button").press("Enter")
    expect(head).to_have_attribute("aria-sort", "descending")
    assert [text.split()[0] for text in column(page, "Depth")] == ["0.250", "0.150", "0.030", "no"]
    assert page.locator("th[aria-sort]").count() == 1


def test_filters_show_what_is_wanted(open_page: OpenPage, survey: str) -> None:
    """Filters work together, count what they show, and survive a reload."""
    page = open_page(f"/surveys/{survey}/findings").page
    page.get_by_label("Kind", exact=True).select_option("pit")
    expect(page.locator("#shown")).to_have_text("3 of 4 findings shown")
    page.get_by_label("Any word").fill("over the limit")
    expect(page.locator("#findings tbody tr:visible")).to_have_count(1)
    page.reload()
    expect(page.locator("#findings tbody tr:visible")).to_have_count(1)
    expect(page.get_by_label("Any word")).to_have_value("over the limit")
    page.get_by_label("Any word").fill("nothing like it")
    expect(page.locator("#none-match")).to_be_visible()


def test_verdicts_have_words_and_pits_have_none(open_page: OpenPage, survey: str) -> None:
    """0.15 mm against 0.102 mm reads over limit, with its symbol; a pit is not called within."""
    page = open_page(f"/surveys/{survey}/findings").page
    expect(page.locator('tr[data-kind="blend-out"] .verdict')).to_have_text("✗ over limit")
    expect(page.locator('tr[data-kind="pit"] .verdict')).to_have_count(0)


def test_rows_lead_to_photo_and_map(open_page: OpenPage, survey: str) -> None:
    """A row's links open its photo and its place on the map, with the ledger there."""
    page = open_page(f"/surveys/{survey}/findings").page
    row = page.locator('tr[data-kind="blend-out"]')
    expect(row.get_by_role("link", name="photo f1")).to_have_attribute(
        "href", re.compile(r"^/photos/[0-9a-f]{32}\?mark=B1$")
    )
    row.get_by_role("link", name="map").click()
    expect(page.locator("#spot")).to_contain_text("0.150")
    expect(page.locator("#spot").get_by_role("link", name="photo f1, mark B1")).to_be_visible()


def test_files_hold_what_the_table_shows(open_page: OpenPage, survey: str, tmp_path: Path) -> None:
    """Both exports hold every finding, in the unit shown, and no cell that a spreadsheet would compute."""
    page = open_page(f"/surveys/{survey}/findings").page
    with page.expect_download() as download:
        page.get_by_role("link", name="Export CSV").click()
    download.value.save_as(tmp_path / "findings.csv")
    rows = list(csv.DictReader(io.StringIO((tmp_path / "findings.csv").read_text("utf-8-sig"))))
    assert len(rows) == 4
    assert sorted(float(row["Depth, mm"]) for row in rows if row["Depth, mm"]) == [0.03, 0.15, 0.25]
    assert not any(cell.startswith("=") for row in rows for cell in row.values())
    with page.expect_download() as download:
        page.get_by_role("link", name="Export workbook").click()
    download.value.save_as(tmp_path / "findings.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "findings.xlsx")["Findings"]
    assert sheet.max_row == 5
    assert all(cell.data_type != "f" for cells in sheet.iter_rows() for cell in cells)


def test_nothing_marked_is_not_clean(open_page: OpenPage, service: Service) -> None:
    """An empty table says that it says nothing about the metal."""
    document = survey_file([]) | {"removals": [], "thickness_readings": []}
    empty = service.client.post("/api/surveys/import", json=document).json()["survey"]["id"]
    page = open_page(f"/surveys/{empty}/findings").page
    expect(page.get_by_text("That says nothing about the metal")).to_be_visible()


@pytest.mark.parametrize("units", ["mm", "in"])
def test_no_column_is_cut_off_unsaid(
    open_page: OpenPage, browser: Browser, service: Service, units: str
) -> None:
    """The demonstration's findings fit a desk's 1440 px; on less the page says that there is more."""
    document = json.loads((sample_folder() / "survey.json").read_text("utf-8"))
    made = service.client.post("/api/surveys/import", json=document).json()["survey"]["id"]
    context = browser.new_context(viewport={"width": 1440, "height": 900}, reduced_motion="reduce")
    context.add_cookies([{"name": "units", "value": units, "url": service.url}])
    page = open_page(f"/surveys/{made}/findings?wait=1", context=context).page
    box = page.locator(".scroll")
    expect(box).not_to_have_attribute("data-wide", "")
    assert box.evaluate("box => box.scrollWidth <= box.clientWidth")
    page.set_viewport_size({"width": 1000, "height": 900})
    expect(box).to_have_attribute("data-wide", "")
    cue = box.evaluate("box => getComputedStyle(box, '::before').content")
    assert "scroll sideways" in cue
    context.close()
