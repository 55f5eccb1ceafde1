"""The search page: one box and filters, results by kind with what was asked for marked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ValidationError
from starlette.datastructures import QueryParams

from api import repository as repo
from api.actor import Role, current_actor
from api.context import Context, ContextDep
from api.pages.templating import Display, display_of, render
from api.people.tables import AccountRow
from api.routes.search import address_of_search
from api.search.build import What
from api.search.find import Finder, Hit
from api.search.params import LACKS, VERDICT_NAMES, SearchParams
from api.search.query import Order
from api.search.saved import SavedSearchIn, params_of
from api.search.schemas import address_of, depth_mm_of, map_of, station_mm_of
from api.search.words import Group, highlighted, index_words
from corrosion.errors import CorrosionError
from corrosion.report.words import KIND_WORDS
from corrosion.terms import Face, MarkKind, Verdict, View
from corrosion.units import show_length

router = APIRouter()

WORDS: dict[What, str] = {
    What.STRUCTURE: "Structures",
    What.SURVEY: "Surveys",
    What.FINDING: "Findings",
    What.PHOTO: "Photos",
    What.REWORK: "Rework and readings",
    What.PERSON: "People",
}
ORDER_WORDS: dict[Order, str] = {
    Order.NEWEST: "newest first",
    Order.DEEPEST: "deepest first",
    Order.WORST: "worst verdict first",
    Order.STATION: "by station",
    Order.NAME: "by name",
}
FEW, MANY = 5, 50
EXCERPT = 220
LISTS = ("what", "kind", "verdict", "tag")
LENGTHS = ("depth_from", "depth_to", "station_from", "station_to")

Parts = list[tuple[str, bool]]


@dataclass(frozen=True)
class HitView:
    """One result as the page shows it; `parts` are texts with whether they were asked for."""

    address: str
    map: str
    title: Parts
    place: list[Parts]
    detail: Parts
    verdict: Verdict | None
    kind: str
    depth: str
    date: str
    withdrawn: bool
    survey_id: str | None


@dataclass(frozen=True)
class Section:
    """The results of one kind; `more` is the address of the rest, empty if all are shown."""

    what: What
    words: str
    hits: list[HitView]
    total: int
    exact: bool
    more: str


@dataclass(frozen=True)
class Asked:
    """What an address asks for: valid parameters, or what is wrong with them. `raw` fills the form."""

    params: SearchParams
    raw: dict[str, Any]
    problem: str
    cursor: str


@router.get("/search")
def search_page(request: Request, context: ContextDep) -> Response:
    """Show what is found; without a question, the saved searches."""
    return _page(request, context, asked_of(request.query_params, display_of(request)))


class SaveForm(BaseModel):
    """The form that keeps a search: its address, a name, and whether others see it."""

    search: str = ""
    name: str = ""
    shared: str = ""


@router.post("/search/saved")
def save(request: Request, context: ContextDep, typed: Annotated[SaveForm, Form()]) -> Response:
    """Keep the search of the form's address under a name."""
    asked = asked_of(QueryParams(typed.search), display_of(request))
    problem = asked.problem
    try:
        if not problem:
            body = {"name": typed.name.strip(), "shared": bool(typed.shared), "search": asked.params}
            context.search.saved.add(repo.check(SavedSearchIn, body, path="saved search"))
            return RedirectResponse(address_of_search(asked.params), 303)
    except CorrosionError as error:
        problem = f"Not saved: {error}"
    return _page(request, context, Asked(asked.params, asked.raw, problem, ""), status=422)


@router.post("/search/saved/{saved_id}/withdraw")
def withdraw(
    request: Request, saved_id: str, context: ContextDep, version: Annotated[int, Form(ge=1)]
) -> Response:
    """Take a saved search off the list."""
    try:
        context.search.saved.withdraw(saved_id, version)
    except CorrosionError as error:
        asked = asked_of(QueryParams(""), display_of(request))
        return _page(request, context, Asked(asked.params, asked.raw, str(error), ""), status=409)
    return RedirectResponse("/search", 303)


def asked_of(given: QueryParams, display: Display) -> Asked:
    """Read a search from an address; what cannot be read is said and stays in the form."""
    raw: dict[str, Any] = {}
    for name, text in given.multi_items():
        if name in SearchParams.model_fields:
            # Much of the world writes decimals with a comma.
            value = text.replace(",", ".") if name in LENGTHS else text
            raw[name] = [*raw.get(name, []), value] if name in LISTS else value
    cursor = str(given.get("cursor", ""))
    raw.setdefault("units", display.units)
    try:
        params = SearchParams.model_validate(raw)
    except ValidationError as error:
        words = "; ".join(_fault_words(fault) for fault in error.errors(include_url=False))
        kept = {"text": raw.get("text", ""), "units": display.units}
        form = SearchParams().model_dump(mode="json") | raw
        return Asked(SearchParams.model_validate(kept), form, f"This cannot be searched for. {words}.", "")
    shown = params.shown_in(display.units)
    form = shown.model_dump(mode="json")
    return Asked(params, {name: form[name] for name in SearchParams.model_fields}, "", cursor)


def _fault_words(fault: Any) -> str:
    """Say what is wrong with a field in the form's own words."""
    name = str(fault["loc"][0]) if fault["loc"] else ""
    number = fault["type"] in {"float_parsing", "finite_number", "float_type"}
    said = "write a number such as 0.25" if number else fault["msg"].removeprefix("Value error, ")
    return f"{name.replace('_', ' ').capitalize()}: {said}" if name else said


def _page(request: Request, context: Context, asked: Asked, *, status: int = 200) -> Response:
    display = display_of(request)
    sections: list[Section] = []
    problem, after, waiting = asked.problem, "", 0
    if not asked.params.is_empty and not problem:
        waiting = context.search.catch_up()
        try:
            sections, after = _sections(context.search.finder, asked, display)
        except CorrosionError as error:
            problem = str(error)
    accounts = _accounts(context, asked) if sections or not asked.params.is_empty else []
    saved = [(row, address_of_search(params_of(row))) for row in context.search.saved.mine()]
    asking = urlencode(asked.params.pairs())
    return render(
        request,
        "search.html",
        status=status,
        display=display,
        asked=asked,
        problem=problem,
        sections=sections,
        accounts=accounts,
        found=sum(section.total for section in sections),
        next=f"/search?{asking}&{urlencode({'cursor': after})}" if after else "",
        asking=asking,
        waiting=waiting,
        unfinished=context.search.indexer.unfinished() if sections or waiting else [],
        saved=saved,
        choices=_choices(),
        filters=_filters_in_use(asked.params.shown_in(display.units)),
    )


def _accounts(context: Context, asked: Asked) -> list[AccountRow]:
    """List the accounts that fit the typed text, for who may see them; there are hundreds at the most."""
    wanted = asked.params.text.strip() and set(asked.params.what) <= {What.PERSON}
    if not wanted or asked.problem or Role.ADMINISTRATOR not in current_actor().roles:
        return []
    groups = asked.params.query().text_groups
    return [row for row in context.people.accounts.everybody() if groups and _has(row, groups)][:MANY]


def _has(row: AccountRow, groups: list[Group]) -> bool:
    words = index_words([row.name, row.display_name, row.certificate_number, row.certificate_kind])
    return all(any(phrase.pattern in words for phrase in group) for group in groups)


def _choices() -> dict[str, list[tuple[str, str]]]:
    return {
        "what": [(str(what), words) for what, words in WORDS.items()],
        "kind": [(str(kind), KIND_WORDS[kind]) for kind in MarkKind],
        "verdict": [(name, name) for name in VERDICT_NAMES],
        "face": [(str(face), str(face)) for face in Face],
        "tag": [(name, name) for name in (*map(str, View), *LACKS)],
        "order": [(str(order), words) for order, words in ORDER_WORDS.items()],
    }


def _filters_in_use(params: SearchParams) -> list[str]:
    """Write each filter for a reader, so that none works unseen."""
    used = params.model_dump(mode="json", exclude_defaults=True, exclude={"units", "text"})
    words = []
    for name, value in used.items():
        shown = ORDER_WORDS[Order(value)] if name == "order" else value
        shown = ", ".join(value) if isinstance(value, list) else shown
        shown = f"{value:g} {params.units}" if name in LENGTHS else shown
        words.append(f"{name.replace('_id', '').replace('_', ' ')} {'too' if value is True else shown}")
    return words


def _sections(finder: Finder, asked: Asked, display: Display) -> tuple[list[Section], str]:
    """Search each kind that is asked for; one kind alone is paged."""
    query, after = asked.params.query(), ""
    if len(asked.params.what) == 1:
        found = finder.find(query, limit=MANY, cursor=asked.cursor)
        parts, after = {query.what[0]: found} if found.hits else {}, found.next
    else:
        parts = finder.by_kind(query, limit=FEW)
    sections = []
    for name, part in parts.items():
        what = What(name)
        views = [view_of(hit, query.text_groups, display) for hit in part.hits]
        rest = address_of_search(asked.params.model_copy(update={"what": (what,)}))
        more = rest if part.total > len(views) and len(asked.params.what) != 1 else ""
        sections.append(Section(what, WORDS[what], views, part.total, part.exact, more))
    return sections, after


def view_of(hit: Hit, groups: list[Group], display: Display) -> HitView:
    """Return what the page shows of a hit, in the unit of the display."""
    entry = hit.entry
    verdict = entry.verdict if entry.verdict in set(Verdict) else None
    what = What(entry.what)
    return HitView(
        address=address_of(entry),
        map=map_of(entry),
        title=highlighted(entry.title, groups),
        place=[highlighted(text, groups) for text in _place(hit, what, display)],
        detail=excerpt(highlighted(entry.detail, groups)),
        verdict=Verdict(verdict) if verdict else None,
        kind=KIND_WORDS[MarkKind(entry.kind)] if entry.kind else "",
        depth=_depth(hit, display),
        date=entry.date_key,
        withdrawn=entry.withdrawn,
        survey_id=entry.survey_id if what is What.SURVEY else None,
    )


def _place(hit: Hit, what: What, display: Display) -> list[str]:
    """Name the place from the large to the small."""
    entry = hit.entry
    above = [hit.structure] if what is not What.STRUCTURE else []
    above += [hit.survey or "survey without a name"] if entry.survey_id and what is not What.SURVEY else []
    station = station_mm_of(entry)
    place = "" if station is None else f"station {display.place(station)} {display.units}"
    # A photo's own station is worth a word only where it says more than the place that was worked out.
    if entry.station_text and not _is_number(entry.station_text):
        place += f" (on the photo: {entry.station_text})"
    return [
        *above,
        *([f"zone {entry.zone}"] if entry.zone else []),
        *([f"{entry.member}{f' {entry.face}' if entry.face else ''}"] if entry.member else []),
        *([place.strip()] if place else []),
    ]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _depth(hit: Hit, display: Display) -> str:
    depth = depth_mm_of(hit.entry)
    if depth is None:
        return ""
    return f"{hit.entry.depth_text} {show_length(depth, display.units)}".strip()


def excerpt(parts: Parts, length: int = EXCERPT) -> Parts:
    """Cut a long text to what stands around its first marked word."""
    text = "".join(part for part, _ in parts)
    if len(text) <= length:
        return parts
    ahead = 0
    for part, hit in parts:
        if hit:
            break
        ahead += len(part)
    else:
        ahead = 0
    begin = min(max(0, ahead - length // 3), len(text) - length)
    cut = list(_between(parts, begin, begin + length))
    return [("… ", False)] * (begin > 0) + cut + [(" …", False)] * (begin + length < len(text))


def _between(parts: Parts, begin: int, end: int) -> Iterable[tuple[str, bool]]:
    place = 0
    for part, hit in parts:
        kept = part[max(0, begin - place) : max(0, end - place)]
        place += len(part)
        if kept:
            yield kept, hit
