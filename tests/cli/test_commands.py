"""The commands, as a user runs them; in a process of their own where that is at stake."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from api import cli
from corrosion import __version__
from tests.cli.running import one_error, run, run_process
from tests.cli.samples import BLEND_DEPTH_MM, PIT_AREA_MM2, survey_folder
from tests.report.example import assessment


def test_version(tmp_path: Path) -> None:
    """The version is printed and nothing else is done."""
    done = run_process("--version", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, f"corrosion {__version__}\n")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_measure_to_json(tmp_path: Path, units: Any) -> None:
    """A square pit has its area in mm2, and an uncertainty, whichever unit the file is in."""
    survey_folder(tmp_path, units)
    done = run("measure", "survey.json", "--json", "-", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    pit = document["photos"][0]["marks"][0]
    area = pit["quantities"]["area"]
    # A bar of 300 px and 30 mm makes 0.1 mm per px, exactly, when nothing is tilted.
    assert area["value"] == pytest.approx(PIT_AREA_MM2, rel=1e-9)
    assert area["U"] > 0.0
    assert area["display"].endswith(f"{units}²")
    assert pit["depth"]["value"] == pytest.approx(0.2)
    assert "P1" in done.stderr, "the table gives way to the document"


@pytest.mark.parametrize("units", ["mm", "in"])
def test_assess_with_everything(tmp_path: Path, units: Any) -> None:
    """One run gives table, ledger, JSON and map; the removal is the blend-out's depth."""
    survey_folder(tmp_path, units)
    spot = "SK1:40,36" if units == "mm" else "SK1:1.5748,1.4173"
    done = run("assess", "survey.json", "--json", "a.json", "--map", "m.svg", "--spot", spot, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "✓ within limit" in done.stdout
    assert "Ledger of SK1" in done.stdout
    assert "It informs a licensed person" in done.stdout
    document = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    removed = document["members"][0]["deepest"]["removed"]
    assert removed["value"] == pytest.approx(BLEND_DEPTH_MM)
    assert document["units"]["display"] == units
    root = ET.parse(tmp_path / "m.svg").getroot()  # noqa: S314, our own drawing
    assert "RIB 3" in "".join(root.itertext())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.json", "m.svg", "photos", "survey.json"]


def test_png_map_of_one_face(tmp_path: Path) -> None:
    """A map named .png is a PNG (W3C PNG, 5.2: its first eight bytes)."""
    survey_folder(tmp_path)
    done = run("assess", "survey.json", "--map", "m.png", "--face", "inner", "--margin", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "m.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_schema_describes_the_sample(tmp_path: Path) -> None:
    """The printed schema is JSON and knows the parts of a survey file."""
    done = run("schema", cwd=tmp_path)
    schema = json.loads(done.stdout)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert {"structure", "photos", "removals", "units"} <= set(schema["properties"])


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (None, "No such file"),
        ("{", "not valid JSON"),
        ('{"format": "shopping"}', "'format' is 'shopping'"),
        ('{"format": "corrosion-survey", "version": 1, "units": "cm"}', "units"),
    ],
)
def test_bad_survey_file(tmp_path: Path, content: str | None, expected: str) -> None:
    """A survey file that cannot be read is one clear line naming the file."""
    if content is not None:
        (tmp_path / "survey.json").write_text(content, encoding="utf-8")
    text = one_error(run("assess", "survey.json", cwd=tmp_path))
    assert "survey.json" in text
    assert expected in text


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (("--map", "map.pdf"), ".png or .svg"),
        (("--map", "nowhere/map.png"), "folder does not exist"),
        (("--json", "survey.json"), "is an input of the survey"),
        (("--map", "photos/f1.png"), "is an input of the survey"),
        (("--json", "photos"), "is a folder"),
        (("--spot", "SK1"), "MEMBER:STATION,OFFSET"),
        (("--spot", "SK9:1,2"), "Members: SK1"),
        (("--spot", "SK1:900,2"), "does not lie on member"),
        (("--spot", "SK1:1,nan"), "not a finite number"),
    ],
)
def test_refused_outputs_and_spots(tmp_path: Path, options: tuple[str, ...], expected: str) -> None:
    """What cannot be written or found is refused with the way out, and the inputs stay as they were."""
    survey = survey_folder(tmp_path)
    before = survey.read_bytes(), (tmp_path / "photos" / "f1.png").read_bytes()
    assert expected in one_error(run("assess", "survey.json", *options, cwd=tmp_path))
    assert (survey.read_bytes(), (tmp_path / "photos" / "f1.png").read_bytes()) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["photos", "survey.json"]


def test_wrong_usage(tmp_path: Path) -> None:
    """An unknown command or option is exit code 2."""
    assert run_process("assess", cwd=tmp_path).returncode == 2
    assert run("asses", "x", cwd=tmp_path).returncode == 2
    assert run("measure", "x", "--jsn", "y", cwd=tmp_path).returncode == 2


def test_strict_tells_what_could_not_be_used(tmp_path: Path) -> None:
    """A missing picture is listed in words; only --strict makes it an exit code, and the work is done."""
    survey_folder(tmp_path, file="photos/lost.jpg", sha256=None, size=[320, 240])
    done = run("assess", "survey.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "photos/lost.jpg: the file is missing." in done.stdout
    strict = run_process("assess", "survey.json", "--strict", "--json", "a.json", cwd=tmp_path)
    assert strict.returncode == 3, strict.stderr
    problems = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["problems"]
    assert any("photos/lost.jpg" in problem for problem in problems)


def test_missing_system_library_is_one_line(tmp_path: Path) -> None:
    """Without OpenCV's system library a command names the package to install, and help still works."""
    broken = tmp_path / "site" / "cv2"
    broken.mkdir(parents=True)
    (broken / "__init__.py").write_text(
        "raise ImportError('libGL.so.1: cannot open shared object file')", encoding="utf-8"
    )
    survey_folder(tmp_path)
    path = os.pathsep.join([str(broken.parent), str(Path(__file__).parents[2])])
    text = one_error(run_process("measure", "survey.json", cwd=tmp_path, PYTHONPATH=path))
    assert "libgl1" in text
    assert run_process("--help", cwd=tmp_path, PYTHONPATH=path).returncode == 0


def test_ascii_terminal(tmp_path: Path) -> None:
    """A terminal that knows only ASCII loses symbols, not the run."""
    survey_folder(tmp_path)
    done = run_process("assess", "survey.json", cwd=tmp_path, PYTHONUTF8="0", PYTHONIOENCODING="ascii")
    assert done.returncode == 0, done.stderr
    assert "within limit" in done.stdout


def test_serve_refuses_the_open_network(tmp_path: Path) -> None:
    """The service does not listen beyond this machine, and says why."""
    text = one_error(run("serve", "--data", "d", "--host", "0.0.0.0", "--port", "0", cwd=tmp_path))  # noqa: S104
    assert "open to the network" in text
    assert not (tmp_path / "d").exists()


def test_demo_without_a_terminal_names_the_way_to_the_service(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where nobody sits at a terminal nothing is served, and the last line says how to."""
    monkeypatch.setattr(cli, "_assess", lambda *_: assessment())
    # The chain itself, its words and its files: test_demo_service.
    monkeypatch.setattr(cli, "_truth_words", lambda *_: "")
    monkeypatch.setattr(cli, "_draw", lambda *_: None)
    done = run("demo", "--out", "shown", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.endswith("To open it in the browser: corrosion demo --out shown --serve\n")
    assert not (tmp_path / "shown" / "service").exists()
