"""Fixtures for all tests, and their order."""

import os
from pathlib import Path

# Before numpy is loaded: processes with several threads each would only wait for one another.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

from tests.bench import Bench

# Files that wait more than they compute go first, then long ones: no process is left alone with one.
FIRST = ("browser", "api", "cli", "metrology", "photo")

# No clock in tests: a busy machine must not fail one. Under `.ci/run` the drawn examples are the same for
# the same code, so that a red build can be repeated; everywhere else each run explores.
settings.register_profile(
    "no clock",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=bool(os.environ.get("CORROSION_NO_SKIPS")),
)
settings.load_profile("no clock")


@pytest.fixture
def bench() -> Bench:
    """Give a fresh bench."""
    return Bench()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the folders of `FIRST` before the others; each file stays together."""
    home = Path(__file__).parent

    def turn(item: pytest.Item) -> int:
        folder = item.path.relative_to(home).parts[0]
        return FIRST.index(folder) if folder in FIRST else len(FIRST)

    items.sort(key=turn)
