"""Fixtures for all tests."""

import pytest
from hypothesis import settings

from tests.bench import Bench

# No clock in tests: a busy machine must not fail one.
settings.register_profile("no clock", deadline=None)
settings.load_profile("no clock")


@pytest.fixture
def bench() -> Bench:
    """Give a fresh bench."""
    return Bench()
