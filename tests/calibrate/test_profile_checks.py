"""A lens profile is used only for what it was made for, and its doubts travel with every measure."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from corrosion.lens import LENS_STEP, check_field, moved_profiles
from corrosion.measure import measure_photo
from corrosion.model import LensProfile
from corrosion.results import PhotoMeasures
from corrosion.terms import Flag
from tests.metrology.pinhole import Pinhole, ngon, pairs, polygon_mark, rectangle, survey_of

PROFILE: dict[str, Any] = {
    "id": "probe",
    "size": [1600, 1200],
    "matrix": [1200.0, 1200.0, 799.5, 599.5],
    "distortion": [0.0, 0.0, 0.0, 0.0],
}
STATED = {"device": "probe 1", "adapter": "side view", "focus": "near", "distance_range": [200.0, 400.0]}
OF_THE_PHOTO = {"device": "probe 1", "adapter": "side view", "focus": "near", "distance": 300.0}


def found(
    profile: dict[str, Any], photo: dict[str, Any], at: tuple[float, float] = (0, 0)
) -> PhotoMeasures:
    view = Pinhole()
    scale = {
        "kind": "points",
        "image": pairs(view.see(rectangle(60, 40))),
        "plane": pairs(rectangle(60, 40)),
    }
    mark = polygon_mark(view.see(ngon(16, 6, at)))
    return measure_photo(*survey_of(scale, [mark], lens=PROFILE | profile, **photo))


def test_what_agrees_is_used_without_a_flag() -> None:
    """Device, adapter, focus and distance all agree: no flag. Spaces do not matter."""
    assert Flag.LENS_NOT_CONFIRMED not in found(STATED, OF_THE_PHOTO).flags
    assert Flag.LENS_NOT_CONFIRMED not in found(STATED, OF_THE_PHOTO | {"device": " probe  1"}).flags


@pytest.mark.parametrize("missing", ["device", "adapter", "focus", "distance"])
def test_what_the_photo_does_not_say_is_flagged(missing: str) -> None:
    """What only the profile states cannot be compared: the photo is measured and flagged."""
    said = {name: value for name, value in OF_THE_PHOTO.items() if name != missing}
    result = found(STATED, said)
    assert result.problem is None
    assert Flag.LENS_NOT_CONFIRMED in result.flags
    assert Flag.LENS_NOT_CONFIRMED in result.marks[0].quantities["area"].flags


@pytest.mark.parametrize(
    ("name", "other", "said"),
    [
        ("device", "probe 2", "'probe 2'"),
        ("adapter", "forward view", "'forward view'"),
        ("focus", "far", "'far'"),
        ("distance", 500.0, "500 mm"),
        ("distance", {"value": 180.0, "u": 9.0}, "180 mm"),
    ],
)
def test_what_differs_is_refused(name: str, other: Any, said: str) -> None:
    """Another device, adapter, focus or distance is refused, both values named; depths are still there."""
    problem = found(STATED, OF_THE_PHOTO | {name: other}).problem
    assert problem is not None
    assert said in problem
    assert "'probe'" in problem


def test_a_distance_that_may_be_in_range_is_used() -> None:
    """180 mm with u = 11 mm may be 200 mm: within two standard uncertainties nothing is refused."""
    assert found(STATED, OF_THE_PHOTO | {"distance": {"value": 180.0, "u": 11.0}}).problem is None


@pytest.mark.parametrize(("poor", "said"), [({"views": 7}, "7 views"), ({"rms_px": 1.2}, "1.2 px RMS")])
def test_poor_profiles_are_refused(poor: dict[str, Any], said: str) -> None:
    """Fewer than 8 views, or more than 1 px RMS, is not used; at the limit it is."""
    assert said in str(found(poor, {}).problem)
    assert found({"views": 8, "rms_px": 1.0}, {}).problem is None


FIELD = [[500.0, 400.0], [1100.0, 400.0], [1100.0, 800.0], [500.0, 800.0]]


def test_marks_beyond_the_board_are_flagged_or_refused() -> None:
    """Beyond where the board was: a flag, and with a board over less than 60 % of the frame a refusal."""
    inside = found({"field": FIELD, "covered": 0.13}, {})
    assert inside.marks[0].problem is None
    flagged = found({"field": FIELD, "covered": 0.6}, {}, at=(80, 0)).marks[0]
    assert Flag.LENS_BEYOND_FIELD in flagged.quantities["area"].flags
    refused = found({"field": FIELD, "covered": 0.59}, {}, at=(80, 0)).marks[0].problem
    assert refused is not None
    assert "was not calibrated" in refused
    assert check_field(None, np.zeros((1, 2))) == frozenset()


def test_parts_of_the_covariance_add_up_to_it() -> None:
    """The moved profiles are the covariance: the sum of their steps' outer products, scaled back."""
    rng = np.random.default_rng(1)
    root = rng.normal(size=(8, 8)) * np.array([2.0, 2.0, 1.0, 1.0, 0.01, 0.02, 1e-4, 1e-4])[:, None]
    covariance = root @ root.T
    profile = LensProfile.model_validate(PROFILE | {"covariance": covariance.tolist()})
    start = np.array([*profile.matrix, *profile.distortion])
    steps = [(np.array([*m.matrix, *m.distortion]) - start) / LENS_STEP for m in moved_profiles(profile)]
    again = sum(np.outer(step, step) for step in steps)
    size = np.sqrt(np.diag(covariance))
    assert again / np.outer(size, size) == pytest.approx(covariance / np.outer(size, size), abs=1e-9)


def test_a_common_focal_error_does_not_touch_a_plane() -> None:
    """With the reference in the mark's plane, focal length and centre cancel; only distortion is left."""
    sure = np.diag([25.0, 25.0, 4.0, 4.0, 0, 0, 0, 0]).tolist()
    bent = np.diag([0, 0, 0, 0, 0.01**2, 0, 0, 0]).tolist()
    name = "lens probe: calibration"
    none = found({"covariance": sure}, {}, at=(10, 5)).marks[0].quantities["area"]
    some = found({"covariance": bent}, {}, at=(10, 5)).marks[0].quantities["area"]
    assert none.budget()[name] / none.value < 1e-6
    assert some.budget()[name] / some.value > 1e-4
