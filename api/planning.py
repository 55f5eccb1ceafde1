"""Plans, decisions and bench cards of stored surveys. All arithmetic is `corrosion`'s."""

from __future__ import annotations

import io
import threading
from collections import OrderedDict
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from pydantic import BaseModel
from sqlalchemy.orm import Session

from api import repository as repo
from api.choices import members_named
from api.database import Database
from api.errors import InvalidError, NotFoundError, StaleError
from api.exchange import Exchange, Export, State
from api.results import Results
from api.sealing.rows import seal_of
from api.tables import ChoiceRow, Document, StructureRow, SurveyRow
from corrosion.disposition import MemberDisposition, dispose
from corrosion.model import in_millimetres
from corrosion.results import Assessment
from corrosion.units import LengthUnit

if TYPE_CHECKING:
    from corrosion.decision import DecisionResult
    from corrosion.extremes import UnseenDepth
    from corrosion.report.decision_plots import Plot

Json = dict[str, Any]
Part = Literal["planning", "decision"]
PlanState = tuple[State, int, int]
"""The survey's state and the versions of its planning and its decision; 0 where nothing was chosen."""
Model = TypeVar("Model", bound=BaseModel)

KEPT_PLANS = 8


@dataclass(frozen=True)
class Choice:
    """A survey's planning or decision with its version; version 0 and no document: nothing chosen yet."""

    survey_id: str
    version: int
    units: str
    document: Any


class Plans:
    """What follows from one state of a survey, its planning and its decision; computed when asked for."""

    def __init__(self, assessment: Assessment, state: PlanState, others: dict[str, Assessment]) -> None:
        self.assessment = assessment
        self.state = state
        self._others = others
        self._lock = threading.RLock()

    @property
    def unit(self) -> LengthUnit:
        """Unit that people see."""
        survey = self.assessment.survey
        return survey.display_units or survey.units

    @property
    def dispositions(self) -> list[MemberDisposition]:
        """What is to be done with every member, with its plan."""
        with self._lock:
            return self._dispositions

    @cached_property
    def _dispositions(self) -> list[MemberDisposition]:
        return dispose(self.assessment)

    @property
    def unseen(self) -> list[UnseenDepth]:
        """Deepest unseen pit of every face of every member."""
        with self._lock:
            return self._unseen

    @cached_property
    def _unseen(self) -> list[UnseenDepth]:
        from corrosion.decision import unseen_depths  # noqa: PLC0415 -- scipy's fits load slowly

        decision = self.assessment.survey.decision
        hidden = decision.hidden if decision else None
        members = self.assessment.members
        return [one for member in members for one in unseen_depths(self.assessment, member, hidden)]

    @property
    def decision(self) -> DecisionResult:
        """Repair against replacement; `NotFoundError` where the survey states nothing to decide."""
        with self._lock:
            return self._decision

    @cached_property
    def _decision(self) -> DecisionResult:
        from corrosion.decision import decide  # noqa: PLC0415 -- scipy's fits load slowly

        decision = self.assessment.survey.decision
        if decision is None:
            raise NotFoundError(
                "the survey states no decision: no actions, rates or candidates.",
                remedy="Enter them first (PUT the survey's decision).",
            )
        return decide(decision, self.assessment, self._others)


class Planner:
    """Stores a survey's planning and decision, and keeps what follows from them until anything changes."""

    def __init__(self, database: Database, exchange: Exchange, results: Results) -> None:
        self.database = database
        self._exchange = exchange
        self._results = results
        self._kept: OrderedDict[tuple[PlanState, ...], Plans] = OrderedDict()
        self._lock = threading.Lock()

    # What the survey states

    def choice(self, survey_id: str, part: Part) -> Choice:
        """Return a survey's planning or decision; `NotFoundError` if there is no such survey."""
        with self.database.reading() as session:
            survey = repo.find(session, SurveyRow, survey_id)
            row = _row(session, survey_id, part)
            return _choice(session, survey, part, row)

    def choose(self, survey_id: str, part: Part, expected: int, chosen: BaseModel | None) -> Choice:
        """Replace a survey's planning or decision.

        Raises
        ------
        SealedError
            If the survey is sealed.
        StaleError
            If someone else was faster.
        InvalidError
            If it names a member that the structure has not.
        """
        with self.database.writing() as session:
            # Planning and decision have no say in the sums.
            survey = repo.lock_survey(session, survey_id, counts=False)
            row = _row(session, survey_id, part)
            current = row.version if row else 0
            if current != expected:
                raise StaleError(
                    f"version {expected} was edited, but version {current} is current.",
                    place=f"{part} of survey {survey_id}",
                    remedy="Read it again, look at what changed, and repeat the edit.",
                )
            _check_members(session, survey, chosen)
            document: Document = {part: None if chosen is None else repo.dump(chosen)}
            if row is None:
                row = ChoiceRow(survey_id=survey_id, part=part, document=document)
                session.add(row)
            elif row.document != document:
                row.document = document
            session.flush()
            return _choice(session, survey, part, row)

    def checked(self, model: type[Model], document: Json) -> Model:
        """Validate a document as a part of the survey file; `InvalidError` with every fault if not."""
        return repo.check(model, document)

    # What follows

    def state(self, survey_id: str) -> tuple[PlanState, ...]:
        """Return what tells whether a survey's plans are still right: its state and its candidates'."""
        with self.database.reading() as session:
            repo.find(session, SurveyRow, survey_id)
            if seal_of(session, survey_id) is not None:
                # Its candidates are frozen with it.
                return ((self._exchange.state(survey_id), 0, 0),)
            rows = {row.part: row for row in repo.choices_of(session, survey_id)}
            decision = rows["decision"].document["decision"] if "decision" in rows else None
            named = [one["survey"] for one in (decision or {}).get("candidates", []) if one.get("survey")]
            here = [one for one in named if session.get(SurveyRow, one) is not None]
        versions = tuple(rows[part].version if part in rows else 0 for part in ("planning", "decision"))
        own = (self._exchange.state(survey_id), versions[0], versions[1])
        return (own, *((self._exchange.state(one), 0, 0) for one in here))

    def plans(self, survey_id: str) -> Plans:
        """Return what follows from a survey as it is now; computed once for each state of it.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        CorrosionError
            If a fault in the survey stops the sums.
        """
        state = self.state(survey_id)
        with self._lock:
            kept = self._kept.get(state)
            if kept is not None:
                self._kept.move_to_end(state)
                return kept
        export = self._exchange.export(survey_id)
        made = Plans(self._assessed(export), state[0], self.candidates(export))
        with self._lock:
            self._kept[state] = made
            while len(self._kept) > KEPT_PLANS:
                self._kept.popitem(last=False)
        return made

    def _assessed(self, export: Export) -> Assessment:
        """Assess a survey, or take what is kept: planning and decision have no say in its sums."""
        kept = self._results.of(export)
        return replace(kept.assessment, survey=in_millimetres(export.file))

    def candidates(self, export: Export) -> dict[str, Assessment]:
        """Assessments of the candidates that are surveys in the tool, by candidate."""
        decision = export.file.decision
        found = {}
        for candidate in decision.candidates if decision else []:
            assessment = self._candidate(export, candidate.survey)
            if assessment is not None:
                found[candidate.id] = assessment
        return found

    def _candidate(self, export: Export, survey_id: str | None) -> Assessment | None:
        """Assess a candidate's survey, or its frozen copy; None if it is not here, as the decision says."""
        if survey_id is None:
            return None
        if export.candidates is not None:
            frozen = export.candidates.get(survey_id)
            return None if frozen is None else self._results.of(frozen).assessment
        try:
            return self._results.assessed(survey_id).assessment
        except NotFoundError:
            return None

    def plot(self, survey_id: str, plot: Plot) -> bytes:
        """Draw one plot of the decision as SVG; `InvalidError` where it is not determined."""
        # The drawing library takes long to load, and many runs of the service draw nothing.
        from corrosion.report.decision_plots import draw_decision  # noqa: PLC0415

        result = self.plans(survey_id).decision
        target = io.BytesIO()
        if not draw_decision(result, target, plot):
            reasons = " ".join(result.reasons)
            raise InvalidError(
                f"the plot {plot!r} has nothing to show: not determined. {reasons}".strip(),
                place="query.plot",
                remedy="State what is missing in the survey's decision.",
            )
        return target.getvalue()


def _row(session: Session, survey_id: str, part: Part) -> ChoiceRow | None:
    return next((row for row in repo.choices_of(session, survey_id) if row.part == part), None)


def _choice(session: Session, survey: SurveyRow, part: Part, row: ChoiceRow | None) -> Choice:
    units = repo.find(session, StructureRow, survey.structure_id).units
    document = row.document[part] if row else None
    return Choice(survey.id, row.version if row else 0, units, document)


def _check_members(session: Session, survey: SurveyRow, chosen: BaseModel | None) -> None:
    members = repo.member_ids(session, survey)
    for path, name in members_named(chosen):
        repo.must_name(name, members, path=f"body.{path}", noun="member")
