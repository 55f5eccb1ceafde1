"""Fixtures of the service's tests: one real service for all tests that do not need their own."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import httpx
import pytest
from sqlalchemy import create_engine, text

from api.settings import Settings
from tests.api.server import START_SECONDS, running
from tests.support import need

POSTGRESQL = Path("/usr/lib/postgresql/15/bin")
PORTS_TRIED = 5


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


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """Start a PostgreSQL server of its own and give its address without a database."""
    need((POSTGRESQL / "initdb").exists(), f"PostgreSQL's server programs are not in {POSTGRESQL}")
    need(shutil.which("su") is not None and os.getuid() == 0, "only root can start PostgreSQL as its user")
    # Not pytest's own folder: only root may enter that, and every other pytest run closes it again.
    folder = Path(tempfile.mkdtemp(prefix="corrosion-pg-"))
    user = pwd.getpwnam("postgres")
    os.chown(folder, user.pw_uid, user.pw_gid)

    def run(command: str) -> None:
        subprocess.run(["su", "postgres", "-c", command], check=True, stdout=subprocess.DEVNULL, cwd=folder)

    data, patience = folder / "data", f"-t {START_SECONDS:.0f}"
    run(f"{POSTGRESQL}/initdb -N -A trust -D {data}")
    for tries_left in reversed(range(PORTS_TRIED)):
        port = free_port()
        options = f"-p {port} -c listen_addresses=127.0.0.1 -k {folder} -c fsync=off"
        try:
            run(f"{POSTGRESQL}/pg_ctl -D {data} -l {folder}/log -o '{options}' -w {patience} start")
            break
        except subprocess.CalledProcessError:
            # Somebody else may have got the port in between.
            if not tries_left:
                raise
    try:
        yield f"postgresql+psycopg://postgres@127.0.0.1:{port}"
    finally:
        run(f"{POSTGRESQL}/pg_ctl -D {data} -m immediate -w stop")
        shutil.rmtree(folder)


def free_port() -> int:
    """Find a port that nobody has at the moment."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def postgresql(postgresql_server: str) -> str:
    """Give the URL of an empty PostgreSQL database."""
    name = f"t{uuid4().hex}"
    engine = create_engine(f"{postgresql_server}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return f"{postgresql_server}/{name}"
