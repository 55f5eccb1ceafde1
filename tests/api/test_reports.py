"""Reports of the service: made in the background, fetched, kept until the survey changes, failure told."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from typing import Any

import httpx
import pypdfium2
import pytest

from api import reports
from api.settings import Settings
from corrosion.errors import RecordError
from corrosion.record.subject import Subject
from tests.api.samples import picture, survey_file, tag, upload
from tests.api.sealing.conftest import Case
from tests.api.server import running

POLLS = 6000
PAUSE_S = 0.05


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Give a service of this module's own: it counts what it has made."""
    with running(Settings(data_dir=tmp_path_factory.mktemp("reports"))) as made:
        yield made


def entered(client: httpx.Client) -> str:
    """Import the sample survey and return its id."""
    made = client.post("/api/surveys/import", json=survey_file())
    assert made.status_code == 201, made.text
    return str(made.json()["survey"]["id"])


def done(client: httpx.Client, url: str) -> dict[str, Any]:
    """Ask until a report is ready or has failed."""
    for _ in range(POLLS):
        status: dict[str, Any] = client.get(url).json()
        if status["status"] in ("ready", "failed"):
            return status
        threading.Event().wait(PAUSE_S)
    raise AssertionError(f"still {status}")


def test_a_report_is_made_fetched_and_kept_until_the_survey_changes(client: httpx.Client) -> None:
    """Asked for once it is made in the background; asked again it is there; after an edit it is not."""
    survey = entered(client)
    upload(client, survey, ("f1.jpg", picture()))
    url = f"/api/surveys/{survey}/report"
    assert client.get(url).json()["status"] == "none"
    assert client.get(f"{url}.pdf").status_code == 409
    begun = client.post(url)
    assert begun.status_code == 202
    assert begun.json()["status"] in ("waiting", "working")
    ready = done(client, begun.headers["location"])
    assert ready["status"] == "ready", ready
    got = client.get(ready["href"])
    assert got.headers["content-type"] == "application/pdf"
    assert len(got.content) == ready["size_bytes"]
    text = " ".join(p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(got.content))
    for words in ("First look", "DRAFT: not sealed", "SK1", "Invented scheme RS-12"):
        assert words in text, words
    assert client.get(ready["href"], headers={"If-None-Match": got.headers["etag"]}).status_code == 304
    assert client.post(url).json()["status"] == "ready"
    photo = client.get(f"/api/surveys/{survey}/photos").json()[0]
    changed = client.patch(
        f"/api/photos/{photo['id']}", json={"note": "seen again"}, headers=tag(photo["version"])
    )
    assert changed.status_code == 200, changed.text
    assert client.get(url).json()["status"] == "none"
    assert client.get(f"{url}.pdf").status_code == 409


def test_a_sealed_survey_is_reported_as_it_was_sealed(client: httpx.Client) -> None:
    """Signature, seal and the sealed file's digest are in print; no draft line, no doubt of the seal."""
    case = Case(client).sealed()
    url = f"{case.url}/report"
    client.post(url)
    pdf = pypdfium2.PdfDocument(client.get(done(client, url)["href"]).content)
    text = " ".join(" ".join(p.get_textpage().get_text_range().split()) for p in pdf)
    assert "DRAFT" not in text
    assert "Signed as inspector" in text
    assert hashlib.sha256(client.get(f"{case.url}/file").content).hexdigest() in text
    assert "NOT the sealed one" not in text


def test_the_summary_is_one_page_on_either_paper(client: httpx.Client) -> None:
    """Each paper and kind is a report of its own; sizes ISO 216 A4 and ANSI A in mm, from memory."""
    survey = entered(client)
    for paper, width_mm in (("a4", 210.0), ("letter", 215.9)):
        url = f"/api/surveys/{survey}/report?kind=summary&paper={paper}"
        client.post(url)
        pages = pypdfium2.PdfDocument(client.get(done(client, url)["href"]).content)
        assert len(pages) == 1
        # A tenth of a millimetre: what a printer cannot show.
        assert pages[0].get_size()[0] * 25.4 / 72.0 == pytest.approx(width_mm, abs=0.1)
    assert client.get(f"/api/surveys/{survey}/report").json()["status"] == "none"


def test_a_failure_is_told_and_may_be_tried_again(
    client: httpx.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A user's error comes in its own words; any other gives a reference and none of its text."""
    url = f"/api/surveys/{entered(client)}/report?kind=summary"
    cases = ((RecordError("no paper left"), "no paper left"), (ValueError("secret"), "reference"))
    for error, words in cases:

        def broken(*_: Any, error: Exception = error) -> bytes:
            raise error

        monkeypatch.setattr(reports, "_pdf", broken)
        client.post(url)
        failed = done(client, url)
        assert failed["status"] == "failed"
        assert words in failed["problem"]
        assert "secret" not in failed["problem"]
    monkeypatch.undo()
    client.post(url)
    assert done(client, url)["status"] == "ready"


def test_too_many_at_once_are_refused_and_old_ones_forgotten(
    client: httpx.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What waits is bounded, and so is what is kept."""
    go = threading.Event()

    def held(*_: Any) -> bytes:
        go.wait(300)
        return b"%PDF-pages"

    monkeypatch.setattr(reports, "_pdf", held)
    monkeypatch.setattr(reports, "KEPT_REPORTS", 1)
    surveys = [entered(client) for _ in range(reports.MOST_WAITING + 1)]
    urls = [f"/api/surveys/{survey}/report" for survey in surveys]
    try:
        answers = [client.post(url) for url in urls]
    finally:
        go.set()
    assert [a.status_code for a in answers] == [202] * reports.MOST_WAITING + [409]
    assert "Wait" in answers[-1].json()["remedy"]
    for url in urls[:-1]:
        assert done(client, url)["status"] == "ready"
    client.post(urls[-1])
    done(client, urls[-1])
    assert [client.get(url).json()["status"] for url in urls] == ["none"] * reports.MOST_WAITING + ["ready"]
    assert client.get(f"{urls[0]}.pdf").status_code == 409


def test_a_change_before_the_making_is_in_the_report(
    client: httpx.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is changed while the report waits is in it: the file is kept for the survey as it then is."""
    go, make = threading.Event(), reports.Reports.subject

    def late(self: reports.Reports, survey: str) -> Subject:
        go.wait(300)
        return make(self, survey)

    monkeypatch.setattr(reports.Reports, "subject", late)
    survey = entered(client)
    url = f"/api/surveys/{survey}/report?kind=summary"
    client.post(url)
    photo = client.get(f"/api/surveys/{survey}/photos").json()[0]
    client.patch(f"/api/photos/{photo['id']}", json={"note": "later"}, headers=tag(photo["version"]))
    go.set()
    assert done(client, url)["status"] == "ready"
    assert client.get(url).json()["status"] == "ready"


def test_no_such_survey(client: httpx.Client) -> None:
    """Neither status nor file nor making gives anything for a survey that is not there."""
    for answer in (
        client.get("/api/surveys/none/report"),
        client.post("/api/surveys/none/report"),
        client.get("/api/surveys/none/report.pdf"),
    ):
        assert answer.status_code == 404
