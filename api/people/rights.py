"""Who may do what: one row for every route. A route without a row answers nobody who has to sign in.

Whoever adds a route adds its row here, with the path as the route has it. `tests/api/people/test_rights.py`
fails for a route without a row, and asks every route as every role.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from starlette.routing import compile_path

from api.actor import Role


@dataclass(frozen=True)
class Right:
    """What a route asks of whoever uses it.

    Attributes
    ----------
    to : str
        What it lets a person do, as the end of "you may not ...".
    roles : frozenset of Role
        Any one of them is enough; empty: everybody who is signed in.
    public : bool
        Nobody needs to be signed in.
    changes : bool
        It changes what is stored, so an API token needs the scope ``write``.
    in_person : bool
        No API token may do it, whatever its scope: it concerns the person, not the data.
    """

    to: str
    roles: frozenset[Role] = frozenset()
    public: bool = False
    changes: bool = False
    in_person: bool = False


def _right(to: str, *roles: Role, in_person: bool = False) -> Right:
    """Make a right to change something; an administrator may do whatever anybody may."""
    return Right(to, frozenset({*roles, Role.ADMINISTRATOR}), changes=True, in_person=in_person)


PUBLIC = Right("see this", public=True)
READ = Right("read records")
TRY = Right("try something out without storing it")
OWN = Right("look after your own account", changes=True, in_person=True)
SURVEY = _right("record what was found", Role.INSPECTOR)
PLAN = _right("plan and decide", Role.PLANNER)
BENCH = _right("keep the bench cards' log", Role.INSPECTOR, Role.PLANNER)
# Whoever signs as inspector or planner has to be one: an administrator only is not.
SIGN_FINDINGS = Right("sign findings", frozenset({Role.INSPECTOR}), changes=True, in_person=True)
SIGN_DECISION = Right("sign decisions", frozenset({Role.PLANNER}), changes=True, in_person=True)
SEAL = _right("seal records", Role.CLERK, in_person=True)
FOLLOW = _right("open revisions and next surveys", Role.INSPECTOR, Role.CLERK)
RECORDS = _right("archive and keep records", Role.CLERK)
PRINT = Right("have reports made")
SAVE = Right("keep a search under a name", changes=True)
PEOPLE = _right("manage people", in_person=True)

RIGHTS: Mapping[tuple[str, str], Right] = {
    # What anybody may see before signing in.
    ("GET", "/static"): PUBLIC,
    ("GET", "/icon.svg"): PUBLIC,
    ("GET", "/api/health"): PUBLIC,
    ("GET", "/api/problems"): PUBLIC,
    ("GET", "/api/problems/{slug}"): PUBLIC,
    ("POST", "/preferences"): PUBLIC,
    # The service's own description.
    ("GET", "/api/openapi.json"): READ,
    ("GET", "/api/schema"): READ,
    # Structures.
    ("GET", "/api/structures"): READ,
    ("POST", "/api/structures"): SURVEY,
    ("GET", "/api/structures/{structure_id}"): READ,
    ("PUT", "/api/structures/{structure_id}"): SURVEY,
    ("GET", "/structures/new"): READ,
    ("GET", "/structures/layout-example.csv"): READ,
    ("POST", "/structures/layout"): TRY,
    ("GET", "/structures/{structure_id}"): READ,
    ("GET", "/structures/{structure_id}/edit"): READ,
    # Surveys.
    ("GET", "/"): READ,
    ("GET", "/api/surveys"): READ,
    ("POST", "/api/surveys"): SURVEY,
    ("POST", "/api/surveys/import"): SURVEY,
    ("GET", "/api/surveys/{survey_id}"): READ,
    ("PUT", "/api/surveys/{survey_id}"): SURVEY,
    ("GET", "/api/surveys/{survey_id}/withdrawn"): READ,
    ("GET", "/api/surveys/{survey_id}/file"): READ,
    ("GET", "/surveys/{survey_id}"): READ,
    ("GET", "/surveys/{survey_id}/progress"): READ,
    # Photos.
    ("GET", "/api/surveys/{survey_id}/photos"): READ,
    ("POST", "/api/surveys/{survey_id}/photos"): SURVEY,
    ("GET", "/api/photos/{photo_id}"): READ,
    ("PATCH", "/api/photos/{photo_id}"): SURVEY,
    ("DELETE", "/api/photos/{photo_id}"): SURVEY,
    ("PUT", "/api/photos/{photo_id}/scale"): SURVEY,
    ("PUT", "/api/photos/{photo_id}/placement"): SURVEY,
    ("PUT", "/api/photos/{photo_id}/marks"): SURVEY,
    ("GET", "/api/photos/{photo_id}/original"): READ,
    ("GET", "/api/photos/{photo_id}/picture"): READ,
    ("GET", "/api/photos/{photo_id}/preview"): READ,
    ("GET", "/api/photos/{photo_id}/thumbnail"): READ,
    ("GET", "/api/photos/{photo_id}/measures"): READ,
    ("POST", "/api/photos/{photo_id}/find-scale"): TRY,
    ("POST", "/api/photos/{photo_id}/straighten"): TRY,
    ("GET", "/api/surveys/{survey_id}/reinforcements"): READ,
    ("POST", "/api/surveys/{survey_id}/lenses/calibrate"): TRY,
    ("POST", "/api/photos/{photo_id}/suggest"): SURVEY,
    ("POST", "/api/photos/{photo_id}/sweep"): SURVEY,
    ("GET", "/api/photos/{photo_id}/proposals"): READ,
    ("POST", "/api/proposals/{proposal_id}/accept"): SURVEY,
    ("POST", "/api/proposals/{proposal_id}/drop"): SURVEY,
    ("GET", "/api/reference-sizes"): READ,
    ("GET", "/surveys/{survey_id}/photos"): READ,
    ("GET", "/surveys/{survey_id}/lenses"): READ,
    ("GET", "/surveys/{survey_id}/photos/withdrawn"): READ,
    ("GET", "/surveys/{survey_id}/photos/{photo_id}/card"): READ,
    ("GET", "/photos/{photo_id}"): READ,
    # Removals and readings.
    ("GET", "/api/surveys/{survey_id}/removals"): READ,
    ("POST", "/api/surveys/{survey_id}/removals"): SURVEY,
    ("GET", "/api/removals/{removal_id}"): READ,
    ("PUT", "/api/removals/{removal_id}"): SURVEY,
    ("DELETE", "/api/removals/{removal_id}"): SURVEY,
    ("GET", "/api/surveys/{survey_id}/readings"): READ,
    ("POST", "/api/surveys/{survey_id}/readings"): SURVEY,
    ("GET", "/api/readings/{reading_id}"): READ,
    ("PUT", "/api/readings/{reading_id}"): SURVEY,
    ("DELETE", "/api/readings/{reading_id}"): SURVEY,
    ("GET", "/surveys/{survey_id}/rework"): READ,
    ("GET", "/surveys/{survey_id}/rework/lists"): READ,
    ("POST", "/surveys/{survey_id}/rework/check/{kind}"): TRY,
    # Results.
    ("GET", "/api/surveys/{survey_id}/assessment"): READ,
    ("GET", "/api/surveys/{survey_id}/spot"): READ,
    ("GET", "/api/surveys/{survey_id}/map.{kind}"): READ,
    ("GET", "/surveys/{survey_id}/map"): READ,
    ("GET", "/surveys/{survey_id}/map/data"): READ,
    ("GET", "/surveys/{survey_id}/map/grid"): READ,
    ("GET", "/surveys/{survey_id}/findings"): READ,
    ("GET", "/surveys/{survey_id}/findings/table"): READ,
    ("GET", "/surveys/{survey_id}/findings.{kind}"): READ,
    # Planning.
    ("GET", "/api/surveys/{survey_id}/planning"): READ,
    ("PUT", "/api/surveys/{survey_id}/planning"): PLAN,
    ("GET", "/api/surveys/{survey_id}/rules"): READ,
    ("PUT", "/api/surveys/{survey_id}/rules"): PLAN,
    ("GET", "/api/surveys/{survey_id}/decision"): READ,
    ("PUT", "/api/surveys/{survey_id}/decision"): PLAN,
    ("GET", "/api/surveys/{survey_id}/plan"): READ,
    ("GET", "/api/surveys/{survey_id}/disposition"): READ,
    ("GET", "/api/surveys/{survey_id}/unseen"): READ,
    ("GET", "/api/surveys/{survey_id}/decision/result"): READ,
    ("GET", "/api/surveys/{survey_id}/decision/plot.svg"): READ,
    ("GET", "/api/surveys/{survey_id}/worklist"): READ,
    ("GET", "/api/surveys/{survey_id}/worklist.pdf"): READ,
    ("POST", "/api/surveys/{survey_id}/worklist/{card}/ticks"): BENCH,
    ("POST", "/api/surveys/{survey_id}/worklist/{card}/keep"): PLAN,
    ("GET", "/surveys/{survey_id}/plan"): READ,
    ("GET", "/surveys/{survey_id}/plan/table"): READ,
    ("POST", "/surveys/{survey_id}/plan/try"): TRY,
    ("GET", "/surveys/{survey_id}/decision"): READ,
    ("GET", "/surveys/{survey_id}/decision/table"): READ,
    ("POST", "/surveys/{survey_id}/decision/try"): TRY,
    ("GET", "/surveys/{survey_id}/worklist"): READ,
    ("GET", "/surveys/{survey_id}/worklist/cards"): READ,
    ("GET", "/surveys/{survey_id}/rules"): READ,
    ("GET", "/surveys/{survey_id}/rules/table"): READ,
    ("POST", "/surveys/{survey_id}/rules/try"): TRY,
    ("POST", "/surveys/{survey_id}/rules/file"): TRY,
    # History.
    ("GET", "/api/history"): READ,
    ("GET", "/api/history/head"): READ,
    ("GET", "/api/surveys/{survey_id}/history"): READ,
    ("GET", "/history"): READ,
    ("GET", "/surveys/{survey_id}/history"): READ,
    # Signing, sealing, next survey.
    ("GET", "/api/surveys/{survey_id}/record"): READ,
    ("POST", "/api/surveys/{survey_id}/signatures/findings"): SIGN_FINDINGS,
    ("POST", "/api/surveys/{survey_id}/signatures/decision"): SIGN_DECISION,
    ("POST", "/api/surveys/{survey_id}/seal"): SEAL,
    ("POST", "/api/surveys/{survey_id}/revisions"): FOLLOW,
    ("POST", "/api/surveys/{survey_id}/next"): FOLLOW,
    ("GET", "/surveys/{survey_id}/record"): READ,
    # Reports and archive.
    ("GET", "/api/surveys/{survey_id}/report"): READ,
    ("POST", "/api/surveys/{survey_id}/report"): PRINT,
    ("GET", "/api/surveys/{survey_id}/report.pdf"): READ,
    ("GET", "/api/surveys/{survey_id}/archive"): READ,
    ("POST", "/api/archives"): RECORDS,
    ("GET", "/api/surveys/{survey_id}/archived"): READ,
    ("GET", "/api/surveys/{survey_id}/archived/{path:path}"): READ,
    ("GET", "/surveys/{survey_id}/archived"): READ,
    ("GET", "/surveys/{survey_id}/archive"): READ,
    ("GET", "/archives"): READ,
    ("POST", "/archives"): RECORDS,
    # Search.
    ("GET", "/api/search"): READ,
    ("GET", "/api/search.csv"): READ,
    ("GET", "/api/search/state"): READ,
    ("GET", "/api/search/saved"): READ,
    ("POST", "/api/search/saved"): SAVE,
    ("DELETE", "/api/search/saved/{saved_id}"): SAVE,
    ("GET", "/api/retention/labels"): READ,
    ("POST", "/api/retention/labels"): RECORDS,
    ("DELETE", "/api/retention/labels/{label_id}"): RECORDS,
    ("GET", "/api/retention/due"): READ,
    ("GET", "/api/surveys/{survey_id}/retention"): READ,
    ("POST", "/api/surveys/{survey_id}/retention"): RECORDS,
    ("DELETE", "/api/retention/marks/{mark_id}"): RECORDS,
    ("GET", "/search"): READ,
    ("POST", "/search/saved"): SAVE,
    ("POST", "/search/saved/{saved_id}/withdraw"): SAVE,
    ("GET", "/retention"): READ,
    ("POST", "/retention/labels"): RECORDS,
    ("POST", "/retention/labels/{label_id}/retire"): RECORDS,
    ("POST", "/retention/marks"): RECORDS,
    ("POST", "/retention/marks/{mark_id}/lift"): RECORDS,
    # Comparison of surveys.
    ("GET", "/api/surveys/{survey_id}/compare/{other}"): READ,
    ("GET", "/surveys/{survey_id}/compare"): READ,
    ("GET", "/surveys/{survey_id}/compare/{other}/table"): READ,
    ("GET", "/surveys/{survey_id}/compare/{other}/look"): READ,
    ("GET", "/surveys/{survey_id}/compare/{other}/{side}.jpg"): READ,
    # People.
    ("GET", "/api/me"): READ,
    ("GET", "/api/people"): PEOPLE,
    ("POST", "/api/people"): PEOPLE,
    ("GET", "/api/people/{account_id}"): PEOPLE,
    ("PUT", "/api/people/{account_id}"): PEOPLE,
    ("POST", "/api/people/{account_id}/password"): PEOPLE,
    ("POST", "/api/people/{account_id}/disable"): PEOPLE,
    ("POST", "/api/people/{account_id}/enable"): PEOPLE,
    ("POST", "/api/people/{account_id}/sign-out"): PEOPLE,
    ("GET", "/sign-in"): PUBLIC,
    ("POST", "/sign-in"): PUBLIC,
    ("POST", "/sign-out"): PUBLIC,
    ("GET", "/account"): OWN,
    ("POST", "/account"): OWN,
    ("POST", "/account/password"): OWN,
    ("POST", "/account/sessions/end"): OWN,
    ("POST", "/account/sessions/{session_id}/end"): OWN,
    ("POST", "/account/tokens"): OWN,
    ("POST", "/account/tokens/{token_id}/revoke"): OWN,
    ("GET", "/people"): PEOPLE,
    ("POST", "/people"): PEOPLE,
    ("GET", "/people/{account_id}"): PEOPLE,
    ("POST", "/people/{account_id}"): PEOPLE,
    ("POST", "/people/{account_id}/password"): PEOPLE,
    ("POST", "/people/{account_id}/disable"): PEOPLE,
    ("POST", "/people/{account_id}/enable"): PEOPLE,
    ("POST", "/people/{account_id}/sign-out"): PEOPLE,
}

MOUNTED = frozenset({"/static"})
"""Rows that stand for everything below them."""


def right_of(method: str, path: str) -> Right | None:
    """Return what a request asks for, None if no row has it; a HEAD asks for what the GET does."""
    row = _row(method, path) or (_row("GET", path) if method == "HEAD" else None)
    return None if row is None else RIGHTS[row]


def methods_of(path: str) -> list[str]:
    """List the methods that have a row for an address; empty if there is no such address."""
    return sorted({method for method, _ in RIGHTS if _row(method, path)})


def _row(method: str, path: str) -> tuple[str, str] | None:
    for mounted in MOUNTED:
        if path == mounted or path.startswith(f"{mounted}/"):
            return (method, mounted) if (method, mounted) in RIGHTS else None
    return next((row for pattern, row in _patterns().get(method, ()) if pattern.match(path)), None)


@lru_cache(maxsize=1)
def _patterns() -> dict[str, list[tuple[re.Pattern[str], tuple[str, str]]]]:
    """Return the rows of each method as patterns, most definite first: ``/a/new`` before ``/a/{id}``."""
    made: dict[str, list[tuple[re.Pattern[str], tuple[str, str]]]] = {}
    for method, path in sorted(RIGHTS, key=lambda row: (row[1].count("{"), -len(row[1]), row[1])):
        if path not in MOUNTED:
            made.setdefault(method, []).append((compile_path(path)[0], (method, path)))
    return made
