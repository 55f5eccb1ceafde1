"""Bags made to do harm: each is refused by name, nothing outside is read, nothing large is unpacked."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from zipfile import ZIP_BZIP2, ZIP_DEFLATED, ZipFile, ZipInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corrosion.archive import BagForm, BagLimits, verify_bag
from corrosion.archive.paths import collisions, decode_path, encode_path, fault_of, folded, unique_names
from corrosion.errors import ArchiveError
from tests.archive.bags import copied, make_bag, rezipped, zip_of

DECLARED = ("bag/bagit.txt", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
BAD_PATHS = [
    "/etc/passwd", "../up", "data/../../up", "data/./x", "data//x", "~/x", "~root/x", "C:/x", "c:x",
    "data\\x", "data/a\0b", "data/CON", "data/nul.txt", "data/com1.jpg", "data/x.", "data/x ", "",
    "data/" + "y" * 300, "data/" + "long/" * 400, "data/\udcff",
]  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a sound bag."""
    return make_bag(tmp_path_factory.mktemp("bags") / "bag", BagForm.FOLDER)


@pytest.mark.parametrize("path", BAD_PATHS)
def test_a_path_that_leads_elsewhere_is_refused(path: str) -> None:
    """Absolute, climbing, home, drive, device and NUL paths, and those some system cannot make."""
    assert fault_of(path)


@given(st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1))
def test_encoding_of_paths_turns_back(path: str) -> None:
    """Any path is one line in a manifest and comes back as it was."""
    assert decode_path(encode_path(path)) == path
    assert not set("\r\n") & set(encode_path(path))


@given(st.lists(st.text(st.characters(exclude_characters="\0"), max_size=40) | st.sampled_from(BAD_PATHS)))
def test_safe_names_are_safe_and_apart(wanted: list[str]) -> None:
    """Whatever a survey calls its photos, each gets a path that no rule refuses and none other has."""
    names = unique_names(wanted, folder="photos", taken=["survey.json", "photos/Photo.jpg"])
    assert len(names) == len(wanted)
    assert not [name for name in names if fault_of(name)]
    assert not collisions([*names, "survey.json", "photos/Photo.jpg"])
    assert len({folded(name) for name in names}) == len(names)


def test_safe_names_keep_what_is_safe() -> None:
    """An ordinary relative path stays, so that the survey file finds its photos in the bag."""
    assert unique_names(["photos/f1.jpg", "f 2.JPG"], folder="photos") == ["photos/f1.jpg", "f 2.JPG"]
    assert unique_names(["../../x/böse.jpg"], folder="photos") == ["photos/bose.jpg"]


def test_paths_that_meet_are_found() -> None:
    """Case, Unicode composition, and a file where another path needs a folder (NFC: UAX 15)."""
    assert collisions(["data/A.jpg", "data/a.jpg"])
    assert collisions(["data/u\u0308.jpg", "data/\u00fc.jpg"])
    assert collisions(["data/a", "data/a/b"])
    assert collisions(["data/P/a", "data/p/b"])
    assert not collisions(["data/a/b", "data/a/c", "data/b"])


def test_hostile_names_in_a_zip_are_named_and_never_opened(tmp_path: Path) -> None:
    """Every bad path inside a zip is a problem of its own; the bag is not complete."""
    names = [path for path in BAD_PATHS if path and "\udcff" not in path]
    entries = [DECLARED, *((f"bag/{name}" if "data" in name else name, b"x") for name in names)]
    target = tmp_path / "bad.zip"
    target.write_bytes(zip_of(*entries))
    report = verify_bag(target)
    assert not report.complete
    refused = [problem for problem in report.problems if problem.kind == "refused"]
    assert len(refused) >= len(names) - 1  # zipfile itself drops nothing but what follows a NUL


def _link(name: str) -> ZipInfo:
    info = ZipInfo(name)
    info.create_system = 3
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    return info


def test_links_repeats_and_strangers_in_a_zip_are_refused(folder: Path, tmp_path: Path) -> None:
    """A link, a name twice, a file beside the bag, names that meet, an odd packing: each is named."""
    sound = rezipped(folder, tmp_path / "sound.zip", {})
    for name, words in (
        (_link("bag/data/link"), "link"),
        ("other/data/x", "outside the bag"),
        ("bag/data/NOTES.txt", "meets"),
    ):
        target = tmp_path / "bad.zip"
        target.write_bytes(sound.read_bytes())
        with ZipFile(target, "a") as made:
            made.writestr(name, b"x")
        problems = [str(p) for p in verify_bag(target).problems if p.kind == "refused"]
        assert any(words in line for line in problems), (words, problems)
    odd = tmp_path / "odd.zip"
    with ZipFile(odd, "w") as made:
        made.writestr(*DECLARED)
        made.writestr("bag/data/x", b"x" * 100, ZIP_BZIP2)
        made.writestr("bag/data/y", b"y")
        with pytest.warns(UserWarning, match="Duplicate"):
            made.writestr("bag/data/y", b"z")
    problems = [str(p) for p in verify_bag(odd).problems]
    assert any("packed in a way" in line for line in problems)
    assert any("more than once" in line for line in problems)


def test_a_bomb_is_refused_before_it_is_unpacked(folder: Path, tmp_path: Path) -> None:
    """50 MB of zeros in 50 kB, and a zip that lists more than it may, are refused by what they state."""
    bomb = rezipped(folder, tmp_path / "bomb.zip", {})
    with ZipFile(bomb, "a") as made:
        made.writestr("bag/data/zeros.bin", bytes(50_000_000), ZIP_DEFLATED)
    assert any("times its size" in str(problem) for problem in verify_bag(bomb).problems)
    many = tmp_path / "many.zip"
    many.write_bytes(zip_of(DECLARED, *((f"bag/data/{n}", b"") for n in range(60))))
    with pytest.raises(ArchiveError, match="lists 61 files"):
        verify_bag(many, limits=BagLimits(max_files=20))
    assert any("more than 40" in str(p) for p in verify_bag(many, limits=BagLimits(max_files=40)).problems)
    large = verify_bag(folder, limits=BagLimits(max_file_bytes=5))
    assert any("more than 5" in str(problem) for problem in large.problems)
    assert not verify_bag(folder, limits=BagLimits(max_total_bytes=50)).complete


def test_a_zip_that_lies_about_a_size_is_found(folder: Path, tmp_path: Path) -> None:
    """A file that unpacks to more than the zip states is read no further than stated, and named."""
    liar = rezipped(folder, tmp_path / "liar.zip", {})
    whole = bytearray(liar.read_bytes())
    at = whole.rfind(b"bag/data/notes.txt") - 46
    assert whole[at : at + 4] == b"PK\1\2"
    whole[at + 24 : at + 28] = (3).to_bytes(4, "little")
    liar.write_bytes(whole)
    assert any(problem.file == "data/notes.txt" for problem in verify_bag(liar).problems)


def test_links_and_devices_in_a_folder_are_never_followed(folder: Path, tmp_path: Path) -> None:
    """A link out of the bag, to a file or a folder, and a pipe nobody writes to are named, not opened."""
    bag = copied(folder, tmp_path / "bag")
    secret = tmp_path / "secret.txt"
    secret.write_bytes(b"secret")
    (bag / "data" / "link.txt").symlink_to(secret)
    (bag / "data" / "loop").symlink_to(bag)
    os.mkfifo(bag / "data" / "pipe")
    problems = {problem.file: problem.problem for problem in verify_bag(bag).problems}
    assert "is a link" in problems["data/link.txt"]
    assert "is a link" in problems["data/loop"]
    assert "is a device" in problems["data/pipe"]


def test_manifests_cannot_name_what_is_not_the_bags(folder: Path, tmp_path: Path) -> None:
    """A manifest that lists a path outside the bag is refused for it, and the path is not opened."""
    manifest = (folder / "manifest-sha256.txt").read_bytes() + b"0" * 64 + b"  ../../etc/passwd\n"
    report = verify_bag(rezipped(folder, tmp_path / "bad.zip", {"manifest-sha256.txt": manifest}))
    assert any("climbs out" in str(problem) for problem in report.problems)


@given(st.binary(max_size=400))
@settings(max_examples=40, deadline=None)
def test_any_bytes_as_a_zip_are_an_error_or_a_report(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    """Garbage, also behind the signs of a zip, never ends in anything but our own error or problems."""
    target = tmp_path_factory.getbasetemp() / "garbage.zip"
    for head in (b"", b"PK\3\4", zip_of(DECLARED)[:-22]):
        target.write_bytes(head + data + b"PK\5\6" + data[:18])
        try:
            assert not verify_bag(target).sound
        except ArchiveError:
            continue
