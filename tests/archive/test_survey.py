"""The archive of a survey on disk: complete, usable as it is, and found out when its parts disagree."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from corrosion.archive import (
    BagForm,
    Original,
    PayloadFile,
    SurveyRecord,
    UnsoundBagError,
    WrittenBag,
    bytes_file,
    payload_of,
    read_bag,
    record_from_files,
    verify_bag,
    write_bag,
)
from corrosion.errors import ArchiveError
from corrosion.intake import photo_sizes
from corrosion.model import load_survey, parse_survey
from corrosion.record.facts import HistoryHead, RecordFacts, Seal
from tests.api.samples import picture, survey_file
from tests.archive.bags import INFO

NAMES = ["photos/f1.jpg", "../up/f2.jpg", "photos/F1.jpg", "CON.jpg", "survey.json"]


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lay a survey with two photos, one of them without a stated hash, on disk."""
    folder = tmp_path_factory.mktemp("survey")
    (folder / "photos").mkdir()
    one = survey_file()["photos"][0]
    two = {"id": "f2", "file": "=f2.jpg", "member": "SK1", "face": "outer"}
    for number, photo in enumerate((one, two)):
        (folder / photo["file"]).write_bytes(picture(number))
    (folder / "survey.json").write_text(json.dumps(survey_file([one, two])), encoding="utf-8")
    return folder / "survey.json"


def _write(target: Path, record: SurveyRecord, form: BagForm = BagForm.FOLDER) -> WrittenBag:
    return write_bag(target, payload_of(record), INFO, form=form)


@pytest.fixture(scope="module")
def bag(survey: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Archive that survey without its report, which has tests of its own."""
    target = tmp_path_factory.mktemp("bags") / "bag"
    _write(target, record_from_files(survey, paper="")[0])
    return target


def test_an_archive_holds_the_whole_survey(survey: Path, bag: Path) -> None:
    """Originals are bit for bit, the survey file is the same plus hashes and sizes, the schema fits it."""
    data = bag / "data"
    for photo in load_survey(survey).photos:
        assert (data / photo.file).read_bytes() == (survey.parent / photo.file).read_bytes()
    kept = load_survey(data / "survey.json")
    for photo in kept.photos:
        assert photo.sha256 == hashlib.sha256((data / photo.file).read_bytes()).hexdigest()
        assert photo.size == (400, 300)
    blank = [photo.model_copy(update={"sha256": None, "size": None}) for photo in kept.photos]
    assert kept.model_copy(update={"photos": blank}) == load_survey(survey)
    schema = json.loads((data / "survey.schema.json").read_text())
    jsonschema.validate(json.loads((data / "survey.json").read_text()), schema)
    assert verify_bag(bag).sound


def test_an_archive_is_a_survey_one_can_go_on_with(bag: Path) -> None:
    """The survey file in the bag finds every photo beside it, unchanged: no unpacking tool is needed."""
    sizes, problems = photo_sizes(load_survey(bag / "data" / "survey.json"), bag / "data")
    assert (len(sizes), problems) == (2, [])


def test_tables_repeat_the_assessment_and_run_nothing(bag: Path) -> None:
    """Numbers in the tables are those of assessment.json; no cell begins as a spreadsheet formula does."""
    tables = {
        path.stem: list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
        for path in (bag / "data" / "tables").glob("*.csv")
    }
    whole = json.loads((bag / "data" / "assessment.json").read_text())
    depths = {one["id"]: one["depth"]["value"] for one in whole["findings"]}
    for row in tables["findings"]:
        # The survey shows inches: exactly 25.4 mm each (international yard and pound, 1959).
        assert float(row["Depth, in"]) * 25.4 == pytest.approx(depths[row["Finding"]], rel=1e-8)
    assert {row["Member"] for row in tables["members"]} == {"SK1", "RB1"}
    originals = list(csv.reader((bag / "data" / "originals.csv").read_text(encoding="utf-8").splitlines()))
    assert originals[2][1:3] == ["'=f2.jpg", "'=f2.jpg"]


def test_the_same_survey_gives_the_same_payload(survey: Path, bag: Path, tmp_path: Path) -> None:
    """Nothing in the payload depends on the day or the folder: made again elsewhere, it is the same."""
    shutil.copytree(survey.parent, tmp_path / "elsewhere")
    record, _ = record_from_files(tmp_path / "elsewhere" / "survey.json", paper="")
    again = _write(tmp_path / "again.zip", record, BagForm.ZIP)
    here = {p.relative_to(bag).as_posix(): p for p in (bag / "data").rglob("*") if p.is_file()}
    assert again.digests == {k: hashlib.sha256(p.read_bytes()).hexdigest() for k, p in here.items()}


def test_a_missing_or_changed_photo_is_said(survey: Path, tmp_path: Path) -> None:
    """Without a photo there is no archive unless asked for, and then the bag says which is not there."""
    shutil.copytree(survey.parent, tmp_path / "s")
    (tmp_path / "s" / "=f2.jpg").unlink()
    with pytest.raises(ArchiveError, match="1 of 2 photos are missing"):
        record_from_files(tmp_path / "s" / "survey.json", paper="")
    record, problems = record_from_files(tmp_path / "s" / "survey.json", paper="", incomplete=True)
    assert "=f2.jpg" in problems[0]
    _write(tmp_path / "bag", record)
    report = verify_bag(tmp_path / "bag")
    assert report.sound
    assert any("'f2'" in note for note in report.notes)


def _record(names: list[str]) -> SurveyRecord:
    """Make a record whose photos have these file names, each with bytes of its own."""
    photos: list[dict[str, Any]] = []
    originals = {}
    for number, name in enumerate(names):
        data = b"photo %d" % number
        key = f"f{number}"
        photos.append({"id": key, "file": name, "sha256": hashlib.sha256(data).hexdigest()})
        originals[key] = Original(photos[-1]["sha256"], len(data), lambda data=data: iter((data,)))
    return SurveyRecord(parse_survey(survey_file(photos)), originals)


def test_hostile_photo_names_get_safe_ones_and_are_found_again(tmp_path: Path) -> None:
    """Names that climb, meet or stand for devices are replaced; the bag still says which photo is which."""
    _write(tmp_path / "bag", _record(NAMES))
    with read_bag(tmp_path / "bag") as opened:
        assert len(set(opened.photos.values())) == len(NAMES)
        for number in range(len(NAMES)):
            assert b"".join(opened.pieces(opened.photos[f"f{number}"])) == b"photo %d" % number


def _with(record: SurveyRecord, changed: dict[str, bytes], target: Path) -> list[str]:
    """Write a bag with some payload files exchanged, all checksums right."""
    files = [f for f in payload_of(record) if f.path not in changed]
    files += [bytes_file(path, data) for path, data in changed.items()]
    write_bag(target, files, INFO, form=BagForm.FOLDER)
    report = verify_bag(target)
    assert report.valid
    with pytest.raises(UnsoundBagError), read_bag(target):
        pass
    return [str(problem) for problem in report.problems]


def test_a_photo_exchanged_with_its_checksums_is_found_by_the_survey_file(tmp_path: Path) -> None:
    """Checksums alone cannot tell; the hash in the survey file can, and it names the photo."""
    problems = _with(_record(["photos/a.jpg"]), {"photos/a.jpg": b"another"}, tmp_path / "bag")
    assert len(problems) == 1
    assert problems[0].startswith("data/photos/a.jpg: is not the picture that was marked")
    assert "photo 'f0'" in problems[0]
    record = _record(["photos/a.jpg"])
    files: list[PayloadFile] = [f for f in payload_of(record) if f.path != "photos/a.jpg"]
    write_bag(tmp_path / "gone", files, INFO, form=BagForm.FOLDER)
    assert [problem.file for problem in verify_bag(tmp_path / "gone").problems] == ["data/photos/a.jpg"]


def test_a_broken_seal_or_chain_is_found(tmp_path: Path) -> None:
    """A survey other than the sealed one, a history line changed or moved: each is named."""
    lines: list[bytes] = []
    for seq in (3, 4, 7):
        previous = hashlib.sha256(lines[-1]).hexdigest() if seq == 4 else "0" * 64
        lines.append(json.dumps({"seq": seq, "previous": previous}).encode())
    history = b"".join(line + b"\n" for line in lines)
    head = HistoryHead(7, hashlib.sha256(lines[-1]).hexdigest())
    plain = _record(["photos/a.jpg"])
    text = next(b"".join(f.pieces()) for f in payload_of(plain) if f.path == "survey.json")
    seal = Seal("Clerk A", "2031-05-01T10:00:00+00:00", hashlib.sha256(text).hexdigest())
    facts = RecordFacts(seal=seal, history_head=head)
    sound = SurveyRecord(plain.survey, plain.originals, facts=facts, history=history, frozen=text)
    _write(tmp_path / "sound", sound)
    assert verify_bag(tmp_path / "sound").sound
    other = text.replace(b"Inspector A", b"Inspector B")
    assert "sealed" in _with(sound, {"survey.json": other}, tmp_path / "a")[0]
    assert _with(sound, {"history.jsonl": history.replace(b'"seq": 7', b'"seq": 7 ')}, tmp_path / "b")
    assert (
        "entry 4"
        in _with(sound, {"history.jsonl": lines[0] + b" \n" + lines[1] + b"\n"}, tmp_path / "c")[0]
    )
    assert (
        "line 2" in _with(sound, {"history.jsonl": lines[1] + b"\n" + lines[0] + b"\n"}, tmp_path / "d")[0]
    )
