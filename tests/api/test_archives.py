"""Archives out of one installation and into another: nothing lost, nothing half done, nothing believed."""

from __future__ import annotations

import hashlib
import io
import json
import random
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bagit
import httpx
import pytest

from api.settings import Settings
from corrosion.archive import load_trusted, make_key, verify_bag
from tests.api.samples import picture, survey_file, tag
from tests.api.sealing.conftest import Case
from tests.api.server import running
from tests.archive.bags import zip_of

TICK = json.dumps(
    {"ticks": [dict.fromkeys(("card", "fingerprint", "logged", "who", "what", "when"), "nonsense")]}
).encode()[1:-1]
REPORTLESS = {"paper": "none"}


def _settings(folder: Path) -> Settings:
    return Settings(
        data_dir=folder,
        max_file_bytes=2_000_000,
        max_upload_bytes=4_000_000,
        max_json_bytes=500_000,
        max_files=20,
    )


@pytest.fixture(scope="module")
def origin(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Run the installation that archives come from."""
    with running(_settings(tmp_path_factory.mktemp("origin"))) as made:
        yield made


@pytest.fixture(scope="module")
def other_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the data folder of the other installation."""
    return tmp_path_factory.mktemp("other")


@pytest.fixture(scope="module")
def other(other_folder: Path) -> Iterator[httpx.Client]:
    """Run another installation, which signs its archives."""
    key = other_folder / "archive.pem"
    make_key(key)
    with running(_settings(other_folder).model_copy(update={"archive_key": key})) as made:
        yield made


def _new_survey(client: httpx.Client, name: str) -> str:
    """Import a survey with two photos, one of them without a hash in its file."""
    first, second = picture(3), picture(4)
    one = survey_file()["photos"][0] | {"sha256": hashlib.sha256(first).hexdigest()}
    file = survey_file([one, {"id": "f2", "file": "photos/f2.jpg", "member": "SK1", "face": "outer"}])
    file["survey"]["name"] = name
    form = [
        ("survey", ("survey.json", json.dumps(file))),
        ("files", ("f1.jpg", first)),
        ("files", ("f2.jpg", second)),
    ]
    answer = client.post("/api/surveys/import", files=form)
    assert answer.status_code == 201, answer.text
    assert answer.json()["waiting"] == []
    return str(answer.json()["survey"]["id"])


def _archive(client: httpx.Client, survey: str, **query: str) -> bytes:
    answer = client.get(f"/api/surveys/{survey}/archive", params=REPORTLESS | query)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/zip"
    assert int(answer.headers["content-length"]) == len(answer.content)
    return answer.content


def _import(client: httpx.Client, bag: bytes) -> dict[str, Any]:
    answer = client.post("/api/archives", content=bag, headers={"Content-Type": "application/zip"})
    assert answer.status_code == 201, answer.text
    imported: dict[str, Any] = answer.json()
    return imported


def _files(bag: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(bag)) as opened:
        return {name.partition("/")[2]: opened.read(name) for name in opened.namelist()}


def _payload(bag: bytes) -> dict[str, str]:
    return {
        name: hashlib.sha256(data).hexdigest()
        for name, data in _files(bag).items()
        if name.startswith("data/")
    }


@pytest.fixture(scope="module")
def open_survey(origin: httpx.Client) -> str:
    """Enter an open survey at the origin."""
    return _new_survey(origin, "Open survey")


@pytest.fixture(scope="module")
def bag(origin: httpx.Client, open_survey: str) -> bytes:
    """Archive it."""
    return _archive(origin, open_survey)


def test_an_archive_is_whole_and_valid(
    origin: httpx.Client, open_survey: str, bag: bytes, tmp_path: Path
) -> None:
    """It holds originals bit for bit, survey file, schema, record, history; bagit finds it valid."""
    (tmp_path / "bag.zip").write_bytes(bag)
    report = verify_bag(tmp_path / "bag.zip")
    assert report.sound, report.problems
    assert ("External-Identifier", open_survey) in report.info
    files = _files(bag)
    assert [files["data/photos/f1.jpg"], files["data/photos/f2.jpg"]] == [picture(3), picture(4)]
    expected = {"survey.json", "survey.schema.json", "originals.csv", "record.json", "history.jsonl"}
    assert {f"data/{name}" for name in expected} <= set(files)
    assert len(files["data/history.jsonl"].splitlines()) > 3
    with zipfile.ZipFile(io.BytesIO(bag)) as opened:
        opened.extractall(tmp_path)
        bagit.Bag(str(tmp_path / opened.namelist()[0].partition("/")[0])).validate()
    assert _archive(origin, open_survey) == bag


def test_archive_import_archive_gives_the_same_payload(
    origin: httpx.Client, other: httpx.Client, open_survey: str, bag: bytes
) -> None:
    """Another installation gives back every payload file with the same checksum."""
    imported = _import(other, bag)
    assert imported["signature"] == "none"
    survey = imported["survey"]["id"]
    assert survey != open_survey
    again = _archive(other, survey)
    assert _payload(again) == _payload(bag)
    assert (
        other.get(f"/api/surveys/{survey}/file", params={"hashes": True}).content
        == _files(bag)["data/survey.json"]
    )
    assert _payload(_archive(other, _import(other, again)["survey"]["id"])) == _payload(bag)
    kept = other.get(f"/api/surveys/{survey}/archived").json()
    assert {f"data/{one['path']}": one["sha256"] for one in kept} == _payload(bag)
    history = other.get(f"/api/surveys/{survey}/archived/history.jsonl")
    assert history.content == _files(bag)["data/history.jsonl"]
    assert history.headers["content-disposition"].startswith("attachment")
    assert other.get(f"/api/surveys/{survey}/archived/nothing").status_code == 404
    first = other.get(f"/api/surveys/{survey}/photos").json()[0]
    assert other.get(f"/api/photos/{first['id']}/thumbnail").status_code == 200


def test_the_service_signs_with_its_key(other: httpx.Client, other_folder: Path, tmp_path: Path) -> None:
    """With a key in its settings it signs every archive; only who knows the key can vouch for it."""
    path = tmp_path / "signed.zip"
    path.write_bytes(_archive(other, _new_survey(other, "Signed")))
    assert verify_bag(path).signature.state == "unknown"
    trusted = [load_trusted(other_folder / "archive.pem.pub")]
    assert verify_bag(path, trusted=trusted).signature.state == "trusted"


def test_a_change_after_the_import_is_archived_with_what_came_before(
    other: httpx.Client, bag: bytes
) -> None:
    """After an edit the archive says the new state, and keeps the origin's history and record beside it."""
    survey = _import(other, bag)["survey"]["id"]
    photo = other.get(f"/api/surveys/{survey}/photos").json()[0]
    edit = other.patch(
        f"/api/photos/{photo['id']}", json={"note": "seen again"}, headers=tag(photo["version"])
    )
    assert edit.status_code == 200, edit.text
    changed, before = _files(_archive(other, survey)), _files(bag)
    assert b"seen again" in changed["data/survey.json"]
    for name in ("history.jsonl", "record.json", "survey.json"):
        assert changed[f"data/earlier/{name}"] == before[f"data/{name}"]
    assert b"seen again" in changed["data/history.jsonl"]


def test_missing_originals_are_said_never_passed_over(origin: httpx.Client) -> None:
    """A survey that waits for a picture is archived only if asked, and the bag says what it lacks."""
    answer = origin.post("/api/surveys/import", json=survey_file())
    survey = answer.json()["survey"]["id"]
    refused = origin.get(f"/api/surveys/{survey}/archive")
    assert refused.status_code == 409
    assert "f1" in refused.json()["detail"]
    bag = _archive(origin, survey, incomplete="true")
    assert b"1 of 1 originals not there" in _files(bag)["bag-info.txt"]


def _state(client: httpx.Client, folder: Path) -> tuple[Any, ...]:
    """Return everything a refused archive could leave: surveys, structures, files on the disk."""
    files = sorted(
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith("corrosion.sqlite3")
    )
    lists = [
        client.get(f"/api/{kind}", params={"limit": 1000}).json() for kind in ("surveys", "structures")
    ]
    return *lists, files


def _hostile(bag: bytes) -> Iterator[bytes]:
    """Yield a hundred bodies: damaged, cut short, rewritten, hand-made."""
    chance = random.Random(8493)  # noqa: S311 - repeatable, not secret
    files = _files(bag)

    def rewritten(changes: dict[str, bytes | None]) -> bytes:
        whole = {f"bag/{name}": data for name, data in (files | changes).items() if data is not None}
        return zip_of(*whole.items())

    yield from (b"", b"PK", b"not a zip" * 100, zip_of(), zip_of(("a", b"")), bag[: len(bag) // 2])
    yield rewritten({"data/../../outside.txt": b"x"})
    yield rewritten({"/etc/outside.txt": b"x"})
    yield rewritten({"data/photos/f1.jpg": None})
    yield rewritten({"data/zeros.bin": b"\0" * 3_000_000})
    for name in files:
        yield rewritten({name: b""})
        yield rewritten({name: None} if name.startswith("data/") else {name: files[name][:-1] + b"\xff"})
    yield from (_resealed(files, {"survey.json": text}) for text in _bad_surveys(files["data/survey.json"]))
    yield from (_resealed(files, {"record.json": text}) for text in _bad_records(files["data/record.json"]))
    yield _resealed(files, {"kept.json": b"\xff\xfe"})
    yield _resealed(files, {"kept.json": files["data/kept.json"].replace(b'"ticks": []', TICK)})
    yield _resealed(files, {"photos/f1.jpg": b"GIF89a no photo"})
    while True:
        damaged = bytearray(bag)
        for _ in range(chance.randint(1, 4)):
            damaged[chance.randrange(len(damaged))] ^= chance.randint(1, 255)
        yield bytes(damaged)


def _bad_surveys(good: bytes) -> list[bytes]:
    member = good.replace(b'"SK1"', b'"SK\\u0000"')
    return [
        b"[]",
        b"{}",
        b'{"a":' * 5000,
        good.decode().encode("utf-16"),
        member,
        good.replace(b"1.02", b"1e999"),
    ]


def _bad_records(good: bytes) -> list[bytes]:
    facts = json.loads(good)
    signature = {"role": "inspector", "name": "A", "signed_at": "0001-01-01T00:00:00+14:00"}
    changes: list[dict[str, Any]] = [
        {"signatures": [signature]},
        {"signatures": [signature | {"role": "admiral"}]},
        {"seal": {"by": "A", "at": "2031-01-01", "digest": "0" * 64}},
        {"revises": {"survey": "x", "name": "y", "revision": 10**30, "digest": ""}},
    ]
    return [json.dumps(facts | {"facts": facts["facts"] | change}).encode() for change in changes] + [
        b"null"
    ]


def _resealed(files: dict[str, bytes], changes: dict[str, bytes]) -> bytes:
    """Rewrite payload files and make every checksum right again."""
    payload = {name: data for name, data in files.items() if name.startswith("data/")}
    payload |= {f"data/{name}": data for name, data in changes.items()}
    lines = [f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in payload.items()]
    whole = {"bagit.txt": files["bagit.txt"], "manifest-sha256.txt": "".join(lines).encode()} | payload
    return zip_of(*((f"bag/{name}", data) for name, data in whole.items()))


def test_a_hundred_hostile_archives_are_refused_and_leave_nothing(
    other: httpx.Client, other_folder: Path, bag: bytes
) -> None:
    """Each gets a 4xx that says what is wrong; no survey, structure, picture or temporary file stays."""
    before = _state(other, other_folder)
    statuses = []
    for number, body in zip(range(100), _hostile(bag), strict=False):
        answer = other.post("/api/archives", content=body, headers={"Content-Type": "application/zip"})
        statuses.append(answer.status_code)
        assert 400 <= answer.status_code < 500, (number, answer.text)
        assert answer.json()["detail"], number
    assert len(statuses) == 100
    form = {"bag": ("bag.zip", b"no")}
    assert other.post("/api/archives", files=form).status_code == 422
    assert other.post("/api/archives", files={"other": ("bag.zip", bag)}).status_code == 400
    assert other.post("/api/archives", content=bytes(4_100_000)).status_code == 413
    assert _state(other, other_folder) == before


def test_every_problem_of_a_refused_archive_is_listed(other: httpx.Client, bag: bytes) -> None:
    """A flipped byte in a photo and a missing table are both named, each with its file."""
    files = _files(bag)
    photo = bytearray(files["data/photos/f2.jpg"])
    photo[100] ^= 1
    files |= {"data/photos/f2.jpg": bytes(photo)}
    del files["data/originals.csv"]
    body = zip_of(*((f"bag/{name}", data) for name, data in files.items()))
    answer = other.post("/api/archives", files={"bag": ("bag.zip", body)})
    assert answer.status_code == 422
    named = {fault["path"] for fault in answer.json()["errors"]}
    assert {"data/photos/f2.jpg", "data/originals.csv"} <= named


def test_a_sealed_record_comes_back_sealed_and_gives_the_same_payload(
    origin: httpx.Client, other: httpx.Client, tmp_path: Path
) -> None:
    """Signatures, seal and frozen file survive the journey; the payload comes out byte for byte again."""
    survey = Case(origin, decision=None).sealed()
    bag = _archive(origin, survey.id)
    files = _files(bag)
    facts = json.loads(files["data/record.json"])["facts"]
    assert facts["seal"]["digest"] == hashlib.sha256(files["data/survey.json"]).hexdigest()
    imported = _import(other, bag)["survey"]["id"]
    here, there = other.get(f"/api/surveys/{imported}/record").json(), survey.record()
    assert here["seal"]["digest"] == there["seal"]["digest"]
    keys = ("name", "place", "date", "statement", "certificate_number", "signed_at", "valid")
    signed = [[[one[key] for key in keys] for one in record["signatures"]] for record in (here, there)]
    assert len(signed[0]) == 2
    assert signed[0] == signed[1]
    photo = other.get(f"/api/surveys/{imported}/photos").json()[0]
    edit = other.patch(f"/api/photos/{photo['id']}", json={"note": "x"}, headers=tag(photo["version"]))
    assert edit.status_code == 409
    assert _payload(_archive(other, imported)) == _payload(bag)
    forged = _resealed(
        files, {"survey.json": files["data/survey.json"].replace(b"Inspector A", b"Inspector B")}
    )
    refused = other.post("/api/archives", content=forged)
    assert refused.status_code == 422
    assert "sealed" in refused.json()["detail"]


def test_the_pages_say_what_is_wrong_and_lead_on(
    origin: httpx.Client, other: httpx.Client, bag: bytes
) -> None:
    """A refused archive comes back with its problems; a good one leads to its survey."""
    bad = bytearray(bag)
    bad[bag.index(picture(4)) + 50] ^= 1
    refused = other.post("/archives", files={"bag": ("bag.zip", bytes(bad))})
    assert refused.status_code == 422
    assert "<code>data/photos/f2.jpg</code>: is damaged in the zip" in refused.text
    done = other.post("/archives", files={"bag": ("bag.zip", bag)})
    assert done.status_code == 303
    survey = done.headers["location"]
    assert "every change before it came here" in other.get(f"{survey}/archived").text
    assert other.get(f"{survey}/archive", params=REPORTLESS).headers["content-type"] == "application/zip"
    waits = origin.post("/api/surveys/import", json=survey_file()).json()["survey"]["id"]
    told = origin.get(f"/surveys/{waits}/archive", headers={"Accept": "text/html"})
    assert told.status_code == 409
    assert "text/html" in told.headers["content-type"]
    assert "f1" in told.text
