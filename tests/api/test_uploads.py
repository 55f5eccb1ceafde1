"""Uploading pictures: kept bit for bit, once, each file on its own, whatever is sent."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any

import httpx
import pillow_heif
import pytest
from PIL import Image

from api.settings import Settings
from tests.api.samples import new_survey, picture, survey_file, upload
from tests.api.server import running


def test_originals_are_kept_bit_for_bit(client: httpx.Client) -> None:
    """What is downloaded is what was uploaded, to the last byte, EXIF and all."""
    exif = Image.Exif()
    exif[0x0110] = "Camera"
    exif[0x0112] = 6
    data = picture(7, exif=exif.tobytes())
    taken = upload(client, new_survey(client), ("a.jpg", data))[0]
    back = client.get(taken["photo"]["picture"]["original"])
    assert taken["status"] == "stored"
    assert back.content == data
    assert taken["sha256"] == hashlib.sha256(data).hexdigest()


def test_the_size_is_that_of_the_upright_picture(client: httpx.Client) -> None:
    """A picture lying on its side (EXIF orientation 6) is recorded and previewed upright."""
    exif = Image.Exif()
    exif[0x0112] = 6
    taken = upload(client, new_survey(client), ("a.jpg", picture(8, exif=exif.tobytes())))[0]
    record = taken["photo"]
    shown = Image.open(io.BytesIO(client.get(record["picture"]["preview"]).content))
    assert (record["picture"]["width"], record["picture"]["height"]) == (300, 400)
    assert record["photo"]["size"] == [300, 400]
    assert shown.size == (300, 400)


def test_one_bad_file_does_not_lose_the_others(client: httpx.Client) -> None:
    """Each file has its own result in the order sent; refusals say why and what to do."""
    survey = new_survey(client)
    files = [
        ("a.jpg", picture(1)),
        ("bad.jpg", b"not a picture"),
        ("empty.jpg", b""),
        ("b.jpg", picture(2)),
    ]
    results = upload(client, survey, *files)
    assert [one["status"] for one in results] == ["stored", "refused", "refused", "stored"]
    assert [one["name"] for one in results] == [name for name, _ in files]
    assert all(one["problem"]["remedy"] for one in results[1:3])
    listed = client.get(f"/api/surveys/{survey}/photos").json()
    assert [row["upload_name"] for row in listed] == ["a.jpg", "b.jpg"]


def test_the_same_bytes_are_one_photo(client: httpx.Client) -> None:
    """A picture sent twice, in one upload or a later one, under any name, is reported as a duplicate."""
    survey = new_survey(client)
    first = upload(client, survey, ("a.jpg", picture(3)), ("copy.jpg", picture(3)))
    again = upload(client, survey, ("later.jpg", picture(3)))
    statuses = [one["status"] for one in (*first, *again)]
    assert statuses == ["stored", "duplicate", "duplicate"]
    assert again[0]["photo"]["id"] == first[0]["photo"]["id"]
    assert len(client.get(f"/api/surveys/{survey}/photos").json()) == 1


def test_two_surveys_may_hold_the_same_picture(client: httpx.Client) -> None:
    """Originals are shared by hash, photos are not."""
    one = upload(client, new_survey(client), ("a.jpg", picture(4)))[0]
    two = upload(client, new_survey(client), ("a.jpg", picture(4)))[0]
    assert (one["status"], two["status"]) == ("stored", "stored")
    assert one["photo"]["id"] != two["photo"]["id"]


def test_tags_of_the_form_go_to_every_file(client: httpx.Client) -> None:
    """Tags sent before the files are put on each new photo."""
    results = upload(
        client,
        new_survey(client),
        ("a.jpg", picture(5)),
        ("b.jpg", picture(6)),
        member="SK1",
        face="inner",
        station="340B+10.25",
    )
    tags = [(r["photo"]["photo"]["member"], r["photo"]["photo"]["station"]) for r in results]
    assert tags == [("SK1", "340B+10.25")] * 2


def test_a_wrong_tag_stops_the_upload_before_any_file(client: httpx.Client) -> None:
    """An unknown member in the form is a 422 that names it, and nothing is stored."""
    survey = new_survey(client)
    answer = client.post(
        f"/api/surveys/{survey}/photos", data={"member": "SKX"}, files=[("files", ("a.jpg", picture(9)))]
    )
    assert answer.status_code == 422
    assert "'SKX'" in answer.json()["detail"]
    assert client.get(f"/api/surveys/{survey}/photos").json() == []


@pytest.mark.parametrize(
    "name",
    [
        "../../../etc/passwd.jpg",
        "..\\..\\boot.jpg",
        "/abs/olute.jpg",
        "C:\\x\\y.jpg",
        "....jpg",
        "a\x00b.jpg",
        "\u202egpj.exe.jpg",
        'name with "quotes" ; and = signs.jpg',
        "x" * 3000 + ".jpg",
        "Überlappung ½ 写真.jpg",
        "<img src=x onerror=alert(1)>.jpg",
    ],
)
def test_file_names_are_only_data(client: httpx.Client, name: str) -> None:
    """Whatever the name, the picture is stored under its hash and downloads under a harmless name."""
    survey = new_survey(client)
    taken = upload(client, survey, (name, picture(10)))[0]
    assert taken["status"] == "stored", taken
    shown = client.get(taken["photo"]["picture"]["original"]).headers["Content-Disposition"]
    assert shown.startswith("attachment; ")
    assert not set(shown) & set("\r\n\\/\x00")
    inside = taken["photo"]["photo"]["file"]
    assert inside.startswith("photos/")
    assert ".." not in inside
    assert inside.count("/") == 1
    assert client.get(f"/api/surveys/{survey}/file").json()["photos"][0]["file"] == inside


@pytest.mark.parametrize(
    ("name", "data", "word"),
    [
        ("a.svg", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "SVG"),
        ("a.jpg", b"<!doctype html><script>alert(1)</script>", "web page"),
        ("a.gif", b"GIF89a" + bytes(50), "GIF"),
        ("cut.jpg", picture(11)[:5000], "damaged"),
        ("big.png", picture(12, size=(2001, 2000), kind="PNG", compress_level=1)[:0] or b"", "empty"),
    ],
)
def test_what_is_no_picture_is_called_by_its_name(
    client: httpx.Client, name: str, data: bytes, word: str
) -> None:
    """Scripts, other formats, cut-off and empty files are refused with what they are."""
    refused = upload(client, new_survey(client), (name, data))[0]
    assert refused["status"] == "refused"
    assert word in refused["problem"]["detail"]


def test_a_picture_with_too_many_pixels_is_refused_before_decoding(client: httpx.Client) -> None:
    """A tiny file that claims 100 million pixels is refused by its header."""
    stream = io.BytesIO()
    Image.new("1", (10_000, 10_000)).save(stream, "PNG")
    refused = upload(client, new_survey(client), ("bomb.png", stream.getvalue()))[0]
    assert refused["status"] == "refused"
    assert "10000 x 10000" in refused["problem"]["detail"]


def test_a_file_above_the_limit_is_refused_alone(client: httpx.Client) -> None:
    """A file of more than 2 MB is refused as too large; the small one beside it is stored."""
    results = upload(client, new_survey(client), ("huge.jpg", bytes(2_000_001)), ("ok.jpg", picture(13)))
    assert [one["status"] for one in results] == ["refused", "stored"]
    assert results[0]["problem"]["status"] == 413
    assert "2000001" in results[0]["problem"]["detail"]


def test_files_past_the_allowed_number_are_refused_alone(client: httpx.Client) -> None:
    """Of 22 files the limit of 20 takes the first 20 and says so for the other two."""
    files = [(f"{n}.jpg", picture(n, size=(16, 16))) for n in range(22)]
    results = upload(client, new_survey(client), *files)
    assert [one["status"] for one in results] == ["stored"] * 20 + ["refused"] * 2


@pytest.mark.parametrize(
    ("content_type", "body", "status"),
    [
        ("application/json", b"{}", 400),
        ("multipart/form-data", b"x", 400),
        ("multipart/form-data; boundary=b", b"garbage", 400),
        ("multipart/form-data; boundary=b", b"--b--\r\n", 400),
        (
            "multipart/form-data; boundary=b",
            b"--b\r\nContent-Disposition: form-data\r\n\r\nx\r\n--b--\r\n",
            400,
        ),
        (
            "multipart/form-data; boundary=b",
            b'--b\r\nContent-Disposition: form-data; name="evil"\r\n\r\nx\r\n--b--\r\n',
            400,
        ),
        (
            "multipart/form-data; boundary=b",
            b'--b\r\nContent-Disposition: form-data; name="note"\r\n\r\n'
            + b"x" * 70_000
            + b"\r\n--b--\r\n",
            413,
        ),
    ],
)
def test_a_broken_form_is_a_clear_problem(
    client: httpx.Client, content_type: str, body: bytes, status: int
) -> None:
    """Forms that cannot be read are answered with a problem, never a 500."""
    answer = client.post(
        f"/api/surveys/{new_survey(client)}/photos", content=body, headers={"Content-Type": content_type}
    )
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_an_upload_that_breaks_off_keeps_what_was_complete(client: httpx.Client) -> None:
    """A form cut inside its second file stores the first and refuses the second by name."""
    survey = new_survey(client)
    head = b'--b\r\nContent-Disposition: form-data; name="files"; filename="%s"\r\n\r\n'
    body = head % b"a.jpg" + picture(14) + b"\r\n" + head % b"b.jpg" + picture(15)[:4000]
    answer = client.post(
        f"/api/surveys/{survey}/photos",
        content=body,
        headers={"Content-Type": "multipart/form-data; boundary=b"},
    )
    results = answer.json()["files"]
    assert [(one["name"], one["status"]) for one in results] == [("a.jpg", "stored"), ("b.jpg", "refused")]


def test_an_upload_to_no_survey_is_not_found(client: httpx.Client) -> None:
    """The survey is checked before the files are read."""
    answer = client.post(f"/api/surveys/{'0' * 32}/photos", files=[("files", ("a.jpg", picture(1)))])
    assert answer.status_code == 404


def test_a_waiting_photo_gets_its_picture_by_hash(client: httpx.Client) -> None:
    """A picture whose hash the survey file states is bound to that photo, whatever its name is now."""
    data = picture(16)
    photo = {"id": "f1", "file": "photos/f1.jpg", "sha256": hashlib.sha256(data).hexdigest()}
    survey = _imported(client, [photo, {"id": "f2", "file": "photos/f2.jpg"}])
    taken = upload(client, survey, ("renamed.jpg", data))[0]
    assert (taken["status"], taken["photo"]["photo"]["id"]) == ("matched", "f1")
    assert client.get(taken["photo"]["picture"]["original"]).content == data


def test_a_waiting_photo_without_hash_gets_its_picture_by_name(client: httpx.Client) -> None:
    """Without a hash the file name decides; a name alone never overrides a stated hash."""
    survey = _imported(
        client,
        [
            {"id": "f1", "file": "photos/f1.jpg"},
            {"id": "f2", "file": "photos/f2.jpg", "sha256": "0" * 64},
        ],
    )
    matched, other = upload(client, survey, ("f1.jpg", picture(17)), ("f2.jpg", picture(18)))
    assert (matched["status"], matched["photo"]["photo"]["id"]) == ("matched", "f1")
    assert other["status"] == "stored"
    assert any("another hash" in warning for warning in other["warnings"])


def test_an_ambiguous_name_is_not_guessed(client: httpx.Client) -> None:
    """Two waiting photos of one file name: the picture is stored as new and the doubt is told."""
    survey = _imported(client, [{"id": "a", "file": "left/1.jpg"}, {"id": "b", "file": "right/1.jpg"}])
    taken = upload(client, survey, ("1.jpg", picture(19)))[0]
    assert taken["status"] == "stored"
    assert any("'a', 'b'" in warning for warning in taken["warnings"])


def test_heic_is_kept_and_shown_as_jpeg(client: httpx.Client) -> None:
    """A phone's HEIC picture is stored as it is and shown as a JPEG of the same size."""
    stream = io.BytesIO()
    pillow_heif.from_pillow(Image.open(io.BytesIO(picture(20)))).save(stream, quality=90)
    taken = upload(client, new_survey(client), ("a.heic", stream.getvalue()))[0]
    found = taken["photo"]["picture"]
    shown = client.get(found["picture"])
    assert client.get(found["original"]).content == stream.getvalue()
    assert found["media_type"] == "image/heic"
    assert shown.headers["Content-Type"] == "image/jpeg"
    assert Image.open(io.BytesIO(shown.content)).size == (400, 300)


def _imported(client: httpx.Client, photos: list[dict[str, Any]]) -> str:
    answer = client.post("/api/surveys/import", json=survey_file(photos))
    assert answer.status_code == 201, answer.text
    return str(answer.json()["survey"]["id"])


def test_no_temporary_file_is_left(tmp_path: Path) -> None:
    """Stored, refused, too large, broken off or a form failing half way: `incoming` ends empty."""
    head = b'--b\r\nContent-Disposition: form-data; name="files"; filename="%s"\r\n\r\n'
    whole = head % b"a.jpg" + picture(40) + b"\r\n"
    form = {"Content-Type": "multipart/form-data; boundary=b"}
    late_tag = b'--b\r\nContent-Disposition: form-data; name="member"\r\n\r\nSK1\r\n--b--\r\n'
    bodies = [
        whole + b"--b--\r\n",
        whole + head % b"cut.jpg" + b"\xff\xd8",
        whole + b"--bXX",
        whole + late_tag,
    ]
    with running(Settings(data_dir=tmp_path, max_file_bytes=100_000)) as client:
        survey = new_survey(client)
        upload(client, survey, ("b.jpg", picture(41)), ("bad.jpg", b"no"), ("big.jpg", bytes(100_001)))
        for body in bodies:
            client.post(f"/api/surveys/{survey}/photos", content=body, headers=form)
        stored = len(client.get(f"/api/surveys/{survey}/photos").json())
    assert stored == 2
    assert list((tmp_path / "incoming").iterdir()) == []
