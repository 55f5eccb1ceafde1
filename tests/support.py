"""What tests need from outside the repository, and what happens where it is missing."""

from __future__ import annotations

import os

import pytest

NO_SKIPS = "CORROSION_NO_SKIPS"


def need(condition: object, reason: str) -> None:
    """Skip the test with `reason` unless `condition` holds.

    With the environment variable ``CORROSION_NO_SKIPS=1`` a missing need is a failure: a machine that is
    meant to have everything must not pass by skipping.
    """
    if condition:
        return
    if os.environ.get(NO_SKIPS) == "1":
        pytest.fail(f"{reason} ({NO_SKIPS}=1, so this is a failure)")
    pytest.skip(reason)
