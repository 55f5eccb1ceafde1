"""Fixtures for all tests."""

import pytest

from tests.bench import Bench


@pytest.fixture
def bench() -> Bench:
    """Give a fresh bench."""
    return Bench()
