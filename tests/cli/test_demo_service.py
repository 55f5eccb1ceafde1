"""The demonstration survey opens in the service."""

import os
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx

from api.demo_service import demo_settings, fill

WAIT_SECONDS = 120.0


def test_the_demo_opens_its_survey(tmp_path: Path) -> None:
    """`corrosion demo --serve` names the survey's page; page and assessment answer until Ctrl+C."""
    command = [sys.executable, "-m", "api.cli", "demo", "--out", str(tmp_path), "--serve"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=os.environ) as process:
        try:
            address = _address(process)
            page = httpx.get(address, timeout=60.0)
            service, survey = address.rsplit("/surveys/", 1)
            answer = httpx.get(f"{service}/api/surveys/{survey}/assessment", timeout=60.0)
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(timeout=30)
    assert page.status_code == 200
    assert "Opening inspection" in page.text
    assert answer.json()["verdict"] == "over"
    assert process.returncode == 0


def test_filling_twice_keeps_what_was_tried(tmp_path: Path) -> None:
    """A second start finds the survey of the first and does not enter it again."""
    settings = demo_settings(tmp_path)
    assert fill(settings) == fill(settings)


def _address(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    deadline = time.monotonic() + WAIT_SECONDS
    while time.monotonic() < deadline:
        ready, _, _ = select.select([process.stdout], [], [], 1.0)
        line = process.stdout.readline() if ready else ""
        found = re.search(r"Open (http://127\.0\.0\.1:\d+/surveys/\w+)", line)
        if found:
            return found[1]
        if process.poll() is not None:
            break
    raise AssertionError("the demonstration did not open a service")
