"""The history over the API and on its pages, and `corrosion verify`."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import update
from typer.testing import CliRunner

from api.cli import app
from api.tables import RemovalRow
from corrosion.archive import BagForm, make_key
from tests.api.history.stores import Store, behind_the_back, one_row
from tests.api.samples import MARKS, REMOVAL, new_photo, new_survey, tag
from tests.archive.bags import make_bag


@pytest.fixture(scope="module")
def survey(client: httpx.Client) -> str:
    """Make a survey and change it a little: a photo's marks, and a removal that is withdrawn."""
    made = new_survey(client)
    photo = new_photo(client, made)
    deeper = [MARKS[0] | {"depths": [{"value": 0.34, "u": 0.01, "method": "gauge"}]}]
    for version, marks in ((1, MARKS[:1]), (2, deeper)):
        answer = client.put(f"/api/photos/{photo['id']}/marks", json=marks, headers=tag(version))
        assert answer.status_code == 200, answer.text
    removal = client.post(f"/api/surveys/{made}/removals", json=REMOVAL).json()
    reason = {"reason": "<b>wrong</b> card"}
    gone = client.delete(f"/api/removals/{removal['id']}", headers=tag(1), params=reason)
    assert gone.status_code == 204
    return made


def lines_of(client: httpx.Client, path: str, **query: Any) -> list[dict[str, Any]]:
    """Read lines of the history."""
    answer = client.get(path, params=query)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()
    return found


def test_the_api_lists_a_survey_s_changes_newest_first(client: httpx.Client, survey: str) -> None:
    """Each change is there in words and as it was hashed, the structure's own included."""
    lines = lines_of(client, f"/api/surveys/{survey}/history")
    words = [(line["headline"], line["details"], line["reason"]) for line in lines]
    assert words[:3] == [
        ("Rework entry R1 withdrawn", [], "<b>wrong</b> card"),
        ("Rework entry R1 added", ["member SK1", "date 2030-02-01", "depth 0.05 mm"], ""),
        ("Marks of photo IMG_0000 changed", ["P1 depth 0.31 → 0.34 mm"], ""),
    ]
    assert words[-1][0] == "Structure Stabilizer, left added"
    assert [line["seq"] for line in lines] == sorted((line["seq"] for line in lines), reverse=True)
    for line in lines:
        assert hashlib.sha256(line["text"].encode()).hexdigest() == line["hash"]
    assert json.loads(lines[0]["text"])["before"]["/withdrawn_at"] is None


def test_the_api_pages_and_narrows(client: httpx.Client, survey: str) -> None:
    """Pages follow each other without a gap, a kind shows only its own, and the head is the newest line."""
    path = f"/api/surveys/{survey}/history"
    every = lines_of(client, path)
    first = lines_of(client, path, limit=2)
    assert first + lines_of(client, path, before=first[-1]["seq"]) == every
    assert {line["table"] for line in lines_of(client, path, kind="photos")} == {"photos"}
    assert {line["action"] for line in lines_of(client, path, kind="rework")} == {"added", "withdrawn"}
    head = client.get("/api/history/head").json()
    (newest,) = lines_of(client, "/api/history", limit=1)
    assert head == {"seq": newest["seq"], "hash": newest["hash"]}
    assert client.get("/api/surveys/none/history").status_code == 404
    assert client.get(path, params={"kind": "none"}).status_code == 422


def test_the_pages_show_the_same(client: httpx.Client, survey: str) -> None:
    """Both pages say what changed, who and why, escaped; an unknown kind shows everything."""
    page = client.get(f"/surveys/{survey}/history").text
    for said in (
        "P1 depth 0.31 → 0.34 mm",
        "local user",
        "&lt;b&gt;wrong&lt;/b&gt; card",
        "Rework entry R1",
    ):
        assert said in page
    assert "<b>wrong" not in page
    everything = client.get("/history", params={"kind": "none"}).text
    assert f'href="/surveys/{survey}/history"' in everything
    photos = client.get(f"/surveys/{survey}/history", params={"kind": "photos"}).text
    assert "P1 depth" in photos
    assert "Rework entry R1" not in photos
    assert client.get("/surveys/none/history").status_code == 404


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_the_command_finds_and_names(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit code 0 and the head for a sound store; 1 and the row's field for one tampered with."""
    monkeypatch.setenv("COLUMNS", "300")
    runner, data = CliRunner(), ["--data", str(store.folder)]
    before = _snapshot(store.folder)
    sound = runner.invoke(app, ["verify", *data])
    assert sound.exit_code == 0, sound.output
    head = store.verify().head
    assert head is not None
    assert head.hash in sound.output
    assert _snapshot(store.folder) == before
    assert runner.invoke(app, ["verify", *data, "--head", head.hash]).exit_code == 0
    foreign = runner.invoke(app, ["verify", *data, "--head", "ab" * 32])
    assert foreign.exit_code == 1
    assert "lines were rewritten" in foreign.output
    assert runner.invoke(app, ["verify", *data, "--head", "12"]).exit_code == 2
    table: Any = RemovalRow.__table__
    with behind_the_back(store.database) as connection:
        row = one_row(connection, table)
        document = row["document"] | {"face": "inner"}
        connection.execute(update(table).values(document=document))
    found = runner.invoke(app, ["verify", *data])
    assert found.exit_code == 1
    assert 'document/face is "inner", the history says "outer"' in found.output
    assert "rework entry R1" in found.output


def _snapshot(folder: Path) -> dict[str, bytes]:
    """Read every file but those SQLite keeps beside a database that is open."""
    return {
        path.name: path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.endswith(("-shm", "-wal"))
    }


def test_the_command_verifies_archives_too(tmp_path: Path) -> None:
    """A sound bag gives 0, a changed file in it 1 with its name, and so does a foreign key."""
    signer = make_key(tmp_path / "key")
    bag = make_bag(tmp_path / "bag", BagForm.FOLDER, signer=signer)
    make_key(tmp_path / "other")
    runner = CliRunner()
    assert runner.invoke(app, ["verify", str(bag)]).exit_code == 0
    trusted = runner.invoke(app, ["verify", str(bag), "--trust", str(tmp_path / "key.pub")])
    assert (trusted.exit_code, "trusted key" in trusted.output) == (0, True)
    foreign = runner.invoke(app, ["verify", str(bag), "--trust", str(tmp_path / "other.pub")])
    assert foreign.exit_code == 1
    (bag / "data" / "notes.txt").write_bytes(b"one\r\ntwo!")
    found = runner.invoke(app, ["verify", str(bag)])
    assert found.exit_code == 1
    assert "data/notes.txt" in found.output
    assert runner.invoke(app, ["verify", str(bag), "--head", "ab" * 32]).exit_code == 2


def test_the_command_makes_no_store(tmp_path: Path) -> None:
    """A wrong folder is an error, not an empty store that is sound."""
    result = CliRunner().invoke(app, ["verify", "--data", str(tmp_path / "nowhere")])
    assert result.exit_code == 1
    assert "no store" in str(result.exception)
    assert list(tmp_path.iterdir()) == []
