"""The report on the record page: asked for, awaited, fetched; its failure told."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from api import reports
from corrosion.errors import RecordError
from tests.api.sealing.conftest import Case
from tests.browser.conftest import OpenPage, Service
from tests.browser.test_accessibility import faults


def test_a_report_is_made_and_fetched_from_the_record_page(
    open_page: OpenPage, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The button has it made and turns into the download; each paper has its own; failure is told."""
    case = Case(service.client)
    watched = open_page(f"/surveys/{case.id}/record", phone=True)
    page = watched.page
    page.get_by_label("What", exact=True).select_option("summary")
    page.get_by_role("button", name="Make the report").click()
    fetch = page.get_by_role("link", name="Download the report")
    # The first report of a run loads the typesetter and the drawing library.
    expect(fetch).to_be_visible(timeout=60_000)
    expect(page.locator("#report-said")).to_contain_text("Ready:")
    assert faults(page) == []
    with page.expect_download() as saved:
        fetch.click()
    assert saved.value.path().read_bytes().startswith(b"%PDF-")
    page.get_by_label("Paper of the report", exact=True).select_option("a4")
    expect(page.get_by_role("button", name="Make the report")).to_be_visible()
    expect(fetch).to_be_hidden()

    def broken(*_: Any) -> bytes:
        raise RecordError("The shop is out of paper.")

    monkeypatch.setattr(reports, "_pdf", broken)
    page.get_by_role("button", name="Make the report").click()
    expect(page.locator("#report [role=alert]")).to_have_text("The shop is out of paper.")
    page.get_by_label("Paper of the report", exact=True).select_option("letter")
    expect(fetch).to_be_visible()
