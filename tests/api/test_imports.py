"""What loads with the service, and what only when it is used."""

from __future__ import annotations

import subprocess
import sys


def test_the_drawing_library_is_loaded_only_to_draw() -> None:
    """A service that draws no map, and a command that only reads settings, never load matplotlib."""
    code = "import sys; import api.app; print('matplotlib' in sys.modules, 'api.results' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    assert done.stdout.split() == ["False", "True"]
