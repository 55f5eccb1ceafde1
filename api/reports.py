"""Reports of stored surveys: made in the background, kept until the survey changes."""

from __future__ import annotations

import hashlib
import json
import logging
import tempfile
import threading
from collections import OrderedDict
from concurrent.futures import Executor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal
from uuid import uuid4

from api import repository as repo
from api.database import Database
from api.errors import ConflictError, NotFoundError
from api.exchange import Exchange
from api.files import PictureFiles
from api.planning import Planner, Plans
from api.sealing.facts import record_facts
from api.tables import PhotoRow
from corrosion.errors import CorrosionError
from corrosion.record.facts import RecordFacts
from corrosion.record.subject import Progress, Read, Subject

logger = logging.getLogger("corrosion.api")

Paper = Literal["a4", "letter"]
Kind = Literal["full", "summary"]
Status = Literal["none", "waiting", "working", "ready", "failed"]

KEPT_REPORTS = 12
MOST_WAITING = 8
MOST_READS = 4


@dataclass(frozen=True)
class Asked:
    """Which report of which survey is wanted."""

    survey_id: str
    paper: Paper = "a4"
    kind: Kind = "full"


@dataclass(frozen=True)
class Making:
    """How far a report is.

    Attributes
    ----------
    status : str
        ``none``: nobody has asked for it since the survey changed.
    step, done, total : str, int, int
        What is being done now.
    problem : str
        Why it failed, in plain words.
    size_bytes : int or None
        Of the finished file.
    key : str
        Names the content: it changes when the survey, its signatures or its seal change.
    """

    status: Status
    key: str
    step: str = ""
    done: int = 0
    total: int = 0
    problem: str = ""
    size_bytes: int | None = None

    @property
    def at_work(self) -> bool:
        """Whether it is being made or waits for its turn."""
        return self.status in ("waiting", "working")


class _StoppedError(Exception):
    """The service is closing; the report is given up."""


class Reports:
    """Makes reports one after the other on the photo workers, and keeps the latest.

    Parameters
    ----------
    executor : Executor
        The pool that photos are read on; one report takes one of its threads.
    """

    def __init__(
        self,
        database: Database,
        exchange: Exchange,
        planner: Planner,
        files: PictureFiles,
        executor: Executor,
    ) -> None:
        self._database = database
        self._exchange = exchange
        self._planner = planner
        self._files = files
        self._executor = executor
        self._jobs: OrderedDict[str, Making] = OrderedDict()
        self._running: dict[Asked, str] = {}
        self._lock = threading.Lock()
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._closing = threading.Event()

    def look(self, asked: Asked) -> Making:
        """Say how far a report is; `NotFoundError` if there is no such survey."""
        with self._lock:
            # Asked every second while it is made: without reading the survey anew each time.
            running = self._running.get(asked)
            if running is not None:
                return self._jobs[running]
        key = self._key(asked, self._facts(asked.survey_id))
        with self._lock:
            return self._jobs.get(key) or Making("none", key)

    def start(self, asked: Asked) -> Making:
        """Have a report made, unless it is there or on its way; one that failed is tried again.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        ConflictError
            If too many are waiting.
        """
        facts = self._facts(asked.survey_id)
        key = self._key(asked, facts)
        with self._lock:
            known = self._jobs.get(self._running.get(asked, key))
            if known is not None and (known.at_work or known.status == "ready"):
                return known
            if sum(job.at_work for job in self._jobs.values()) >= MOST_WAITING:
                raise ConflictError(
                    f"{MOST_WAITING} reports are being made already.",
                    remedy="Wait until one of them is done, then ask again.",
                )
            made = self._jobs[key] = Making("waiting", key)
            self._running[asked] = key
            self._forget_old()
        self._executor.submit(self._work, asked)
        return made

    def file(self, asked: Asked) -> tuple[Path, str]:
        """Return a finished report's file and its key.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        ConflictError
            If the report of the survey as it is now is not ready.
        """
        made = self.look(asked)
        if made.status != "ready":
            raise ConflictError(
                "the report of the survey as it is now is not ready.",
                place=f"survey {asked.survey_id}",
                remedy="Have it made first (POST the survey's report) and wait until it is ready.",
            )
        with self._lock:
            return self._path(made.key), made.key

    def close(self) -> None:
        """Give up what is being made."""
        self._closing.set()

    def remove_files(self) -> None:
        """Remove the kept files, after the workers have stopped."""
        if self._folder is not None:
            self._folder.cleanup()

    def subject(self, survey_id: str) -> Subject:
        """Collect everything a survey's report speaks of, as it is now or as it was sealed."""
        plans = self._planner.plans(survey_id)
        text = self._exchange.export(survey_id, with_hashes=True).text
        return _subject_of(plans, text, self._reader(survey_id))

    def _facts(self, survey_id: str) -> RecordFacts:
        with self._database.reading() as session:
            return record_facts(session, survey_id)

    def _key(self, asked: Asked, facts: RecordFacts) -> str:
        # The history's head moves with every other survey too: it dates a report, it does not age it.
        stated = asdict(replace(facts, history_head=None))
        state = [self._planner.state(asked.survey_id), stated, asked.paper, asked.kind]
        return hashlib.sha256(json.dumps(state, sort_keys=True, default=str).encode()).hexdigest()

    def _path(self, key: str) -> Path:
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(
                prefix="corrosion-reports-", ignore_cleanup_errors=True
            )
        return Path(self._folder.name) / f"{key}.pdf"

    def _forget_old(self) -> None:
        """Drop the oldest finished reports beyond what is kept."""
        done = [key for key, job in self._jobs.items() if not job.at_work]
        for key in done[: max(len(self._jobs) - KEPT_REPORTS, 0)]:
            del self._jobs[key]
            self._path(key).unlink(missing_ok=True)

    def _tell(self, asked: Asked, **state: Any) -> None:
        """Set how far a running report is; one that is ready or has failed runs no more."""
        with self._lock:
            key = self._running[asked]
            made = self._jobs[key] = Making(key=key, **state)
            if not made.at_work:
                del self._running[asked]

    def _move(self, asked: Asked, key: str) -> None:
        """Go on under another key: the survey was changed before its report was begun."""
        with self._lock:
            old = self._jobs.pop(self._running[asked])
            self._running[asked], self._jobs[key] = key, replace(old, key=key)

    def _work(self, asked: Asked) -> None:
        """Make one report; whatever goes wrong is told to whoever asks for it."""

        def progress(step: str, done: int, total: int) -> None:
            if self._closing.is_set():
                raise _StoppedError
            self._tell(asked, status="working", step=step, done=done, total=total)

        try:
            progress("survey", 0, 1)
            subject, facts = self._consistent(asked)
            pdf = _pdf(subject, asked, facts, progress)
            with self._lock:
                path = self._path(self._running[asked])
            path.write_bytes(pdf)
            self._tell(asked, status="ready", size_bytes=len(pdf))
        except _StoppedError:
            self._tell(asked, status="failed", problem="The service was stopped.")
        except CorrosionError as error:
            self._tell(asked, status="failed", problem=str(error))
        except Exception:
            reference = uuid4().hex[:8]
            logger.exception("report of survey %s failed, reference %s", asked.survey_id, reference)
            words = f"The report could not be made. The service's log has the cause: reference {reference}."
            self._tell(asked, status="failed", problem=words)

    def _consistent(self, asked: Asked) -> tuple[Subject, RecordFacts]:
        """Read a survey and the facts of its record, both of the same state of it.

        Raises
        ------
        ConflictError
            If the survey is changed faster than it can be read.
        """
        for _ in range(MOST_READS):
            facts = self._facts(asked.survey_id)
            key = self._key(asked, facts)
            subject = self.subject(asked.survey_id)
            if self._key(asked, self._facts(asked.survey_id)) == key:
                self._move(asked, key)
                return subject, facts
        raise ConflictError(
            "the survey is being changed all the time.", remedy="Have the report made when it rests."
        )

    def _reader(self, survey_id: str) -> Read:
        with self._database.reading() as session:
            rows = repo.parts(session, PhotoRow, survey_id)
            digests = {row.key: row.picture_sha256 for row in rows}

        def read(photo: str) -> bytes | None:
            digest = digests.get(photo)
            try:
                return None if digest is None else self._files.read(digest)
            except CorrosionError:
                # The report says that the picture is not at hand; the store's own check names the fault.
                return None

        return read


def _subject_of(plans: Plans, text: str, read: Read) -> Subject:
    """Take what the planner has worked out already; what cannot be worked out is named in `problems`."""
    problems = list(plans.assessment.problems)
    dispositions, unseen, decision = [], [], None
    try:
        dispositions = plans.dispositions
    except CorrosionError as error:
        problems.append(f"The disposition cannot be worked out: {error}")
    try:
        unseen = plans.unseen
        decision = plans.decision
    except NotFoundError:
        # The survey states nothing to decide; the report says so.
        decision = None
    except CorrosionError as error:
        problems.append(f"Repair and replacement cannot be compared: {error}")
    digest = hashlib.sha256(text.encode()).hexdigest()
    return Subject(plans.assessment, dispositions, unseen, decision, digest, read=read, problems=problems)


def _pdf(subject: Subject, asked: Asked, facts: RecordFacts, progress: Progress) -> bytes:
    # The typesetter and the drawing library load slowly, and many runs of the service print nothing.
    from corrosion.record.pdf import report_pdf, summary_pdf  # noqa: PLC0415

    if asked.kind == "summary":
        return summary_pdf(subject, asked.paper, facts)
    # One photo at a time: the other workers stay free for whoever uploads meanwhile.
    return report_pdf(subject, asked.paper, facts, progress, threads=1)
