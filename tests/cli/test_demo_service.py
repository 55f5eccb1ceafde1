"""The demonstration survey opens in the service."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
from pathlib import Path

import httpx

from api.demo_service import demo_settings, fill

WAIT_SECONDS = 300.0


def test_the_demo_writes_its_files_and_opens_its_survey(tmp_path: Path) -> None:
    """`corrosion demo --serve` runs the real chain, writes what it says, and serves it until Ctrl+C."""
    command = [sys.executable, "-m", "api.cli", "demo", "--out", "shown", "--serve"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONUTF8": "1"}, cwd=tmp_path
    ) as process:
        try:
            address, printed = _address(process)
            page = httpx.get(address, timeout=WAIT_SECONDS)
            service, survey = address.rsplit("/surveys/", 1)
            answer = httpx.get(f"{service}/api/surveys/{survey}/assessment", timeout=WAIT_SECONDS)
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(timeout=WAIT_SECONDS)
    assert page.status_code == 200
    assert "Opening inspection" in page.text
    assert answer.json()["verdict"] == "over"
    assert process.returncode == 0
    assert "against the rendered truth" in printed
    assert "Written to shown: map.png, map.svg, assessment.json" in printed
    files = {"map.png", "map.svg", "assessment.json", "service"}
    assert {path.name for path in (tmp_path / "shown").iterdir()} == files
    document = json.loads((tmp_path / "shown" / "assessment.json").read_text(encoding="utf-8"))
    assert {m["member"] for m in document["members"]} == {"SK1", "SK2", "SP1", "RB1", "RB2"}


def test_filling_twice_keeps_what_was_tried(tmp_path: Path) -> None:
    """A second start finds the survey of the first and does not enter it again."""
    settings = demo_settings(tmp_path)
    assert fill(settings) == fill(settings)


def _address(process: subprocess.Popen[str]) -> tuple[str, str]:
    """Wait for the survey's address; return it, and all that was printed till then."""
    assert process.stdout is not None
    printed = ""
    limit = threading.Timer(WAIT_SECONDS, process.kill)
    limit.start()
    try:
        for line in process.stdout:
            printed += line
            found = re.search(r"Open (http://127\.0\.0\.1:\d+/surveys/\w+)", line)
            if found:
                return found[1], printed
    finally:
        limit.cancel()
    raise AssertionError("the demonstration did not open a service")
