"""A real service for tests: uvicorn on a free loopback port, in a thread or in a process of its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import uvicorn

from api.app import create_app
from api.settings import Settings

START_SECONDS = 120.0


@contextmanager
def running(settings: Settings) -> Iterator[httpx.Client]:
    """Serve in a thread and give a client for it."""
    config = uvicorn.Config(create_app(settings), host="127.0.0.1", port=0, log_level="critical")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    for _ in range(int(START_SECONDS * 100)):
        if server.started:
            break
        thread.join(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=300) as client:
            yield client
    finally:
        server.should_exit = True
        thread.join(START_SECONDS)


class Process:
    """`api.app.serve` in a process that can be killed."""

    def __init__(self, data: Path, *, crash_at: str = "") -> None:
        self._child = subprocess.Popen(
            [sys.executable, "-m", "tests.api.killable", crash_at],
            env=os.environ | {"CORROSION_DATA_DIR": str(data), "CORROSION_PORT": "0"},
            cwd=Path(__file__).parents[2],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._child.stdout is not None
        self.address = self._child.stdout.readline().strip()
        if not self.address.startswith("http"):
            self.stop()
            raise AssertionError("the service did not start; its error output says why")

    def kill(self) -> None:
        """End it as a power cut would: no handler runs, nothing is flushed."""
        self._child.send_signal(signal.SIGKILL)
        self.wait()

    def wait(self) -> int:
        """Wait until it has ended and return its exit code."""
        code = self._child.wait(START_SECONDS)
        if self._child.stdout is not None:
            self._child.stdout.close()
        return code

    def stop(self) -> None:
        """Ask it to end."""
        if self._child.poll() is None:
            self._child.send_signal(signal.SIGINT)
        self.wait()
