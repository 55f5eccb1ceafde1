"""Measures, assessments, ledgers and maps of stored surveys. All arithmetic is `corrosion`'s."""

from __future__ import annotations

import threading
from collections import OrderedDict

from api.database import Database
from api.exchange import Exchange, Export
from corrosion.results import Assessment

# An assessment of a large survey takes seconds and a map asks for the same one at every click.
KEPT_ASSESSMENTS = 8


class Results:
    """Computes results, and keeps the latest assessments until anything they rest on changes."""

    def __init__(self, database: Database, exchange: Exchange) -> None:
        self._database = database
        self._exchange = exchange
        self._kept: OrderedDict[tuple[str, int, int], Assessment] = OrderedDict()
        self._lock = threading.Lock()

    def assessment(self, survey_id: str) -> Assessment:
        """Assess a survey as it is now stored.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        CorrosionError
            If the structure or a removal contradicts itself.
        """
        export = self._exchange.export(survey_id)
        with self._lock:
            kept = self._kept.get(export.state)
        return self._compute(export) if kept is None else kept

    def _compute(self, export: Export) -> Assessment:
        from corrosion.survey import assess  # noqa: PLC0415

        done = assess(export.file, sizes=export.sizes)
        with self._lock:
            self._kept[export.state] = done
            while len(self._kept) > KEPT_ASSESSMENTS:
                self._kept.popitem(last=False)
        return done
