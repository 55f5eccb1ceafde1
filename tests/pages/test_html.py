"""Pages answer over HTTP: errors as pages, safe ways back, cache headers, no inline code."""

from __future__ import annotations

import re
from collections.abc import Iterator

import httpx
import pytest
from fastapi import FastAPI

from api.app import create_app
from api.pages import install, install_pages
from api.pages.preferences import local_path
from api.pages.templating import bundle_is_built
from api.settings import Settings
from tests.api import server
from tests.api.samples import STRUCTURE, new_survey
from tests.support import need

HTML = {"Accept": "text/html"}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Give a client of a service with pages."""
    need(bundle_is_built(), "the pages are not bundled: run 'node build.mjs' in api/web")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(server, "create_app", with_pages)
        with server.running(Settings(data_dir=tmp_path_factory.mktemp("data"))) as made:
            yield made


def with_pages(settings: Settings) -> FastAPI:
    """Make the service, with its pages whether or not it installs them itself."""
    app = create_app(settings)
    if not any(getattr(route, "name", "") == "static" for route in app.routes):
        install_pages(app)
    return app


def pages_of(client: httpx.Client) -> list[str]:
    """Return the address of every page of one survey."""
    survey = new_survey(client)
    structure = client.get(f"/api/surveys/{survey}").json()["structure_id"]
    parts = ["", "/photos", "/rework", "/map", "/findings"]
    return [
        "/",
        "/structures/new",
        f"/structures/{structure}",
        *(f"/surveys/{survey}{part}" for part in parts),
    ]


def test_no_page_holds_inline_code(client: httpx.Client) -> None:
    """No page needs a script or a style that the Content-Security-Policy forbids."""
    for path in pages_of(client):
        answer = client.get(path, headers=HTML)
        assert answer.status_code == 200, path
        assert not re.search(r"<script(?![^>]*(src=|application/json))", answer.text), path
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=", answer.text), path
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"]


def test_names_are_text_never_markup(client: httpx.Client) -> None:
    """A structure's name with markup in it is shown, not run."""
    name = "<img src=x onerror=alert(1)>"
    client.post("/api/structures", json={"units": "mm", "structure": STRUCTURE | {"name": name}})
    page = client.get("/", headers=HTML).text
    assert name not in page
    assert "&lt;img src=x" in page


def test_an_error_is_a_page_for_browsers_and_a_problem_for_programs(client: httpx.Client) -> None:
    """A missing survey is worded the same both ways, each in its own form."""
    page = client.get("/surveys/nothing", headers=HTML)
    problem = client.get("/surveys/nothing", headers={"Accept": "application/json"})
    assert (page.status_code, problem.status_code) == (404, 404)
    assert page.headers["Content-Type"].startswith("text/html")
    assert problem.headers["Content-Type"] == "application/problem+json"
    assert problem.json()["remedy"] in page.text.replace("&#39;", "'")


def test_choices_are_kept_and_lead_back(client: httpx.Client) -> None:
    """The unit a person chooses is kept in a cookie, and the page it was chosen on comes back."""
    answer = client.post(
        "/preferences", data={"units": "in", "back": "/structures/new"}, follow_redirects=False
    )
    assert (answer.status_code, answer.headers["Location"]) == (303, "/structures/new")
    assert 'data-units="in"' in client.get("/structures/new", headers=HTML).text
    client.cookies.clear()


@pytest.mark.parametrize(
    "back", ["//evil.example", "https://evil.example", "/\\evil.example", "x", "/a\r\nb: c"]
)
def test_the_way_back_stays_here(back: str) -> None:
    """No link can use the switches to send a person to another site."""
    assert local_path(back) == "/"


def test_bundles_are_kept_by_their_hash(client: httpx.Client) -> None:
    """A bundle asked for with its hash may be kept for ever; without, it is asked for again."""
    path = re.search(r'href="(/static/style\.css\?v=\w+)"', client.get("/", headers=HTML).text)
    assert path is not None
    assert "immutable" in client.get(path[1]).headers["Cache-Control"]
    assert client.get("/static/style.css").headers["Cache-Control"] == "no-cache"


def test_without_a_bundle_a_page_says_how_to_build(
    client: httpx.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If the scripts were never built, every page says so and how to do it."""
    monkeypatch.setattr(install, "bundle_is_built", lambda: False)
    answer = client.get("/", headers=HTML)
    assert answer.status_code == 503
    assert "node build.mjs" in answer.text
    assert client.get("/api/health").status_code == 200
