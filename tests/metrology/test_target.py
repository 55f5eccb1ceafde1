"""Printed targets: layouts, pages, fits, and finding them, partly hidden, at a slant, in poor light."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corrosion.errors import ScaleError
from corrosion.find import find_reference
from corrosion.intake import with_found_references
from corrosion.measure import measure_photo
from corrosion.model import CheckBar, TargetScale, in_millimetres, parse_survey
from corrosion.opencv import cv2
from corrosion.photo import load_picture
from corrosion.quantity import Measured
from corrosion.scale import PlanarScale, fit_scale
from corrosion.target import SHEETS, sheet_named
from corrosion.target.sheet import PAPERS_MM, target_pdf, target_source
from corrosion.terms import Flag
from tests.metrology.pinhole import Pinhole, area, ngon, pairs, polygon_mark, survey_of
from tests.metrology.scenes import Drawing, photograph, picture_of

SAMPLES = Path(__file__).parents[2] / "sample_images"
SMALL = (1000, 750)


def measured(scale: dict[str, Any], outline: np.ndarray, **photo: Any) -> Measured:
    mark = polygon_mark(outline, u_edge_px=0.0, sigma_px=1e-3)
    one, survey = survey_of(scale, [mark], **photo)
    found = measure_photo(one, survey)
    assert found.problem is None, found.problem
    assert found.marks[0].problem is None, found.marks[0].problem
    return found.marks[0].quantities["area"]


def sheet_seen(camera: Pinhole, name: str = "window", printed: tuple[float, float] = (1.0, 1.0)) -> Any:
    """Exact checker corners of a sheet printed at another size, as a scale entry without check bar."""
    plane, _, _ = SHEETS[name].saddles()
    image = camera.see(plane * np.array(printed))
    return {"kind": "target", "sheet": name, "image": pairs(image), "plane": pairs(plane)}


def test_the_check_bars_set_the_size_of_both_directions() -> None:
    """Paper printed 1 % long and 2 % short is put right by x and y of the measured bars."""
    camera = Pinhole(tilt=0.3, direction=1.0)
    pit = ngon(24, 5.0)
    entry = sheet_seen(camera, printed=(1.01, 0.98))
    bar = {"x": 101.0, "y": 98.0, "u": 0.1}
    found = measured(entry | {"check_bar": bar}, camera.see(pit))
    assert found.value == pytest.approx(area(pit), rel=1e-6)
    # u of 0.1 mm in 100 mm for each of two independent directions: 0.1 % sqrt 2 of an area.
    assert found.budget()["photo f1: reference tolerance"] / found.value == pytest.approx(
        1e-3 * math.sqrt((100 / 101) ** 2 + (100 / 98) ** 2), rel=0.02
    )
    believed = measured(entry | {"check_bar": {"x": 100.0, "y": 100.0}}, camera.see(pit))
    assert believed.value == pytest.approx(area(pit) / (1.01 * 0.98), rel=1e-6)


def test_one_bar_is_flagged_and_none_is_refused() -> None:
    """A sheet whose bar nobody measured has no size; one bar alone leaves more doubt and a flag."""
    camera = Pinhole()
    entry = sheet_seen(camera)
    pit = camera.see(ngon(24, 5.0))
    both = measured(entry | {"check_bar": {"x": 100.0, "y": 100.0, "u": 0.1}}, pit)
    one = measured(entry | {"check_bar": {"x": 100.0, "u": 0.1}}, pit)
    assert Flag.PRINT_ONE_WAY in one.flags
    assert Flag.PRINT_ONE_WAY not in both.flags
    assert one.u > both.u
    for extra, words in (({}, "was not measured"), ({"check_bar": {"x": 3.94}}, "no 100 mm bar")):
        photo, survey = survey_of(entry | extra, [])
        with pytest.raises(ScaleError, match=words):
            fit_scale(photo, survey)
    photo, survey = survey_of({"kind": "target"}, [])
    with pytest.raises(ScaleError, match="not been found"):
        fit_scale(photo, survey)


def markers_seen(camera: Pinhole, rng: np.random.Generator, count: int, sigma: float) -> dict[str, Any]:
    """Corners of equal square markers thrown on the plane, with noise, as a scale entry."""
    square = 10.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    image = []
    for k in range(count):
        a = rng.uniform(0, 2 * math.pi)
        turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        place = 35.0 * np.array([math.cos(2.1 * k), math.sin(2.1 * k)]) if k else np.zeros(2)
        image.append(camera.see(square @ turn + place) + rng.normal(0, sigma, (4, 2)))
    return {
        "kind": "target",
        "side": 20.0,
        "u_side": 0.0,
        "dictionary": "4x4_50",
        "image": pairs(np.concatenate(image)),
        "plane": pairs(np.tile(square, (count, 1))),
        "sigma_px": max(sigma, 0.01),
    }


def test_several_markers_make_one_fit() -> None:
    """Markers lying anyhow share one homography: exact corners give the exact area, five residuals each."""
    camera = Pinhole(tilt=0.5, direction=2.0, distance=200)
    entry = markers_seen(camera, np.random.default_rng(1), 3, 0.0)
    photo, survey = survey_of(entry, [])
    scale = fit_scale(photo, survey)
    assert isinstance(scale, PlanarScale)
    assert scale.dof == 10
    assert scale.chi2 < 1e-6
    pit = ngon(24, 4.0, (15.0, 20.0))
    assert measured(entry, camera.see(pit)).value == pytest.approx(area(pit), rel=1e-6)


@pytest.mark.parametrize("count", [1, 3])
def test_markers_are_covered_as_stated(count: int) -> None:
    """With corner noise of 0.2 px, U (k = 2) of an area beside the markers holds in 93 % or more."""
    rng = np.random.default_rng(20310417)
    inside = []
    for _ in range(60):
        camera = Pinhole(
            tilt=math.radians(rng.uniform(0, 45)), direction=rng.uniform(0, 2 * math.pi), distance=200
        )
        pit = ngon(16, 4.0, (18.0 * math.cos(len(inside)), 18.0 * math.sin(len(inside))))
        found = measured(markers_seen(camera, rng, count, 0.2), camera.see(pit))
        inside.append(abs(found.value - area(pit)) <= found.expanded)
    assert np.mean(inside) >= 0.93


def test_a_marker_of_another_size_is_noticed() -> None:
    """A marker 10 % larger among equal ones is refused, one 2 % larger flagged by its residuals."""
    camera = Pinhole(tilt=0.3, distance=200)
    entry = markers_seen(camera, np.random.default_rng(1), 3, 0.0) | {"sigma_px": 0.2}
    image = np.array(entry["image"])
    image[4:8] += 0.10 * (image[4:8] - image[4:8].mean(axis=0))
    photo, survey = survey_of(entry | {"image": pairs(image)}, [])
    with pytest.raises(ScaleError, match="miss one plane"):
        fit_scale(photo, survey)
    image[4:8] = np.array(entry["image"])[4:8]
    image[4:8] += 0.02 * (image[4:8] - image[4:8].mean(axis=0))
    photo, survey = survey_of(entry | {"image": pairs(image)}, [])
    assert Flag.RESIDUAL_HIGH in fit_scale(photo, survey).flags


@pytest.mark.parametrize(
    ("tilt_deg", "dictionary"), [(0, "4x4_50"), (25, "6x6_250"), (45, "apriltag_36h11")]
)
def test_square_markers_are_found(tilt_deg: float, dictionary: str) -> None:
    """A plain marker of a named dictionary measures an area beside it to 2 % at 0 to 45 degrees."""
    rng = np.random.default_rng(11)
    camera = Pinhole(
        tilt=math.radians(tilt_deg), direction=2.5, roll=1.0, focal=1100, distance=1100 / 7, size=SMALL
    )
    drawing = Drawing.metal((140, 110), rng)
    drawing.marker(dictionary, 7, 20.0)
    entry = TargetScale(side=20.0, u_side=0.02, dictionary=dictionary)
    found = find_reference(picture_of(photograph(drawing, camera, rng)), entry).model_dump(mode="json")
    pit = ngon(24, 4.0, (18.0, 8.0))
    value = measured(found, camera.see(pit), size=SMALL)
    assert value.value == pytest.approx(area(pit), rel=0.02)
    assert abs(value.value - area(pit)) <= value.expanded


@pytest.mark.parametrize(
    ("name", "tilt_deg", "light", "hidden"),
    [
        ("window", 40, 1.0, None),
        ("window", 15, 0.1, None),
        ("window", 25, 1.0, (-90.0, 0.0, 180.0, 65.0)),
        ("sticker-24", 35, 1.0, None),
        ("frame-a5", 20, 1.0, (-110.0, -120.0, 100.0, 240.0)),
    ],
    ids=["slant", "poor light", "half hidden", "sticker", "frame half hidden"],
)
def test_sheets_are_found(
    name: str, tilt_deg: float, light: float, hidden: tuple[float, float, float, float] | None
) -> None:
    """A sheet is recognised by its markers and measures to 1 %: at a slant, half hidden, in poor light."""
    rng = np.random.default_rng(13)
    sheet = SHEETS[name]
    per_mm = min(0.75 * SMALL[0] / sheet.size[0], 0.75 * SMALL[1] / sheet.size[1], 12.0)
    camera = Pinhole(
        tilt=math.radians(tilt_deg), direction=0.6, roll=0.4, focal=1100, distance=1100 / per_mm, size=SMALL
    )
    drawing = Drawing.metal((sheet.size[0] + 40, sheet.size[1] + 40), rng)
    drawing.sheet(sheet)
    if hidden is not None:
        drawing.box(*hidden, 0.4)
    noise = 4.0 if light < 1 else 2.0
    picture = picture_of(photograph(drawing, camera, rng, light=light, noise=noise))
    entry = TargetScale(check_bar=CheckBar(x=100.0, y=100.0, u=0.05))
    found = find_reference(picture, entry)
    assert isinstance(found, TargetScale)
    assert found.sheet == name
    pit = ngon(24, 4.0, (0.4 * sheet.size[0], 0.0)) if name == "sticker-24" else ngon(24, 4.0, (10.0, -5.0))
    value = measured(found.model_dump(mode="json"), camera.see(pit), size=SMALL)
    assert value.value == pytest.approx(area(pit), rel=0.01)
    assert abs(value.value - area(pit)) <= value.expanded


def test_a_miss_says_so() -> None:
    """Bare metal, an unknown sheet and an unknown dictionary are refusals that name the way out."""
    rng = np.random.default_rng(3)
    camera = Pinhole(focal=1000, distance=150, size=(800, 600))
    picture = picture_of(photograph(Drawing.metal((150, 120), rng), camera, rng))
    for entry, words in (
        (TargetScale(), "no printed sheet was found"),
        (TargetScale(sheet="window"), "looked for: window"),
        (TargetScale(sheet="napkin"), "Sheets: sticker-12"),
        (TargetScale(side=10.0, dictionary="4x4_50", marker=3), "no marker number 3"),
        (TargetScale(side=10.0, dictionary="9x9"), "no dictionary"),
    ):
        with pytest.raises(ScaleError, match=words):
            find_reference(picture, entry, place="photo f1")


@pytest.mark.parametrize("name", SHEETS)
def test_printed_pages_hold_what_the_layout_says(name: str) -> None:
    """The page as typst draws it has every checker corner at its designed place, and 100 mm bars.

    Drawn at 254 dots per inch, 10 px/mm; the pixel whose middle is at x mm is 10 x - 1/2.
    """
    typst = pytest.importorskip("typst")
    paper = "letter" if name == "frame-letter" else "a4"
    source = target_source(sheet_named(name), paper).encode()
    grey = cv2.imdecode(
        np.frombuffer(typst.compile(source, format="png", ppi=254.0), np.uint8), cv2.IMREAD_GRAYSCALE
    )
    width, height = PAPERS_MM[paper]
    assert grey.shape == (math.ceil(10 * height), math.ceil(10 * width))
    pixels = cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB)
    found = find_reference(picture_of(pixels), TargetScale(sheet=name))
    assert isinstance(found, TargetScale)
    image, plane = np.array(found.image), np.array(found.plane)
    # Drawn without grey, a corner between two pixels may jump by half of one and is then left out.
    assert len(image) >= 0.85 * len(SHEETS[name].saddles()[0])
    offset = (image - 10.0 * plane).mean(axis=0)
    # Edges are drawn on whole pixels, so a corner is up to half a pixel (0.05 mm) off.
    assert np.abs(image - 10.0 * plane - offset).max() < 0.55
    dark = grey < 128
    assert longest_run(dark) >= 1000
    assert longest_run(dark.T) >= 1000


def longest_run(dark: np.ndarray) -> int:
    """Length of the longest dark line along the rows, px; a check bar's ends add half a stroke each."""
    best = 0
    for row in dark[dark.sum(axis=1) >= 900]:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        best = max(best, int((edges[1::2] - edges[::2]).max(initial=0)))
    assert best <= 1003
    return best


def test_the_pdf_is_a_pdf_and_the_paper_must_be_large_enough() -> None:
    """A sheet prints to a PDF of one page; one that does not fit its paper is refused."""
    assert target_pdf(sheet_named("sticker-40")).startswith(b"%PDF-")
    with pytest.raises(ScaleError, match="does not fit on 'letter'"):
        target_source(sheet_named("frame-a4"), "letter")
    with pytest.raises(ScaleError, match="Papers: a4, letter"):
        target_source(sheet_named("window"), "napkin")


def test_no_two_sheets_share_a_marker() -> None:
    """A marker tells which sheet it is on: within a dictionary no number is used twice."""
    used = [(sheet.dictionary, marker.number) for sheet in SHEETS.values() for marker in sheet.markers]
    assert len(set(used)) == len(used)


@pytest.mark.parametrize("name", ["02_sk1_outer_target", "11_sp1_outer_blend_target"])
def test_rendered_window_sheets(name: str) -> None:
    """On the rendered pictures the checker corners are within 0.3 px of truth, areas within 1 % and U."""
    truth = json.loads((SAMPLES / "truth" / f"{name}.json").read_text(encoding="utf-8"))
    entry = TargetScale(check_bar=CheckBar(x=100.0, y=100.0, u=0.05), height=0.1, u_height=0.02)
    found = find_reference(load_picture(SAMPLES / "photos" / f"{name}.jpg"), entry)
    assert isinstance(found, TargetScale)
    assert found.sheet == "window"
    true = {tuple(p["plan_mm"]): p["px"] for p in truth["references"][0]["points"]}
    off = [np.subtract(px, true[x, -y]) for px, (x, y) in zip(found.image, found.plane, strict=True)]
    assert len(off) >= 40
    assert np.abs(off).max() < 0.3
    assert np.abs(np.mean(off, axis=0)).max() < 0.05
    for dent in truth["dents"]:
        if dent["share_in_picture"] >= 1 and dent["share_covered"] <= 0:
            value = measured(found.model_dump(mode="json"), np.array(dent["outline_px"]))
            assert value.value == pytest.approx(dent["area_mm2"], rel=0.01), dent["id"]
            assert abs(value.value - dent["area_mm2"]) <= value.expanded, dent["id"]


def test_a_survey_in_inches_gets_its_points_in_inches(tmp_path: Path) -> None:
    """The find step fills in the file's own unit and reports what was found, and what was not."""
    rng = np.random.default_rng(13)
    camera = Pinhole(focal=1100, distance=1100 / 8, size=SMALL)
    drawing = Drawing.metal((110, 90), rng)
    drawing.sheet(SHEETS["sticker-40"])
    pixels = photograph(drawing, camera, rng)
    cv2.imwrite(str(tmp_path / "f1.png"), pixels[..., ::-1])
    photos = [
        {"id": "f1", "file": "f1.png", "scale": {"kind": "target", "check_bar": {"x": 3.937, "y": 3.937}}},
        {"id": "f2", "file": "gone.png", "scale": {"kind": "target"}},
    ]
    body = {"format": "corrosion-survey", "version": 1, "units": "in", "structure": {"name": "Panel"}}
    done = with_found_references(parse_survey(body | {"photos": photos}), tmp_path)
    assert [line.split(":")[0] for line in done.found] == ["photo f1"]
    assert "24 checker corners of the sheet 'sticker-40'" in done.found[0]
    assert len(done.missed) == 1
    assert "f2" in done.missed[0]
    found = in_millimetres(done.survey).photos[0]
    pit = camera.see(ngon(24, 4.0, (25.0, 0.0)))
    assert found.scale is not None
    value = measured(found.scale.model_dump(mode="json"), pit, size=SMALL)
    assert value.value == pytest.approx(area(ngon(24, 4.0)), rel=0.01)
