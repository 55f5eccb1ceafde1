"""Every error has one shape: problem JSON (RFC 9457) with the value, the place and the way out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.errors import KINDS, OTHER_KINDS, kind_of
from api.pages.templating import bundle_is_built
from api.settings import Settings
from corrosion import errors
from tests.api.samples import MARKS, REMOVAL, STRUCTURE, new_photo, new_survey, picture, tag
from tests.api.server import running

JSON = {"Content-Type": "application/json"}


def check(answer: httpx.Response, status: int) -> dict[str, Any]:
    """Check the shape of a problem and return it."""
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = answer.json()
    assert body["status"] == status
    assert body["type"].startswith("/api/problems/")
    assert body["title"]
    assert body["detail"]
    assert "Traceback" not in answer.text
    assert "sqlalchemy" not in answer.text.lower()
    return body


def test_an_unknown_address_is_a_problem(client: httpx.Client) -> None:
    """404 for an address that no route has, and for a thing that is not there."""
    assert "/api/nothing" in check(client.get("/api/nothing"), 404)["detail"]
    assert "'abc'" in check(client.get("/api/photos/abc"), 404)["detail"]
    check(client.get("/api"), 404)


def test_a_method_not_offered_is_a_problem(client: httpx.Client) -> None:
    """405 names the method and lists the allowed ones."""
    answer = client.delete("/api/structures")
    assert "DELETE" in check(answer, 405)["detail"]
    assert answer.headers["Allow"]


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"units": "mm"}, "body.structure"),
        ({"units": "furlong", "structure": STRUCTURE}, "body.units"),
        ({"units": "mm", "structure": STRUCTURE, "extra": 1}, "body.extra"),
        (
            {"units": "mm", "structure": STRUCTURE | {"members": [{"id": "a/b"}]}},
            "body.structure.members.0.id",
        ),
        ([], "body"),
    ],
)
def test_validation_names_every_path(client: httpx.Client, body: Any, path: str) -> None:
    """A body that breaks the model is a 422 that lists the path of each fault."""
    faults = check(client.post("/api/structures", json=body), 422)["errors"]
    assert path in [fault["path"] for fault in faults]


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"\xff\xfe", b'{"units": NaN}', b'"\\ud800"', b"[" * 100_000, b"nul", b'{"a":1e999}'],
)
def test_json_that_cannot_be_read_is_a_problem(client: httpx.Client, content: bytes) -> None:
    """Broken, deeply nested or badly encoded JSON is a client's problem, never a 500."""
    answer = client.post("/api/structures", content=content, headers=JSON)
    assert answer.status_code in {400, 422}, answer.text
    check(answer, answer.status_code)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_number_that_is_none_is_refused(client: httpx.Client, number: str) -> None:
    """NaN and infinity never reach the store, in no field of an edit."""
    photo = new_photo(client)
    body = f'{{"station": {number}}}'.encode()
    answer = client.patch(f"/api/photos/{photo['id']}", content=body, headers=JSON | tag(1))
    check(answer, 422)


def test_a_lone_surrogate_is_refused(client: httpx.Client) -> None:
    """Text that is not valid Unicode cannot be stored and is refused."""
    photo = new_photo(client)
    body = b'{"note": "\\ud800"}'
    answer = client.patch(f"/api/photos/{photo['id']}", content=body, headers=JSON | tag(1))
    check(answer, 422)


def test_an_edit_without_a_version_is_428(client: httpx.Client) -> None:
    """An edit without If-Match is refused and told what to send; `*` does not count as a version."""
    photo = new_photo(client)
    address = f"/api/photos/{photo['id']}/marks"
    assert "If-Match" in check(client.put(address, json=MARKS), 428)["place"]
    check(client.put(address, json=MARKS, headers={"If-Match": "*"}), 428)
    check(client.put(address, json=MARKS, headers={"If-Match": "3"}), 400)


def test_a_stale_edit_is_412(client: httpx.Client) -> None:
    """An edit of an old version names both versions."""
    photo = new_photo(client)
    body = check(client.put(f"/api/photos/{photo['id']}/marks", json=MARKS, headers=tag(7)), 412)
    assert "version 7" in body["detail"]
    assert "version 1" in body["detail"]
    assert body["remedy"]


def test_an_id_taken_is_409(client: httpx.Client) -> None:
    """Adding a second entry of one id names the id."""
    survey = new_survey(client)
    client.post(f"/api/surveys/{survey}/removals", json=REMOVAL)
    assert "'R1'" in check(client.post(f"/api/surveys/{survey}/removals", json=REMOVAL), 409)["detail"]


def test_a_request_too_large_is_413(client: httpx.Client) -> None:
    """JSON above its limit is refused by its stated length, and while it arrives when none is stated."""
    large = b'{"x": "' + bytes(200_000).replace(b"\0", b"x") + b'"}'
    stated = client.post("/api/structures", content=large, headers=JSON)
    streamed = client.post("/api/structures", content=iter([large]), headers=JSON)
    assert "200000" in check(stated, 413)["detail"]
    check(streamed, 413)


def test_an_upload_too_large_is_413(client: httpx.Client) -> None:
    """An upload request above its limit is refused as a whole before anything is stored."""
    survey = new_survey(client)
    files = [("files", (f"{n}.jpg", bytes(1_900_000))) for n in range(5)]
    check(client.post(f"/api/surveys/{survey}/photos", files=files), 413)
    assert client.get(f"/api/surveys/{survey}/photos").json() == []


def test_an_upload_that_grows_too_large_keeps_what_was_complete(client: httpx.Client) -> None:
    """Without a stated length the upload stops at the limit; complete pictures before it are stored."""
    survey = new_survey(client)
    head = b'--b\r\nContent-Disposition: form-data; name="files"; filename="%d.jpg"\r\n\r\n'
    pieces = [head % 0 + picture(50) + b"\r\n"] + [
        head % n + bytes(1_900_000) + b"\r\n" for n in range(1, 6)
    ]
    answer = client.post(
        f"/api/surveys/{survey}/photos",
        content=iter(pieces),
        headers={"Content-Type": "multipart/form-data; boundary=b"},
    )
    check(answer, 413)
    assert len(client.get(f"/api/surveys/{survey}/photos").json()) == 1


@pytest.fixture
def failing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[httpx.Client]:
    """Serve with a fault in the code of one route."""

    def fail(*_: object) -> None:
        raise ValueError(f"secret of {tmp_path}")

    with running(Settings(data_dir=tmp_path / "data")) as client:
        monkeypatch.setattr("api.services.Services.structures", fail)
        yield client


def test_a_failure_of_ours_tells_nothing_internal(failing: httpx.Client) -> None:
    """A 500 has an incident number for the log, the security headers, and no word of the cause."""
    answer = failing.get("/api/structures")
    body = check(answer, 500)
    assert len(body["incident"]) == 12
    assert "secret" not in answer.text
    assert "ValueError" not in answer.text
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    # The server hangs up afterwards: a client that does not know sends its next request into nothing.
    assert answer.headers["Connection"] == "close"
    page = failing.get("/", headers={"Accept": "text/html"})
    assert page.status_code == 500
    if bundle_is_built():
        assert "<h1>The service failed</h1>" in page.text, "a person sees a page, not a document"
        assert "Its log has it as incident" in page.text
    assert "secret" not in page.text
    assert page.headers["X-Content-Type-Options"] == "nosniff"
    assert page.headers["Connection"] == "close"


def test_a_lost_original_is_503(tmp_path: Path) -> None:
    """If the picture store lost an original, the answer says so without naming a path of the machine."""
    with running(Settings(data_dir=tmp_path)) as client:
        photo = new_photo(client)
        (
            tmp_path / "pictures" / "sha256" / photo["picture"]["sha256"][:2] / photo["picture"]["sha256"]
        ).unlink()
        answer = client.get(photo["picture"]["original"])
        body = check(answer, 503)
        assert photo["picture"]["sha256"] in body["place"]
        assert str(tmp_path) not in answer.text


def test_a_lost_preview_is_made_again(tmp_path: Path) -> None:
    """Previews are only copies: a lost one is made again from the original."""
    with running(Settings(data_dir=tmp_path)) as client:
        photo = new_photo(client)
        before = client.get(photo["picture"]["thumbnail"]).content
        for path in (tmp_path / "pictures" / "thumbnail").rglob("*.jpg"):
            path.unlink()
        assert client.get(photo["picture"]["thumbnail"]).content == before


def test_every_problem_type_is_listed(client: httpx.Client) -> None:
    """Each kind that an answer can name is documented at its own address."""
    listed = client.get("/api/problems").json()
    assert len(listed) == len(KINDS) + len(OTHER_KINDS)
    assert len({kind["type"] for kind in listed}) == len(listed)
    for kind in listed:
        assert client.get(kind["type"]).json() == kind
    check(client.get("/api/problems/none"), 404)


def test_every_error_of_the_tree_has_a_status() -> None:
    """Any error class of the project, now or later, is answered through its nearest base."""
    classes = [
        c for c in vars(errors).values() if isinstance(c, type) and issubclass(c, errors.CorrosionError)
    ]
    assert {kind_of(cls("x")).status for cls in classes} <= {422, 503}
    assert kind_of(errors.StorageError("x")).status == 503
    assert kind_of(errors.ScaleError("x")).status == 422
