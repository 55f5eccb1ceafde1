"""Pictures in an S3 store: create-only, byte for byte, and clear when the store is down.

The server is moto's, on loopback; nothing leaves this machine.
"""

from __future__ import annotations

import hashlib
import importlib.util
import queue
import re
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import httpx
import numpy as np
import pytest
from obstore.store import S3Store
from PIL import Image

from api.files import PictureFiles
from api.settings import Settings
from corrosion.errors import StorageError
from corrosion.model import parse_survey
from tests.api.samples import new_survey, picture, survey_file, upload
from tests.api.server import running
from tests.support import need

START_SECONDS = 60.0
BUCKET = "surveys"


class Server:
    """An S3 server in a process of its own, on a free loopback port."""

    def __init__(self) -> None:
        self._child = subprocess.Popen(
            [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", "0"],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self._lines: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self.url = self._address()

    def _read(self) -> None:
        # To the end: a server whose output nobody reads stops when the pipe is full.
        if self._child.stdout is not None:
            for line in self._child.stdout:
                self._lines.put(line)
        self._lines.put("")

    def _address(self) -> str:
        said = ""
        try:
            while line := self._lines.get(timeout=START_SECONDS):
                said += line
                found = re.search(r"Running on (http://127\.0\.0\.1:\d+)", line)
                if found:
                    return found[1]
        except queue.Empty:
            pass
        self.stop()
        raise AssertionError(f"the S3 server did not start:\n{said}")

    def bucket(self, name: str) -> S3Store:
        """Make an empty bucket; the store looks into it past the service."""
        assert httpx.put(f"{self.url}/{name}", trust_env=False).status_code == 200
        return S3Store(name, endpoint=self.url, client_options={"allow_http": True})

    def stop(self) -> None:
        """End it."""
        self._child.kill()
        self._child.wait(START_SECONDS)
        self._reader.join(START_SECONDS)
        if self._child.stdout is not None:
            self._child.stdout.close()


@pytest.fixture
def keys(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give keys that no real store knows, and keep this machine's own AWS and proxy settings out."""
    for name in ("AWS_PROFILE", "AWS_SESSION_TOKEN", "AWS_ENDPOINT_URL", "AWS_ALLOW_HTTP"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "test")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "test")
    monkeypatch.setenv("AWS_REGION", "us-east-1")
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")


@pytest.fixture
def server(keys: None) -> Iterator[Server]:
    """Give an S3 server without a bucket."""
    need(
        importlib.util.find_spec("moto") and importlib.util.find_spec("flask_cors"),
        "moto's S3 server is not installed (pip install 'moto[server]')",
    )
    started = Server()
    try:
        yield started
    finally:
        started.stop()


@pytest.fixture
def bucket(server: Server) -> S3Store:
    """Give the service's bucket, empty."""
    return server.bucket(BUCKET)


@pytest.fixture
def client(server: Server, bucket: S3Store, tmp_path: Path) -> Iterator[httpx.Client]:
    """Serve with the pictures in the bucket."""
    settings = Settings(
        data_dir=tmp_path / "data", picture_url=f"s3://{BUCKET}", picture_endpoint=server.url
    )
    with running(settings) as made:
        yield made


def original(sha256: str) -> str:
    """Name the place of an original in the bucket."""
    return f"sha256/{sha256[:2]}/{sha256}"


def held(bucket: S3Store, key: str) -> bytes:
    """Read an object past the service."""
    return bytes(bucket.get(key).bytes())


def large_picture(path: Path) -> bytes:
    """Make a picture of more than 8 MB, above the size at which uploads are usually split."""
    noise = np.random.default_rng(1).integers(0, 256, (1700, 1700, 3), dtype=np.uint8)
    Image.fromarray(noise).save(path, "PNG", compress_level=0)
    data = path.read_bytes()
    assert len(data) > 8 * 1024 * 1024
    return data


def test_an_original_is_kept_in_the_bucket(client: httpx.Client, bucket: S3Store, tmp_path: Path) -> None:
    """The bucket holds the exact bytes under their hash, whole and in ranges, and no folder holds them."""
    data = large_picture(tmp_path / "large.png")
    taken = upload(client, new_survey(client), ("large.png", data))[0]
    assert taken["status"] == "stored", taken
    sha256 = hashlib.sha256(data).hexdigest()
    assert held(bucket, original(sha256)) == data
    address = taken["photo"]["picture"]["original"]
    assert client.get(address).content == data
    for asked, part in (
        ("bytes=0-0", data[:1]),
        ("bytes=5000000-6000000", data[5_000_000:6_000_001]),
        ("bytes=-7", data[-7:]),
    ):
        answer = client.get(address, headers={"Range": asked})
        assert (answer.status_code, answer.content) == (206, part)
    preview = client.get(taken["photo"]["picture"]["preview"])
    assert held(bucket, f"preview/{sha256[:2]}/{sha256}.jpg") == preview.content
    assert not (tmp_path / "data" / "pictures").exists()


def test_the_same_bytes_are_written_once(client: httpx.Client, bucket: S3Store) -> None:
    """A second upload meets the first (412 of a create-only write): nothing is written over."""
    first, second = new_survey(client), new_survey(client)
    one = upload(client, first, ("a.jpg", picture(1)))[0]
    key = original(one["sha256"])
    # Other bytes of the same length: if the service wrote again, these would be gone.
    bucket.put(key, bytes(len(picture(1))))
    again = upload(client, first, ("b.jpg", picture(1)))[0]
    elsewhere = upload(client, second, ("c.jpg", picture(1)))[0]
    statuses = [taken["status"] for taken in (one, again, elsewhere)]
    assert statuses == ["stored", "duplicate", "stored"]
    assert held(bucket, key) == bytes(len(picture(1)))


def test_a_damaged_original_is_noticed_not_replaced(client: httpx.Client, bucket: S3Store) -> None:
    """If the bucket holds other bytes under the hash, the upload says so and leaves them alone."""
    data = picture(2)
    key = original(hashlib.sha256(data).hexdigest())
    bucket.put(key, b"something else")
    taken = upload(client, new_survey(client), ("a.jpg", data))[0]
    assert taken["status"] == "refused"
    assert "backup" in taken["problem"]["remedy"]
    assert held(bucket, key) == b"something else"


def test_a_survey_enters_and_leaves(client: httpx.Client) -> None:
    """Import, picture by hash, export: equal to what came, as with a folder."""
    data = picture(3)
    sha256 = hashlib.sha256(data).hexdigest()
    document = survey_file([{"id": "f1", "file": "photos/f1.jpg", "sha256": sha256}])
    made = client.post("/api/surveys/import", json=document).json()
    assert made["waiting"] == ["f1"]
    survey = made["survey"]["id"]
    assert upload(client, survey, ("any.jpg", data))[0]["status"] == "matched"
    assert parse_survey(client.get(f"/api/surveys/{survey}/file").content) == parse_survey(document)
    again = client.post("/api/surveys/import", json=document).json()
    assert again["waiting"] == []


def test_a_lost_original_and_a_store_that_is_down_are_told_apart(
    client: httpx.Client, server: Server, bucket: S3Store
) -> None:
    """503 for both, but one asks for a backup and the other to try again; nothing internal is told."""
    survey = new_survey(client)
    one, two = upload(client, survey, ("a.jpg", picture(4)), ("b.jpg", picture(5)))
    bucket.delete(original(one["sha256"]))
    lost = client.get(one["photo"]["picture"]["original"])
    server.stop()
    down = client.get(two["photo"]["picture"]["original"])
    preview = client.get(two["photo"]["picture"]["preview"])
    refused = upload(client, survey, ("c.jpg", picture(6)))[0]
    assert [answer.status_code for answer in (lost, down, preview)] == [503] * 3
    assert "backup" in lost.json()["remedy"]
    assert "does not answer" in down.json()["detail"]
    assert (refused["status"], refused["problem"]["status"]) == ("refused", 503)
    assert server.url not in down.text + preview.text + str(refused)


def test_an_endpoint_without_a_bucket_is_refused(tmp_path: Path, keys: None) -> None:
    """An S3 address without an s3:// URL would silently keep the pictures in a folder."""
    with pytest.raises(StorageError, match="CORROSION_PICTURE_ENDPOINT"):
        PictureFiles(None, folder=tmp_path, incoming=tmp_path, endpoint="https://store.example")
