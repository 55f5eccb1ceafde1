"""``corrosion archive``, ``archive-key`` and ``import``, as a clerk uses them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from api.cli import app
from corrosion.archive import verify_bag
from corrosion.errors import CorrosionError
from tests.api.samples import picture, survey_file


def run(*words: str | Path, line: str = "") -> Result:
    """Run the command line in this process; a user's error is raised as it is."""
    return CliRunner().invoke(app, [str(word) for word in words], input=line, catch_exceptions=False)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lay a survey on disk and make a key for its clerk."""
    made = tmp_path_factory.mktemp("clerk")
    (made / "photos").mkdir()
    (made / "photos" / "f1.jpg").write_bytes(picture(1))
    (made / "survey.json").write_text(json.dumps(survey_file()), encoding="utf-8")
    assert "Fingerprint: SHA256:" in run("archive-key", made / "key", line="tin opener\n").output
    return made


@pytest.fixture(scope="module")
def bag(folder: Path) -> Path:
    """Archive the survey, signed."""
    target = folder / "bag.zip"
    words = ("archive", folder / "survey.json", "-o", target, "--key", folder / "key", "--paper", "none")
    done = run(*words, line="tin opener\n")
    assert "Signed with the key SHA256:" in done.output
    return target


def test_a_survey_on_disk_becomes_a_signed_bag(folder: Path, bag: Path) -> None:
    """The bag is sound and signed; a folder is made where the name does not end in .zip."""
    assert verify_bag(bag).signature.state == "unknown"
    words = ("archive", folder / "survey.json", "-o", folder / "loose", "--paper", "none")
    assert run(*words).exit_code == 0
    assert verify_bag(folder / "loose").sound
    with pytest.raises(CorrosionError, match="never overwritten"):
        run(*words)


def test_the_report_is_in_the_archive(folder: Path, tmp_path: Path) -> None:
    """Without a word about paper there is a PDF in it."""
    assert run("archive", folder / "survey.json", "-o", tmp_path / "bag").exit_code == 0
    assert (tmp_path / "bag" / "data" / "report.pdf").read_bytes().startswith(b"%PDF-")


def test_import_and_bulk_archive_go_on_where_they_broke_off(
    folder: Path, bag: Path, tmp_path: Path
) -> None:
    """An import can insist on a key; a bulk archive has a line each, and a second run repeats nothing."""
    store = ("--data", tmp_path / "store")
    run("archive-key", tmp_path / "other", "--no-passphrase")
    with pytest.raises(CorrosionError, match="not a trusted one"):
        run("import", bag, *store, "--trusted", tmp_path / "other.pub")
    for _ in range(2):
        done = run("import", bag, *store, "--trusted", folder / "key.pub")
        assert "signed with the trusted key" in done.output
    out = tmp_path / "out"
    bulk = ("archive", "--all", "-o", out, "--paper", "none", *store)
    assert "2 archived, 0 there already, 0 failed." in run(*bulk).output
    first, second = sorted(out.iterdir())
    whole = second.read_bytes()
    second.unlink()
    assert "1 archived, 1 there already, 0 failed." in run(*bulk).output
    assert second.read_bytes() == whole
    first.write_bytes(b"something else")
    done = run(*bulk)
    assert (done.exit_code, "1 failed." in done.output) == (1, True)
    assert first.read_bytes() == b"something else"
    sealed = run("archive", "--sealed", "-o", out, *store)
    assert sealed.output == "0 archived, 0 there already, 0 failed.\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("archive", "-o", "x"), "name one of SURVEY"),
        (("archive", "--all", "--sealed", "-o", "x"), "name one of SURVEY"),
        (("archive", "--all"), "with -o"),
    ],
)
def test_wrong_usage_is_told(words: tuple[str, ...], told: str) -> None:
    """What contradicts itself ends with 2 and one line that says so."""
    done = run(*words)
    assert done.exit_code == 2
    assert told in done.output


def test_no_store_is_made_by_asking_for_an_archive(tmp_path: Path) -> None:
    """A wrong folder is told; it does not become an empty store."""
    with pytest.raises(CorrosionError, match="no store here"):
        run("archive", "--all", "-o", tmp_path / "out", "--data", tmp_path / "wrong")
    assert not (tmp_path / "wrong").exists()
