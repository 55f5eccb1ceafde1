"""``corrosion compare``, as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.running import one_error, run
from tests.compare.scenes import depth, document, in_inches, mark, photo


def write(path: Path, date: str, deep: float, units: str = "mm") -> None:
    """Write a survey with one pit; its photo is not there."""
    made: dict[str, Any] = document(date, [photo([mark("P1", (230.0, 170.0), 4.0, depth(deep))])])
    path.write_text(json.dumps(in_inches(made) if units == "in" else made), encoding="utf-8")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_growth_is_printed_and_written_without_photos(
    tmp_path: Path, units: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """0.10 to 0.22 mm in two years is 0.12 mm in the JSON and in the table, in the later survey's unit."""
    monkeypatch.setenv("COLUMNS", "60")
    write(tmp_path / "old.json", "2031-04-17", 0.10)
    write(tmp_path / "new.json", "2033-04-17", 0.22, units)
    done = run("compare", "old.json", "new.json", "--json", "out.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    made = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert (made["format"], made["level"], made["units"]["display"]) == (
        "corrosion-comparison",
        0.05,
        units,
    )
    (row,) = made["findings"]
    growth = {one["quantity"]: one for one in row["growth"]}["depth"]
    assert growth["difference"]["value"] == pytest.approx(0.12)
    assert row["limit"]["reach"] == "between"
    assert row["limit"]["earliest"] < row["limit"]["latest"]
    # On a narrow terminal no column is squeezed out, and no number torn.
    (line,) = [one for one in done.stdout.splitlines() if "▲ grown" in one and "±" in one]
    assert all(word in line for word in ("f1/P1", "pit", "between"))
    assert ("+0.120 ± 0.029" if units == "mm" else "+0.0047 ± 0.0012") in done.stdout
    assert "growing evenly" in done.stdout


def test_reversed_dates_are_one_plain_error(tmp_path: Path) -> None:
    """The later survey named first is refused with the way out, and nothing is written."""
    write(tmp_path / "old.json", "2031-04-17", 0.10)
    write(tmp_path / "new.json", "2033-04-17", 0.22)
    done = run("compare", "new.json", "old.json", "--json", "out.json", cwd=tmp_path)
    assert "Name the earlier survey first" in one_error(done)
    assert not (tmp_path / "out.json").exists()
