"""``corrosion straighten``: a rough profile from points typed along one straight edge."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.api.samples import picture
from tests.cli.running import one_error, run

K1, FOCAL = -0.2, 800.0


def points(count: int) -> list[str]:
    """Points along an edge bent by the radial polynomial with k1 and the long side as focal length."""
    x = np.linspace(-0.45, 0.45, 9)[:count]
    y = np.full_like(x, -0.3)
    factor = 1 + K1 * (x**2 + y**2)
    seen = np.column_stack([x * factor, y * factor]) * FOCAL + [399.5, 299.5]
    return [word for a, b in seen for word in ("--at", f"{a:.3f},{b:.3f}")]


def test_the_bend_comes_back(tmp_path: Path) -> None:
    """The file holds the k1 that bent the edge (closed form), and says its focal length is not known."""
    (tmp_path / "f1.jpg").write_bytes(picture(size=(800, 600)))
    done = run("straighten", "f1.jpg", *points(9), "--out", "lens.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    profile = json.loads((tmp_path / "lens.json").read_text("utf-8"))
    assert profile["distortion"][0] == pytest.approx(K1, rel=0.01)
    assert profile["focal_known"] is False


@pytest.mark.parametrize(("given", "words"), [(points(4), "4 points"), (["--at", "1;2"], "'1;2'")])
def test_what_does_not_show_a_bend_is_refused(tmp_path: Path, given: list[str], words: str) -> None:
    """Too few points or an unreadable one: one error, and no file."""
    (tmp_path / "f1.jpg").write_bytes(picture(size=(800, 600)))
    done = run("straighten", "f1.jpg", *given, "--out", "lens.json", cwd=tmp_path)
    assert words in one_error(done)
    assert not (tmp_path / "lens.json").exists()
