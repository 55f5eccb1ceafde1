"""The cost of the history: an edit of a photo with 200 marks, with the history and without.

Run ``python -m tests.benchmarks.history``. The floor, in the same run and on a store beside it, is the same
edit through the same use case on a session that keeps no history. The two take turns, so that a busy
machine slows both.
"""

from __future__ import annotations

import contextlib
import copy
import json
import math
import os
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

from sqlalchemy.orm import Session

import api.database
from api.database import Database
from api.exchange import Exchange
from api.services import Services
from api.tables import PhotoRow
from tests.api.samples import survey_file

MARKS, CORNERS, ROUNDS = 200, 40, 40
LIMIT_RATIO = 1.5


def mark(number: int) -> dict[str, Any]:
    """Make a pit outlined with many corners, as a suggestion that was accepted gives it."""
    at = (20.0 + 37 * (number % 20), 20.0 + 25 * (number // 20))
    turns = [2 * math.pi * step / CORNERS for step in range(CORNERS)]
    ring = [[at[0] + 9.87654321 * math.cos(t), at[1] + 9.87654321 * math.sin(t)] for t in turns]
    depth = {"value": 0.31, "u": 0.01, "method": "gauge", "instrument": "DG-2"}
    shape = {"type": "Polygon", "coordinates": [ring]}
    return {"id": f"P{number}", "kind": "pit", "shape": shape, "depths": [depth]}


class Store:
    """A store with one photo, and edits of it."""

    def __init__(self, folder: Path) -> None:
        self.database = Database(f"sqlite:///{folder / 'bench.sqlite3'}")
        self.database.migrate()
        self.services = Services(self.database)
        photo = {"id": "f1", "file": "f1.jpg", "member": "SK1", "marks": [mark(n) for n in range(MARKS)]}
        source = json.dumps(survey_file([photo])).encode()
        survey = Exchange(self.database).import_file(source, place="bench").row.id
        self.row: PhotoRow = self.services.photos(survey)[0].row

    def edit(self, step: int) -> float:
        """Change one depth; return the seconds it took."""
        marks = copy.deepcopy(self.row.document["marks"])
        marks[step % MARKS]["depths"][0]["value"] = 0.2 + step / 1000
        begin = time.perf_counter()
        self.row = self.services.edit_photo(self.row.id, self.row.version, {"marks": marks}).row
        return time.perf_counter() - begin


@contextlib.contextmanager
def without_history() -> Iterator[None]:
    """Let the use cases write past the history."""
    with patch.object(api.database, "RecordingSession", Session):
        yield


def main() -> None:
    """Print the figures; exit with 1 above the limit."""
    print(f"{MARKS} marks of {CORNERS} corners, {ROUNDS} edits each; {os.cpu_count()} processors")
    print(f"{platform.python_implementation()} {platform.python_version()}, load {os.getloadavg()[0]:.1f}")
    kept, bare = [], []
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        with_it, without = Store(Path(one)), Store(Path(other))
        for step in range(ROUNDS):
            kept.append(with_it.edit(step))
            with without_history():
                bare.append(without.edit(step))
        size = len(json.dumps(with_it.row.document))
        with_it.database.close()
        without.database.close()
    # The fastest of many: what another process did meanwhile is in none of them.
    ratio = min(kept) / min(bare)
    print(f"document {size / 1e3:.0f} kB")
    for name, times in (("with", kept), ("without", bare)):
        median = statistics.median(times)
        print(f"{name:8} fastest {1e3 * min(times):6.1f} ms   median {1e3 * median:6.1f} ms")
    print(f"ratio {ratio:.2f}, limit {LIMIT_RATIO}")
    sys.exit(ratio > LIMIT_RATIO)


if __name__ == "__main__":
    main()
