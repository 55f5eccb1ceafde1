"""The photos beside a survey file."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from corrosion.errors import PhotoError
from corrosion.intake import checked_size, photo_sizes
from corrosion.model import Photo, load_survey
from tests.cli.samples import survey_folder


def test_sizes_and_progress(tmp_path: Path) -> None:
    """A good photo's upright size is read, and progress is told from none to all."""
    told: list[tuple[str, int, int]] = []
    survey = load_survey(survey_folder(tmp_path))
    sizes, problems = photo_sizes(survey, tmp_path, progress=lambda *step: told.append(step))
    assert sizes == {"f1": (320, 240)}
    assert problems == []
    assert told == [("pictures", 0, 1), ("pictures", 1, 1)]


def test_upright_size(tmp_path: Path) -> None:
    """A picture stored on its side (Exif 2.32, 4.6.4: orientation 6) has its upright size."""
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.new("RGB", (320, 240)).save(tmp_path / "a.jpg", exif=exif)
    assert checked_size(Photo(id="a", file="a.jpg"), tmp_path) == (240, 320)


@pytest.mark.parametrize(
    "name",
    [
        "../secret.png",
        "photos/../../secret.png",
        "/etc/hostname",
        "C:\\secret.png",
        "..\\secret.png",
        "link.png",
    ],
)
def test_names_may_not_leave_the_folder(tmp_path: Path, name: str) -> None:
    """A name that climbs out, is absolute in any system, or a link that leads out, is refused unread."""
    folder = tmp_path / "survey"
    folder.mkdir()
    Image.new("RGB", (20, 20)).save(tmp_path / "secret.png")
    (folder / "link.png").symlink_to(tmp_path / "secret.png")
    with pytest.raises(PhotoError, match="outside the survey's folder"):
        checked_size(Photo(id="a", file=name), folder)


def test_altered_picture_is_noticed(tmp_path: Path) -> None:
    """A picture that is not the one that was marked is a problem, however alike its size."""
    survey = load_survey(survey_folder(tmp_path))
    Image.new("RGB", (320, 240), "white").save(tmp_path / "photos" / "f1.png")
    sizes, problems = photo_sizes(survey, tmp_path)
    assert sizes == {}
    assert len(problems) == 1
    assert "SHA-256" in problems[0]
    assert "'f1'" in problems[0]


def test_other_size_is_noticed(tmp_path: Path) -> None:
    """A picture of another size than the survey states would shift every mark, so it is a problem."""
    survey = load_survey(survey_folder(tmp_path, size=[640, 480]))
    _, problems = photo_sizes(survey, tmp_path)
    assert "320 x 240 px" in problems[0]
    assert "640 x 480 px" in problems[0]


def test_one_bad_photo_does_not_stop_the_others(tmp_path: Path) -> None:
    """Each bad photo is one problem; the good ones are measured all the same."""
    survey = load_survey(survey_folder(tmp_path))
    (tmp_path / "text.jpg").write_text("hello", encoding="utf-8")
    more = [Photo(id="f2", file="text.jpg"), Photo(id="f3", file="gone.jpg")]
    sizes, problems = photo_sizes(survey.model_copy(update={"photos": [*more, *survey.photos]}), tmp_path)
    assert list(sizes) == ["f1"]
    assert [("f2" in p, "f3" in p) for p in problems] == [(True, False), (False, True)]
