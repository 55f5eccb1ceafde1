"""The removal map."""

from __future__ import annotations

import io
import re
import struct
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from corrosion.errors import CorrosionError, LayoutError
from corrosion.report.map import draw_map, draw_maps
from corrosion.report.map_labels import nice_step
from corrosion.report.map_style import VERDICT_COLOUR, MapStyle, colour_map
from corrosion.report.map_subject import detail_windows, sample, subject_of
from corrosion.terms import Face
from tests.report.example import LIMIT_MM, StubRemoval, assessment

SVG = "{http://www.w3.org/2000/svg}"


@cache
def drawn(face: Face | None = None, unit: str = "mm", **looks: object) -> ET.Element:
    """Draw the example's skin and read the SVG back."""
    buffer = io.BytesIO()
    whole = assessment("in" if unit == "in" else "mm")
    draw_map(whole, "SK1", face, buffer, "svg", style=MapStyle(**looks), removal=StubRemoval())  # type: ignore[arg-type]
    return ET.fromstring(buffer.getvalue())  # noqa: S314, our own drawing


def words_of(root: ET.Element) -> str:
    """Collect all text of a drawing."""
    return "\n".join("".join(text.itertext()) for text in root.iter(f"{SVG}text"))


def ids_of(root: ET.Element) -> set[str]:
    """Collect all element ids of a drawing."""
    return {element.get("id", "") for element in root.iter()}


def test_map_names_what_it_shows() -> None:
    """Title, verdict with symbol, stations, units, scale bar and legend are readable text."""
    words = words_of(drawn())
    for expected in (
        "SK1  lower skin, left",
        "✗ over limit",
        "zone 334",
        "RIB 3",
        "RIB 4",
        "station, mm",
        "chordwise, mm",
        "200 mm",
        "✗ over the limit",
        "not seen (no photo): outer face",
        "Thickness removed as a share of the limit",
        "drawn as seen from outside",
        "It informs a licensed person",
    ):
        assert expected in words, expected


def test_map_in_inches() -> None:
    """An inch survey's map has inch stations, an inch scale bar and depths to four decimals."""
    words = words_of(drawn(unit="in"))
    assert "station, in" in words
    assert "5 in" in words
    assert "B2  0.0047" in words
    assert " mm" not in words


def test_layers_are_there() -> None:
    """Every layer is an element of its own in the drawing."""
    ids = ids_of(drawn())
    assert {
        "member", "member-edge", "not-seen-outer", "over-limit", "too-close", "limit-zone-LZ1",
        "fasteners", "photo-f1", "outline-B1", "pit-P1", "pit-P7", "station-RIB 3", "removal",
    } <= ids  # fmt: skip


@pytest.mark.parametrize("layer", ["over-limit", "not-seen-outer"])
def test_hatching_beside_colour(layer: str) -> None:
    """What is over the limit and what was not seen is hatched, not only coloured."""
    root = drawn()
    patterns = {p.get("id") for p in root.iter(f"{SVG}pattern")}
    group = next(e for e in root.iter() if e.get("id") == layer)
    used = re.findall(r"url\(#([^)]+)\)", ET.tostring(group, encoding="unicode"))
    assert any(name in patterns for name in used)


def test_one_face_shows_only_itself() -> None:
    """The inner face's map leaves the outer face's marks, photos and unseen area out."""
    root = drawn(Face.INNER)
    ids = ids_of(root)
    assert "outline-B3" in ids
    assert not {"outline-B1", "pit-P1", "photo-f1", "not-seen-outer", "over-limit"} & ids
    assert "inner face alone" in words_of(root)


def test_margin_mode() -> None:
    """The other view says how much more may come off, in the display unit."""
    words = words_of(drawn(mode="margin"))
    assert "Margin left: how much more may come off, mm" in words
    assert "0.102" in words


def test_png_size_and_repeat(tmp_path: Path) -> None:
    """A PNG has the page's width at the stated resolution, and a second run gives the same bytes."""
    first, second = tmp_path / "a.png", tmp_path / "b.PNG"
    for path in (first, second):
        draw_map(assessment(), "SK1", None, path, style=MapStyle(dpi=100), removal=StubRemoval())
    data = first.read_bytes()
    width, height = struct.unpack(">II", data[16:24])  # W3C PNG, 11.2.2: IHDR begins with both
    assert width == 720
    assert height > 300
    assert data == second.read_bytes()


def test_svg_repeats() -> None:
    """The same survey gives the same SVG, without date or random ids."""
    assert ET.tostring(drawn.__wrapped__()) == ET.tostring(drawn())


def test_names_are_not_formulas(tmp_path: Path) -> None:
    """Dollar signs, braces and tags in names are drawn as written."""
    whole = assessment()
    skin = whole.members[0].member.model_copy(update={"name": r"$\frac{1}$ <b>&"})
    object.__setattr__(whole.members[0], "member", skin)
    buffer = io.BytesIO()
    draw_map(whole, "SK1", None, buffer, "svg", removal=StubRemoval())
    root = ET.fromstring(buffer.getvalue())  # noqa: S314, our own drawing
    assert r"$\frac{1}$ <b>&" in words_of(root)


def test_sheet_has_members_with_findings_only(tmp_path: Path) -> None:
    """The sheet draws the members on which something was found, or those asked for."""
    whole = assessment()
    object.__setattr__(whole, "findings", [f for f in whole.findings if f.id.startswith("P")])
    path = tmp_path / "sheet.svg"
    draw_maps(whole, path)
    text = path.read_text(encoding="utf-8")
    assert "SK1  lower skin" in text
    assert ">SP1<" not in text
    draw_maps(whole, path, members=["SP1"])
    assert ">SP1<" in path.read_text(encoding="utf-8")


def test_unknown_member_and_format(tmp_path: Path) -> None:
    """A wrong member names the right ones; a wrong ending names the right endings."""
    with pytest.raises(LayoutError, match="SK1, SP1"):
        draw_map(assessment(), "XX", None, tmp_path / "a.png")
    with pytest.raises(CorrosionError, match=r"\.png or \.svg"):
        draw_map(assessment(), "SK1", None, tmp_path / "a.pdf", removal=StubRemoval())
    assert not list(tmp_path.iterdir())


def test_sampled_field_lies_where_the_metal_is() -> None:
    """The grid's cells carry the removal at their own centres, and nothing off the member."""
    subject = subject_of(assessment(), "SK1", None)
    raster = sample(StubRemoval(), subject, (-50.0, -50.0, 450.0, 200.0), 500, everywhere=True)
    assert raster.removed.shape == (250, 500)
    row, column = np.argmin(abs(raster.y - 120.0)), np.argmin(abs(raster.x - 400.0))
    here = np.array([[raster.x[column], raster.y[row]]])
    assert raster.removed[row, column] == pytest.approx(StubRemoval().field(here).removed[0])
    assert raster.share[row, column] == pytest.approx(raster.removed[row, column] / LIMIT_MM)
    assert np.isnan(raster.removed[raster.y < 0.0]).all()
    assert np.isnan(raster.removed[:, raster.x < 0.0]).all()
    assert raster.extent == pytest.approx((-50.0, 450.0, -50.0, 200.0))


def test_close_ups_hold_every_finding() -> None:
    """Each pit and blend-out lies whole in some close-up; close-ups keep their aspect."""
    subject = subject_of(assessment(), "SK1", None)
    windows = detail_windows(subject, aspect=1.5, least_width=60.0, most=6)
    for outline in subject.outlines:
        left, bottom, right, top = outline.shape.bounds
        assert any(w[0] <= left and w[1] <= bottom and right <= w[2] and top <= w[3] for w in windows)
    for w in windows:
        assert (w[2] - w[0]) / (w[3] - w[1]) == pytest.approx(1.5)


@pytest.mark.parametrize(("span", "parts", "step"), [(900, 10, 50), (35.4, 10, 2), (100, 4, 20), (8, 2, 2)])
def test_nice_steps(span: float, parts: float, step: float) -> None:
    """Ticks and scale bars are 1, 2 or 5 times a power of ten (common practice, no source)."""
    assert nice_step(span, parts) == pytest.approx(step)


def luminance(colour: tuple[float, float, float]) -> float:
    """Relative luminance, WCAG 2.1 (W3C, 2018), definitions."""
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_badges_are_legible() -> None:
    """White letters on a verdict's badge have a contrast of 4.5 : 1 or more (WCAG 2.1, 1.4.3)."""
    for fill in VERDICT_COLOUR.values():
        rgb = tuple(int(fill[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
        assert 1.05 / (luminance((rgb[0], rgb[1], rgb[2])) + 0.05) >= 4.5


@pytest.mark.parametrize("mode", ["share", "margin"])
def test_colours_survive_a_grey_printer(mode: str) -> None:
    """Lightness runs one way along the colour scale, so it reads in grey as well."""
    scale = colour_map("margin" if mode == "margin" else "share")
    light = [luminance(scale(k / 100)[:3]) for k in range(101)]
    steps = np.diff(light)
    assert (steps > 0).all() or (steps < 0).all()
