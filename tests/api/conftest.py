"""Fixtures of the service's tests: one real service for all tests that do not need their own."""

from __future__ import annotations

from collections.abc import Iterator

import httpx
import pytest

from api.settings import Settings
from tests.api.server import running


@pytest.fixture(scope="session")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Give a client of a service with an empty store of its own."""
    settings = Settings(
        data_dir=tmp_path_factory.mktemp("data"),
        max_file_bytes=2_000_000,
        max_upload_bytes=8_000_000,
        max_json_bytes=200_000,
        max_files=20,
        max_megapixels=4.0,
    )
    with running(settings) as made:
        yield made
