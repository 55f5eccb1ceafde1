"""The pages of the history: of one survey, and of everything."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from api.context import Context, ContextDep
from api.history.book import History, Line
from api.history.chain import HistoryEntry
from api.history.log import Wanted
from api.history.words import KINDS
from api.pages.surveys import survey_nav
from api.pages.templating import display_of, render

router = APIRouter()
PAGE = 50
SHOWN_AT_ONCE = 5
"""Details shown without a click; a change of many things folds the rest away."""

Before = Annotated[int, Query(ge=0, le=2**62)]
VIA = {
    "local": "at this machine",
    "session": "signed in",
    "token": "through the API",
    "command": "on the command line",
}
SYMBOLS = {"added": "+", "changed": "✎", "withdrawn": "\u2212", "deleted": "\u00d7", "as found": "•"}


@dataclass(frozen=True)
class Shown:
    """A line as the page shows it."""

    line: Line
    symbol: str
    time: datetime
    how: str
    link: str


@router.get("/surveys/{survey_id}/history")
def survey_history(
    request: Request, survey_id: str, context: ContextDep, kind: str = "", before: Before = 0
) -> HTMLResponse:
    """Show the history of one survey."""
    view = context.services.survey(survey_id)
    return _page(request, context, kind, before, survey_nav(view))


@router.get("/history")
def whole_history(
    request: Request, context: ContextDep, kind: str = "", before: Before = 0
) -> HTMLResponse:
    """Show the history of everything."""
    return _page(request, context, kind, before, None)


def _page(
    request: Request, context: Context, kind: str, before: int, survey: dict[str, Any] | None
) -> HTMLResponse:
    book = History(context.database)
    tables = KINDS[kind][1] if kind in KINDS else ()
    wanted = Wanted(
        survey["id"] if survey else None,
        tables,
        () if tables else APART,
        before=before,
        # One more than is shown tells whether there is an older page.
        limit=PAGE + 1,
    )
    found = book.lines(wanted)
    shown = [_shown(line) for line in found[:PAGE]]
    return render(
        request,
        "history.html",
        display=display_of(request),
        survey=survey,
        days=[(day, list(lines)) for day, lines in groupby(shown, key=_day)],
        kinds=[(name, words) for name, (words, _) in KINDS.items() if survey is None or name not in BEYOND],
        kind=kind if kind in KINDS else "",
        before=before,
        older=found[PAGE - 1].entry.seq if len(found) > PAGE else 0,
        at_once=SHOWN_AT_ONCE,
        head=book.head(),
    )


BEYOND = frozenset({"pictures", "people"})
"""Kinds that belong to no survey."""
APART = KINDS["suggestions"][1]
"""Shown only when asked for: one sweep would push everything that people did off the page."""


def _day(shown: Shown) -> date:
    return shown.time.date()


def _shown(line: Line) -> Shown:
    entry = line.entry
    return Shown(
        line, SYMBOLS.get(entry.action, "•"), entry.at, VIA.get(entry.via, entry.via), _link(entry)
    )


def _link(entry: HistoryEntry) -> str:
    """Give the address of the page that shows what a line is about; empty where there is none."""
    survey = f"/surveys/{entry.survey_id}"
    parts = entry.after or {}
    pages = {
        "structures": f"/structures/{entry.row_id}",
        "surveys": survey,
        "photos": f"/photos/{entry.row_id}",
        "proposals": f"/photos/{parts['/photo_id']}" if "/photo_id" in parts else "",
        "removals": f"{survey}/rework",
        "readings": f"{survey}/rework",
        "choices": f"{survey}/decision" if any("decision" in path for path in parts) else f"{survey}/plan",
        "ticks": f"{survey}/worklist",
        "signatures": f"{survey}/record",
        "seals": f"{survey}/record",
        "citations": f"{survey}/record",
    }
    gone = entry.action in ("withdrawn", "deleted") and entry.table == "photos"
    return f"{survey}/photos" if gone else pages.get(entry.table, "")
