"""A hundred hostile pictures: each is answered, what is kept is whole, and nothing is lost."""

from __future__ import annotations

import hashlib
import random
import struct
import zlib
from pathlib import Path

from api.settings import Settings
from tests.api.history.stores import open_store, whole
from tests.api.samples import new_photo, picture
from tests.api.server import running

SEED = 2031


def hostile_files() -> list[tuple[str, bytes]]:
    """Make a hundred files that no survey should suffer from, seeded."""
    choice = random.Random(SEED)  # noqa: S311 - tests are no secret
    good = {kind: picture(9, size=(64, 48), kind=kind) for kind in ("JPEG", "PNG", "TIFF", "WEBP")}
    ends = {"JPEG": "jpg", "PNG": "png", "TIFF": "tif", "WEBP": "webp"}
    made: list[tuple[str, bytes]] = []
    for kind, data in good.items():
        name, other = f"x.{ends[kind]}", "PNG" if kind != "PNG" else "JPEG"
        made += [(name, data[: choice.randrange(1, len(data))]) for _ in range(7)]
        made += [(name, _flipped(data, choice)) for _ in range(7)]
        made += [(f"x.{ends[other]}", data), (name, data[:40] + good[other][40:]), (name, bytes(len(data)))]
    names = (
        "../../x.jpg",
        "..\\x.jpg",
        "/etc/x.jpg",
        "x\x00.jpg",
        "C:x.jpg",
        "a" * 900,
        ".",
        "",
        "%2e%2e/x.jpg",
    )
    made += [(name, picture(100 + number, size=(8, 8))) for number, name in enumerate(names)]
    made += [
        ("zeros.png", _png_bomb(60_000)),
        ("thin.png", _png_bomb(4_000_000, 1)),
        ("flat.png", _png_bomb(0)),
    ]
    made += [
        ("x.jpg", one) for one in (b"", b"\xff\xd8", b"GIF89a", b"%PDF-1.7", b"<svg/>", b"PK\x03\x04" * 9)
    ]
    made += [("x.jpg", choice.randbytes(300)) for _ in range(100 - len(made))]
    return made


def _flipped(data: bytes, choice: random.Random) -> bytes:
    found = bytearray(data)
    for _ in range(3):
        found[choice.randrange(min(200, len(found)))] ^= 1 << choice.randrange(8)
    return bytes(found)


def _png_bomb(width: int, height: int = 60_000) -> bytes:
    """Make a tiny PNG that claims a huge picture (W3C PNG, clause 11.2.2)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    packed = zlib.compress(bytes(1_000_000), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def test_a_hundred_hostile_uploads_cost_nothing(tmp_path: Path) -> None:
    """Cut, flipped, lying, swollen and misnamed files: each is answered, what is kept is whole, no more."""
    files = hostile_files()
    assert len(files) == 100
    stored: set[str] = set()
    with running(Settings(data_dir=tmp_path, max_file_bytes=200_000, max_megapixels=1)) as client:
        photo = new_photo(client)
        address = f"/api/surveys/{photo['survey_id']}/photos"
        for name, data in files:
            head = f'Content-Disposition: form-data; name="files"; filename="{name}"'
            body = f"--b\r\n{head}\r\n\r\n".encode() + data + b"\r\n--b--\r\n"
            kind = {"Content-Type": "multipart/form-data; boundary=b"}
            answer = client.post(address, content=body, headers=kind)
            assert answer.status_code in {200, 400, 422}, (name[:40], answer.text)
            assert "Traceback" not in answer.text
            for one in answer.json().get("files", []):
                assert one.get("problem", None) is None or one["problem"]["status"] < 500, one
                if one["status"] == "stored":
                    assert one["sha256"] == hashlib.sha256(data).hexdigest()
                    stored.add(one["sha256"])
        assert client.get(photo["picture"]["original"]).content == picture(0)
        listed = client.get(address).json()
        assert {one["picture"]["sha256"] for one in listed} == stored | {photo["picture"]["sha256"]}
        assert all(client.get(one["picture"]["preview"]).status_code == 200 for one in listed)
    kept = {path.name for path in (tmp_path / "pictures" / "sha256").glob("*/*")}
    assert kept == stored | {photo["picture"]["sha256"]}
    assert 4 <= len(stored) < 50
    assert {path.name for path in tmp_path.iterdir()} <= {
        *("corrosion.sqlite3", "corrosion.sqlite3-wal", "corrosion.sqlite3-shm", "incoming", "pictures")
    }
    assert list((tmp_path / "incoming").iterdir()) == []
    store = open_store(f"sqlite:///{tmp_path / 'corrosion.sqlite3'}", tmp_path)
    report = store.verify()
    store.database.close()
    assert whole(report) == ""
