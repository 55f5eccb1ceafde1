"""Bags as RFC 8493 has them: written, read by another program, and found out when anything changed."""

from __future__ import annotations

import hashlib
import os
import stat
import zipfile
from collections.abc import Iterator
from pathlib import Path

import bagit
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corrosion.archive import BagForm, Signer, load_signer, load_trusted, make_key, verify_bag, write_bag
from corrosion.archive.write import PayloadFile, bytes_file
from corrosion.errors import ArchiveError
from tests.archive.bags import INFO, PAYLOAD, copied, make_bag, rezipped


@pytest.fixture(scope="module")
def signer(tmp_path_factory: pytest.TempPathFactory) -> Signer:
    """Make a key."""
    return make_key(tmp_path_factory.mktemp("key") / "archive.key")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a sound, unsigned bag as a folder."""
    return make_bag(tmp_path_factory.mktemp("bags") / "bag", BagForm.FOLDER)


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory, signer: Signer) -> Path:
    """Write a sound, signed bag as a folder."""
    return make_bag(tmp_path_factory.mktemp("signed") / "bag", BagForm.FOLDER, signer=signer)


@pytest.fixture(scope="module")
def zipped(tmp_path_factory: pytest.TempPathFactory, signer: Signer) -> Path:
    """Write a sound, signed bag as a zip."""
    return make_bag(tmp_path_factory.mktemp("zipped") / "bag.zip", BagForm.ZIP, signer=signer)


def test_a_bag_passes_another_programs_validation(folder: Path, zipped: Path, tmp_path: Path) -> None:
    """The public bagit library (the reference for BagIt in Python) accepts a folder and an unpacked zip."""
    bagit.Bag(str(folder)).validate()
    with zipfile.ZipFile(zipped) as made:
        made.extractall(tmp_path)
    bag = bagit.Bag(str(tmp_path / "bag"))
    bag.validate()
    assert bag.info["Payload-Oxum"] == f"{sum(map(len, PAYLOAD.values()))}.{len(PAYLOAD)}"
    assert set(bag.payload_files()) == {f"data/{path}" for path in PAYLOAD}


def test_a_bag_has_what_the_standard_asks_for(folder: Path) -> None:
    """bagit.txt has the two lines of RFC 8493, 2.1.1, and both manifests list every file's digest."""
    assert (
        folder / "bagit.txt"
    ).read_bytes() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    assert not (folder / "fetch.txt").exists()
    for algorithm in ("sha256", "sha512"):
        lines = (folder / f"manifest-{algorithm}.txt").read_text().splitlines()
        expected = {f"{hashlib.new(algorithm, data).hexdigest()}  data/{p}" for p, data in PAYLOAD.items()}
        assert set(lines) == expected


def test_bags_by_another_program_are_verified_too(tmp_path: Path) -> None:
    """A bag that the bagit library made is valid here, and what it does not cover is noted."""
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "a.txt").write_bytes(b"a")
    bagit.make_bag(str(tmp_path), {"Contact-Name": "Clerk A"}, checksums=["md5", "sha256"])
    report = verify_bag(tmp_path)
    assert report.sound, report.problems
    assert any("no survey file" in note for note in report.notes)


def test_the_same_files_give_the_same_zip(tmp_path: Path) -> None:
    """A zip depends on its content alone: not on the time, the order of files or its own name."""
    first = make_bag(tmp_path / "a.zip", BagForm.ZIP)
    turned = dict(reversed(PAYLOAD.items()))
    assert make_bag(tmp_path / "b.zip", BagForm.ZIP, payload=turned).read_bytes() == first.read_bytes()


@pytest.mark.parametrize("with_key", [True, False])
def test_a_flipped_byte_in_any_file_is_found_and_named(
    signed: Path, folder: Path, with_key: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever byte of whatever file changes, that file is named, also where no signature helps."""
    bag = copied(signed if with_key else folder, tmp_path_factory.mktemp("flip") / "bag")
    files = sorted(path for path in bag.rglob("*") if path.is_file() and path.stat().st_size)
    assert verify_bag(bag).sound

    @given(data=st.data())
    @settings(max_examples=100, deadline=None)
    def flip(data: st.DataObject) -> None:
        path = data.draw(st.sampled_from(files))
        whole = path.read_bytes()
        place = data.draw(st.integers(0, len(whole) - 1))
        other = whole[place] ^ data.draw(st.integers(1, 255))
        path.write_bytes(whole[:place] + bytes([other]) + whole[place + 1 :])
        try:
            report = verify_bag(bag)
        finally:
            path.write_bytes(whole)
        name = path.relative_to(bag).as_posix()
        assert not report.sound
        assert any(name in str(problem) for problem in report.problems), (name, report.problems)

    flip()


def test_a_flipped_byte_anywhere_in_a_zip_is_found(zipped: Path, tmp_path: Path) -> None:
    """Also a byte that belongs to no file, in a head, the directory or the end, is missed by nothing."""
    whole = zipped.read_bytes()
    target = tmp_path / "flipped.zip"
    target.write_bytes(whole)
    assert verify_bag(target).sound

    @given(place=st.integers(0, len(whole) - 1), flip=st.integers(1, 255))
    @settings(max_examples=200, deadline=None)
    def one(place: int, flip: int) -> None:
        target.write_bytes(whole[:place] + bytes([whole[place] ^ flip]) + whole[place + 1 :])
        try:
            report = verify_bag(target)
        except ArchiveError:
            return  # not even a zip any more, and said so
        assert not report.sound, (place, flip)

    one()


def test_a_bag_packed_anew_by_another_program_is_still_good(folder: Path, tmp_path: Path) -> None:
    """Who unpacks a bag and zips it again has changed no file: that is noted, not held against it."""
    report = verify_bag(rezipped(folder, tmp_path / "again.zip", {}))
    assert report.sound, report.problems
    assert any("packed anew" in note for note in report.notes)


def _changed(bag: Path, target: Path, changes: dict[str, bytes | None]) -> list[str]:
    report = verify_bag(rezipped(bag, target, changes))
    assert not report.valid or report.problems
    return [str(problem) for problem in report.problems]


def test_missing_extra_and_wrongly_counted_files_are_named(folder: Path, tmp_path: Path) -> None:
    """A file left out, one added, one emptied, and a Payload-Oxum that does not add up are each named."""
    target = tmp_path / "x.zip"
    missing = _changed(folder, target, {"data/photos/f1.jpg": None})
    assert any(line.startswith("data/photos/f1.jpg: is missing") for line in missing)
    assert any("Payload-Oxum" in line for line in missing)
    extra = _changed(folder, target, {"data/extra.txt": b"!"})
    assert any(line.startswith("data/extra.txt: is not listed") for line in extra)
    empty = _changed(folder, target, {"data/photos/f1.jpg": b""})
    assert any(line.startswith("data/photos/f1.jpg: was altered") for line in empty)
    # No checksum covers a tag manifest itself.
    lines = (folder / "tagmanifest-sha256.txt").read_bytes().splitlines(keepends=True)
    for cut in (b"", b"".join(lines[1:])):
        short = _changed(folder, target, {"tagmanifest-sha256.txt": cut})
        assert any(line.startswith("tagmanifest-sha256.txt: was altered") for line in short), short
    assert any("fetch.txt" in line for line in _changed(folder, target, {"fetch.txt": b"x - data/y\n"}))
    none = _changed(folder, target, {"bagit.txt": None})
    assert any(line.startswith("bagit.txt: is missing") for line in none)


def _forged(bag: Path, data: bytes) -> dict[str, bytes | None]:
    """Exchange a photo and put every checksum right again, as someone with time would."""
    changes: dict[str, bytes | None] = {"data/photos/f1.jpg": data}
    for algorithm in ("sha256", "sha512"):
        name = f"manifest-{algorithm}.txt"
        old = hashlib.new(algorithm, PAYLOAD["photos/f1.jpg"]).hexdigest()
        text = (bag / name).read_text().replace(old, hashlib.new(algorithm, data).hexdigest())
        changes[name] = text.encode()
    for algorithm in ("sha256", "sha512"):
        name = f"tagmanifest-{algorithm}.txt"
        text = (bag / name).read_text()
        for tag in ("manifest-sha256.txt", "manifest-sha512.txt"):
            old = hashlib.new(algorithm, (bag / tag).read_bytes()).hexdigest()
            text = text.replace(old, hashlib.new(algorithm, changes[tag] or b"").hexdigest())
        changes[name] = text.encode()
    return changes


def test_a_forged_manifest_passes_checksums_but_not_the_signature(
    folder: Path, signed: Path, tmp_path: Path, signer: Signer
) -> None:
    """Who exchanges a photo and all its checksums is caught by the signature, and only by it."""
    data = b"\xff\xd8NOT a real photo\xff\xd9"  # of the same length
    copied(folder, tmp_path / "bag")
    for name, content in _forged(folder, data).items():
        (tmp_path / "bag" / name).write_bytes(content or b"")
    assert verify_bag(tmp_path / "bag").sound
    copied(signed, tmp_path / "signed")
    for name, content in _forged(signed, data).items():
        (tmp_path / "signed" / name).write_bytes(content or b"")
    report = verify_bag(tmp_path / "signed")
    assert report.valid
    assert report.signature.state == "broken"
    assert {problem.kind for problem in report.problems} == {"signature"}


def test_a_signature_says_whose_key_and_trusts_none_by_itself(
    signed: Path, folder: Path, tmp_path: Path, signer: Signer
) -> None:
    """A key in a bag proves nothing: only one the user names is trusted, and then no other will do."""
    mine = make_key(tmp_path / "mine.key", "tin opener")
    report = verify_bag(signed)
    assert (report.sound, report.signature.state) == (True, "unknown")
    assert report.signature.fingerprint == signer.fingerprint
    assert "nobody vouched for" in str(report.signature)
    own = make_bag(tmp_path / "own", BagForm.FOLDER, signer=mine)
    key = load_trusted(tmp_path / "mine.key.pub")
    assert verify_bag(own, trusted=[key]).signature.state == "trusted"
    assert not verify_bag(signed, trusted=[key]).sound
    assert not verify_bag(folder, trusted=[key]).sound
    (own / "signature" / "tagmanifest-sha512.txt.sig").unlink()
    assert verify_bag(own).signature.state == "broken"


def test_private_keys_are_kept_private(tmp_path: Path) -> None:
    """A key file is for its owner alone, opens with its passphrase only, and is never overwritten."""
    path = tmp_path / "archive.key"
    made = make_key(path, "tin opener")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert load_signer(path, "tin opener").fingerprint == made.fingerprint
    for wrong in (None, "can opener"):
        with pytest.raises(ArchiveError, match="passphrase"):
            load_signer(path, wrong)
    with pytest.raises(ArchiveError, match="never overwritten"):
        make_key(path)
    path.chmod(0o640)
    with pytest.raises(ArchiveError, match="may be read by others"):
        load_signer(path, "tin opener")


@pytest.mark.parametrize("form", list(BagForm))
def test_a_failed_archive_leaves_nothing(form: BagForm, tmp_path: Path) -> None:
    """When a photo cannot be read half-way, or has changed, there is no bag and no part of one."""

    def breaks() -> Iterator[bytes]:
        yield b"begin"
        raise OSError(5, os.strerror(5))

    broken = PayloadFile("photos/b.jpg", 10, breaks)
    for bad in (
        broken,
        PayloadFile("c", 3, lambda: iter([b"four"])),
        PayloadFile("d", 1, lambda: iter([b"x"]), "0" * 64),
    ):
        with pytest.raises(ArchiveError):
            write_bag(tmp_path / "bag", [bytes_file("a", b"a"), bad], INFO, form=form)
        assert list(tmp_path.iterdir()) == []
    target = make_bag(tmp_path / "bag", form)
    with pytest.raises(ArchiveError, match="never overwritten"):
        make_bag(target, form)


def test_every_file_is_listed_whatever_signs_its_name_has(tmp_path: Path) -> None:
    """CR, LF and % are percent-encoded in manifests (RFC 8493, 2.1.3; from memory) and read back."""
    name = "photos/100%0Aof\nit.jpg"
    bag = make_bag(tmp_path / "bag", BagForm.FOLDER, payload={name: b"x"})
    assert (bag / "manifest-sha256.txt").read_text().endswith("  data/photos/100%250Aof%0Ait.jpg\n")
    assert verify_bag(bag).sound
