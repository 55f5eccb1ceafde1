"""What was seen of each face."""

from __future__ import annotations

import pytest
import shapely

from corrosion.findings import coverage
from corrosion.layout import MemberLayout
from corrosion.model import Member, Structure
from corrosion.terms import Face
from tests.findings.builders import MEMBER, shown


@pytest.fixture
def layout() -> MemberLayout:
    """Give a member of 900 x 400 mm."""
    return MemberLayout.of(Member.model_validate(MEMBER), Structure(name="bench"))


def test_overlapping_footprints_count_once(layout: MemberLayout) -> None:
    """Two photos of 200 x 400 and 200 x 400 mm that share 100 mm show 300 x 400 of 900 x 400."""
    photos = [shown(shapely.box(0, 0, 200, 400)), shown(shapely.box(100, 0, 300, 400))]
    assert coverage(photos, layout)[Face.OUTER].share == pytest.approx(1 / 3, rel=1e-12)


def test_faces_are_seen_separately(layout: MemberLayout) -> None:
    """A photo of the inner face shows nothing of the outer one."""
    seen = coverage([shown(layout.polygon, Face.INNER)], layout)
    assert (seen[Face.INNER].share, seen[Face.OUTER].share) == (1.0, 0.0)
    assert seen[Face.INNER].unseen.is_empty
    assert seen[Face.OUTER].unseen.equals(layout.polygon)


def test_seen_and_unseen_make_the_member(layout: MemberLayout) -> None:
    """Seen and unseen areas are the member's area, without overlap."""
    cover = coverage([shown(shapely.box(100, 100, 300, 300))], layout)[Face.OUTER]
    assert cover.seen.area + cover.unseen.area == pytest.approx(layout.polygon.area, rel=1e-12)
    assert cover.seen.intersection(cover.unseen).area == pytest.approx(0.0, abs=1e-9)


def test_a_photo_that_is_not_placed_shows_nothing(layout: MemberLayout) -> None:
    """Not placed is not seen; so is another member."""
    photos = [shown(None), shown(layout.polygon, member="SK2")]
    assert coverage(photos, layout)[Face.OUTER].share == 0.0


def test_no_photos_show_nothing(layout: MemberLayout) -> None:
    """Both faces are reported even without a photo."""
    assert {face: c.share for face, c in coverage([], layout).items()} == {Face.OUTER: 0.0, Face.INNER: 0.0}
