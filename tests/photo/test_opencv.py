"""A machine without OpenCV's system libraries gets one line that helps."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from corrosion.opencv import DEBIAN_PACKAGES, MAX_DECODE_PIXELS, explain_import_failure

PROGRAM = """
import sys
from corrosion.errors import CorrosionError
try:
    import corrosion.opencv
except CorrosionError as error:
    print(error)
    sys.exit(3)
"""


@pytest.mark.parametrize("library", ["libGL.so.1", "libgthread-2.0.so.0", "libxcb.so.1"])
def test_missing_system_library_is_one_line_with_the_packages(library: str, tmp_path: Path) -> None:
    """An import that fails for a shared object names the Debian packages in one line."""
    failure = f"{library}: cannot open shared object file: No such file or directory"
    (tmp_path / "cv2.py").write_text(f"raise ImportError({failure!r})\n")
    environment = os.environ | {"PYTHONPATH": f"{tmp_path}{os.pathsep}{Path(__file__).parents[2]}"}
    run = subprocess.run(
        [sys.executable, "-c", PROGRAM], env=environment, capture_output=True, text=True, check=False
    )
    assert run.returncode == 3
    assert run.stderr == ""
    assert run.stdout.count("\n") == 1
    assert library in run.stdout
    for package in DEBIAN_PACKAGES:
        assert package in run.stdout


def test_missing_wheel_names_the_wheel() -> None:
    """A missing or mixed-up OpenCV wheel is told apart from a missing system library."""
    error = explain_import_failure(ModuleNotFoundError("No module named 'cv2'"))
    assert "opencv-python" in str(error)
    assert "apt-get" not in str(error)


def test_decoder_limit_is_set_before_the_import() -> None:
    """The decoder's own limit stands behind ours, and a limit the user set is kept."""
    program = "import os, corrosion.opencv; print(os.environ['OPENCV_IO_MAX_IMAGE_PIXELS'])"
    for given, wanted in ((None, MAX_DECODE_PIXELS), ("1000", 1000)):
        environment = {k: v for k, v in os.environ.items() if k != "OPENCV_IO_MAX_IMAGE_PIXELS"}
        if given:
            environment["OPENCV_IO_MAX_IMAGE_PIXELS"] = given
        run = subprocess.run(
            [sys.executable, "-c", program], env=environment, capture_output=True, text=True, check=True
        )
        assert int(run.stdout) == wanted
