"""Fixtures for all tests."""

import os

import pytest
from hypothesis import HealthCheck, settings

from tests.bench import Bench

# No clock in tests: a busy machine must not fail one. Under `.ci/run` the drawn examples are always the
# same, so that a red build can be repeated; everywhere else each run explores.
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
