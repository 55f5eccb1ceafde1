"""Fixtures of the tests of people and rights."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import pytest
from pwdlib.hashers.argon2 import Argon2Hasher

from tests.api.people.people import House, house


@pytest.fixture(scope="module")
def cheaply() -> Iterator[None]:
    """Let services hash passwords at the least cost."""
    cheap = partial(Argon2Hasher, time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("api.people.passwords.Argon2Hasher", cheap)
        yield


@pytest.fixture(scope="module")
def everybody(cheaply: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """Give a service with one person of every kind."""
    with house(tmp_path_factory.mktemp("people")) as made:
        yield made
