"""Run a command as a user does: in this process, or in one of its own where that is at stake."""

from __future__ import annotations

import os
import subprocess
import sys
import traceback
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import BytesIO, TextIOWrapper
from pathlib import Path
from unittest.mock import patch

from api.cli import main

Done = subprocess.CompletedProcess[str]


def run(*words: str | Path, cwd: Path) -> Done:
    """Run the program's entry in `cwd` with captured streams: a second or two sooner than a new process."""
    command = ["corrosion", *map(str, words)]
    out, err = (TextIOWrapper(BytesIO(), "utf-8", write_through=True) for _ in range(2))
    code: object = 0
    with chdir(cwd), patch.object(sys, "argv", command), redirect_stdout(out), redirect_stderr(err):
        try:
            main()
        except SystemExit as left:
            code = left.code
        except Exception:  # noqa: BLE001 -- the interpreter would print it, and leave with 1
            traceback.print_exc()
            code = 1
    assert code is None or isinstance(code, int), code
    return subprocess.CompletedProcess(command, code or 0, _text(out), _text(err))


def run_process(*words: str | Path, cwd: Path, **environment: str) -> Done:
    """Run the command line in `cwd` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "api.cli", *map(str, words)],
        cwd=cwd,
        env=os.environ | {"PYTHONUTF8": "1"} | environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


def one_error(done: Done) -> str:
    """Check for a user's error: exit code 1, one or two lines, no traceback. Return them."""
    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert 1 <= len(done.stderr.strip().splitlines()) <= 2, done.stderr
    assert done.stderr.startswith("Error: ")
    return done.stderr


def _text(stream: TextIOWrapper) -> str:
    assert isinstance(stream.buffer, BytesIO)
    return stream.buffer.getvalue().decode("utf-8")
