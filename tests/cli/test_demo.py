"""The demonstration's comparison with the truth."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from corrosion.demo import SURVEY_NAME, compare_areas, sample_folder
from corrosion.find import needs_finding
from corrosion.model import Photo, load_survey
from corrosion.terms import MarkKind
from tests.report.example import assessment


def test_areas_against_truth(tmp_path: Path) -> None:
    """Errors are relative to the truth; dents cut off by the picture, or covered, are left out."""
    whole = assessment()
    survey = whole.survey.model_copy(update={"photos": [Photo(id="f1", file="photos/one.jpg")]})
    whole = replace(whole, survey=survey, photos=whole.photos[:1])
    dents = [
        {"id": "P1", "area_mm2": 8.0, "share_in_picture": 1.0, "share_covered": 0.0},
        {"id": "B1", "area_mm2": 400.0, "share_in_picture": 0.9, "share_covered": 0.0},
    ]
    (tmp_path / "truth").mkdir()
    (tmp_path / "truth" / "one.json").write_text(json.dumps({"dents": dents}), encoding="utf-8")
    (pits,) = compare_areas(whole, tmp_path)
    assert pits.kind is MarkKind.PIT
    # 8.31 +- 0.465 mm2 measured (see the example), 8 mm2 true.
    assert pits.errors == [pytest.approx(0.31 / 8.0)]
    assert pits.inside == pits.count == 1
    assert pits.median == pits.largest == pytest.approx(0.31 / 8.0)


def test_an_area_outside_its_uncertainty_is_not_inside(tmp_path: Path) -> None:
    """A measure further from the truth than its U counts against it."""
    whole = assessment()
    survey = whole.survey.model_copy(update={"photos": [Photo(id="f1", file="photos/one.jpg")]})
    whole = replace(whole, survey=survey, photos=whole.photos[:1])
    dents = [{"id": "P1", "area_mm2": 9.0, "share_in_picture": 1.0, "share_covered": 0.0}]
    (tmp_path / "truth").mkdir()
    (tmp_path / "truth" / "one.json").write_text(json.dumps({"dents": dents}), encoding="utf-8")
    assert [c.inside for c in compare_areas(whole, tmp_path)] == [0]


def test_the_sample_survey_is_there() -> None:
    """The demonstration finds its survey in this checkout or installation."""
    assert (sample_folder() / SURVEY_NAME).is_file()


def test_the_sample_survey_uses_what_the_program_finds() -> None:
    """The demonstration shows rules, discs and printed sheets found in their pictures, points and all."""
    survey = load_survey(sample_folder() / SURVEY_NAME)
    scales = {photo.id: photo.scale for photo in survey.photos if photo.scale is not None}
    kinds = {
        "01": "rule",
        "02": "target",
        "04": "disc",
        "06": "disc",
        "07": "rule",
        "09": "rule",
        "11": "target",
    }
    assert {name: scale.kind for name, scale in scales.items() if name in kinds} == kinds
    assert not any(needs_finding(scale) for scale in scales.values())
