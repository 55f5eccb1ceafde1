"""A real process, killed with SIGKILL: nothing half-written is visible, nothing confirmed is lost."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.settings import Settings
from tests.api.samples import MARKS, new_photo, new_survey, picture, survey_file, tag, upload
from tests.api.server import Process, running


@pytest.fixture
def processes() -> Iterator[list[Process]]:
    """Collect the processes of a test and end those that still run."""
    started: list[Process] = []
    yield started
    for process in started:
        process.stop()


def start(processes: list[Process], data: Path, crash_at: str = "") -> httpx.Client:
    """Start the service on a data folder and give a client for it."""
    process = Process(data, crash_at=crash_at)
    processes.append(process)
    return httpx.Client(base_url=process.address, timeout=120)


def check_store(client: httpx.Client, data: Path) -> dict[str, dict[str, Any]]:
    """Check that every visible photo is whole and return the photos by hash."""
    photos: dict[str, dict[str, Any]] = {}
    for survey in client.get("/api/surveys").json():
        assert client.get(f"/api/surveys/{survey['id']}/file").status_code == 200
        for photo in client.get(f"/api/surveys/{survey['id']}/photos").json():
            found = photo["picture"]
            original = client.get(found["original"]).content
            assert hashlib.sha256(original).hexdigest() == found["sha256"]
            assert len(original) == found["size_bytes"]
            for kind in ("preview", "thumbnail"):
                assert client.get(found[kind]).content.startswith(b"\xff\xd8")
            photos[found["sha256"]] = photo
    for blob in (data / "pictures" / "sha256").glob("*/*"):
        if "#" not in blob.name:
            assert hashlib.sha256(blob.read_bytes()).hexdigest() == blob.name
    connection = sqlite3.connect(data / "corrosion.sqlite3")
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    connection.close()
    return photos


@pytest.mark.parametrize("place", ["received", "stored", "commit"])
def test_a_kill_at_any_step_of_an_upload_shows_nothing_half_done(
    tmp_path: Path, processes: list[Process], place: str
) -> None:
    """Killed after receiving, after storing or before the commit: the photo is not there, the rest is.

    The same upload afterwards works: what the kill left behind is in nobody's way.
    """
    with running(Settings(data_dir=tmp_path)) as client:
        survey = new_survey(client)
        kept = upload(client, survey, ("kept.jpg", picture(1)))[0]
    with start(processes, tmp_path, place) as client, pytest.raises(httpx.TransportError):
        upload(client, survey, ("lost.jpg", picture(2)))
    assert processes[-1].wait() == -9
    with running(Settings(data_dir=tmp_path)) as client:
        assert set(check_store(client, tmp_path)) == {kept["sha256"]}
        again = upload(client, survey, ("lost.jpg", picture(2)))[0]
        assert again["status"] == "stored"
        assert len(check_store(client, tmp_path)) == 2


def test_a_kill_within_an_edit_leaves_the_old_version(tmp_path: Path, processes: list[Process]) -> None:
    """Killed before the commit of an edit: the photo is as before, with its old ETag, and can be edited."""
    with running(Settings(data_dir=tmp_path)) as client:
        photo = new_photo(client)
        client.put(f"/api/photos/{photo['id']}/marks", json=MARKS, headers=tag(1))
        before = client.get(f"/api/photos/{photo['id']}").json()
    with start(processes, tmp_path, "commit") as client, pytest.raises(httpx.TransportError):
        client.put(f"/api/photos/{photo['id']}/marks", json=[], headers=tag(2))
    assert processes[-1].wait() == -9
    with running(Settings(data_dir=tmp_path)) as client:
        assert client.get(f"/api/photos/{photo['id']}").json() == before
        done = client.put(f"/api/photos/{photo['id']}/marks", json=[], headers=tag(2))
        assert done.status_code == 200


def test_a_kill_within_an_import_leaves_nothing_of_it(tmp_path: Path, processes: list[Process]) -> None:
    """Killed before the commit of an import: neither the survey nor its structure is there."""
    with start(processes, tmp_path, "commit") as client, pytest.raises(httpx.TransportError):
        client.post("/api/surveys/import", json=survey_file())
    assert processes[-1].wait() == -9
    with running(Settings(data_dir=tmp_path)) as client:
        assert client.get("/api/surveys").json() == []
        assert client.get("/api/structures").json() == []


class Worker:
    """Uploads pictures and edits one photo without pause, and remembers what was confirmed."""

    def __init__(self, address: str, survey: str, photo: str, first_seed: int) -> None:
        self.confirmed: list[str] = []
        self.version = 0
        self.marks: list[str] = []
        self._seeds = iter(range(first_seed, first_seed + 10_000))
        self._address, self._survey, self._photo = address, survey, photo
        self.threads = [threading.Thread(target=run) for run in (self._upload, self._edit)]

    def _upload(self) -> None:
        with httpx.Client(base_url=self._address, timeout=120) as client:
            while True:
                seeds = [next(self._seeds) for _ in range(3)]
                files = [(f"{seed}.jpg", picture(seed, size=(120, 90))) for seed in seeds]
                try:
                    taken = upload(client, self._survey, *files)
                except httpx.TransportError:
                    return
                self.confirmed += [one["sha256"] for one in taken if one["status"] == "stored"]

    def _edit(self) -> None:
        with httpx.Client(base_url=self._address, timeout=120) as client:
            version = client.get(f"/api/photos/{self._photo}").json()["version"]
            while True:
                marks = [MARKS[0] | {"id": f"{version}-{n}"} for n in range(20)]
                try:
                    done = client.put(f"/api/photos/{self._photo}/marks", json=marks, headers=tag(version))
                except httpx.TransportError:
                    return
                assert done.status_code == 200
                version = self.version = done.json()["version"]
                self.marks = [mark["id"] for mark in marks]


def test_kills_in_the_middle_of_work_lose_nothing_confirmed(
    tmp_path: Path, processes: list[Process]
) -> None:
    """Twice killed while uploading and editing: whatever was answered is there, whole."""
    with running(Settings(data_dir=tmp_path)) as client:
        survey = new_survey(client)
        photo = new_photo(client, survey, seed=9)["id"]
    confirmed: set[str] = set()
    for number in range(2):
        process = Process(tmp_path)
        processes.append(process)
        worker = Worker(process.address, survey, photo, 1000 * (number + 1))
        for thread in worker.threads:
            thread.start()
        while len(worker.confirmed) < 6 or worker.version < 2:
            time.sleep(0.01)
        # A different moment each time; the work goes on until the process is gone.
        time.sleep(0.037 * number)
        process.kill()
        for thread in worker.threads:
            thread.join()
        confirmed |= set(worker.confirmed)
        with running(Settings(data_dir=tmp_path)) as client:
            assert confirmed <= set(check_store(client, tmp_path))
            now = client.get(f"/api/photos/{photo}").json()
            ids = [mark["id"] for mark in now["photo"]["marks"]]
            if now["version"] == worker.version:
                assert ids == worker.marks
            else:
                # The edit in flight was committed, but its answer was lost with the process.
                assert now["version"] == worker.version + 1
                assert ids == [f"{worker.version}-{n}" for n in range(20)]


def test_what_killed_uploads_left_is_removed_at_a_later_start(tmp_path: Path) -> None:
    """Old temporary files are removed at a start; young ones may belong to another process."""
    incoming = tmp_path / "incoming"
    incoming.mkdir()
    old, young = incoming / "old.part", incoming / "young.part"
    old.write_bytes(b"x")
    young.write_bytes(b"x")
    os.utime(old, (0, 0))
    with running(Settings(data_dir=tmp_path)):
        pass
    assert not old.exists()
    assert young.exists()
