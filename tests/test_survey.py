"""The whole chain names what it leaves out."""

from typing import Any

import pytest

from corrosion.model import parse_survey
from corrosion.survey import assess
from corrosion.terms import Verdict
from tests.bench import Bench


def with_photo(bench: Bench, **changes: Any) -> dict[str, Any]:
    """Add a photo with one blend-out to the bench's survey; 10 px to the mm, seen square on."""
    document = bench.survey().model_dump(mode="json", exclude_none=True)
    corners = [[0.0, 0.0], [900.0, 0.0], [900.0, 600.0], [0.0, 600.0]]
    outline = [[400.0, 250.0], [500.0, 250.0], [500.0, 350.0], [400.0, 350.0]]
    document["photos"] = [
        {
            "id": "f1",
            "file": "f1.jpg",
            "size": [1000, 700],
            "member": "SK1",
            "face": "outer",
            "scale": {"kind": "points", "image": corners, "plane": [[x / 10, y / 10] for x, y in corners]},
            "placement": {
                "image": corners,
                "layout": [[200 + x / 10, 200 - y / 10] for x, y in corners],
            },
            "marks": [
                {
                    "id": "B1",
                    "kind": "blend-out",
                    "shape": {"type": "Polygon", "coordinates": [outline]},
                    "measured_from": "original",
                    "depths": [{"value": 0.06, "u": 0.004, "method": "gauge"}],
                }
            ],
        }
        | changes
    ]
    return document


def test_a_blend_out_on_a_photo_is_summed(bench: Bench) -> None:
    """A flat blend-out marked on a photo comes out at its place with its depth."""
    assessment = assess(parse_survey(with_photo(bench)))
    deepest = assessment.members[0].deepest
    assert assessment.problems == []
    assert deepest is not None
    assert deepest.removed.value == pytest.approx(0.06)
    assert 240.0 <= deepest.at[0] <= 250.0
    assert 165.0 <= deepest.at[1] <= 175.0


@pytest.mark.parametrize("missing", ["member", "face"])
def test_a_placed_photo_without_its_tag_is_named(bench: Bench, missing: str) -> None:
    """Point pairs without the member or face they refer to are a problem, not a silent gap."""
    document = with_photo(bench)
    del document["photos"][0][missing]
    assessment = assess(parse_survey(document))
    assert any(f"which {missing} it shows" in problem for problem in assessment.problems)
    assert assessment.verdict is Verdict.NOT_DETERMINED


def test_a_blend_out_of_no_member_is_named(bench: Bench) -> None:
    """A blend-out on an untagged photo is in no sum, and the assessment says so."""
    document = with_photo(bench)
    del document["photos"][0]["member"]
    del document["photos"][0]["placement"]
    assessment = assess(parse_survey(document))
    assert any("belongs to no member" in problem for problem in assessment.problems)


def test_an_instrument_that_is_not_listed_is_named(bench: Bench) -> None:
    """A gauge's name mistyped loses the error its readings share; that is said of every kind of reading."""
    document = with_photo(bench)
    document["instruments"] = [{"id": "DG-1", "u_systematic": 0.004}]
    document["photos"][0]["marks"][0]["depths"][0]["instrument"] = "DG-1"
    assert assess(parse_survey(document)).problems == []
    document["photos"][0]["marks"][0]["depths"][0]["instrument"] = "DG1"
    reading = {"id": "T1", "member": "SK1", "at": [10, 10], "value": 1.0, "u": 0.01, "instrument": "UT1"}
    document["thickness_readings"] = [reading]
    told = assess(parse_survey(document)).problems
    assert ["'DG1'" in told[0], "'UT1'" in told[1]] == [True, True]
