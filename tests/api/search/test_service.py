"""The search of a running service: right after every change, honest about what it does not know yet."""

from __future__ import annotations

import csv
import io
import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest
from sqlalchemy import select
from starlette.datastructures import QueryParams

from api.actor import Actor, Role, acting_as
from api.app import open_database
from api.database import Database
from api.errors import NotAllowedError, NotFoundError
from api.exchange import Exchange
from api.pages.search import _accounts, asked_of
from api.pages.templating import Display
from api.people.tables import AccountRow
from api.results import Results
from api.search import service
from api.search.params import SearchParams
from api.search.saved import SavedSearchIn
from api.search.tables import SearchStateRow
from api.services import Services
from api.settings import Settings
from corrosion.model import Structure
from tests.api.samples import REMOVAL, STRUCTURE, picture, survey_file, tag, upload
from tests.api.sealing.conftest import Case
from tests.api.server import running

BOW_TIE = {"type": "Polygon", "coordinates": [[[100, 100], [150, 150], [150, 100], [100, 150]]]}


@dataclass(frozen=True)
class Parts:
    """The parts of a service that a search needs."""

    database: Database
    exchange: Exchange
    search: service.Search
    services: Services


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Give a client of a service whose searches wait until everything is indexed."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(service, "WAIT_S", 60.0)
        patched.setattr(service.Search.catch_up, "__defaults__", (60.0,))
        with running(Settings(data_dir=tmp_path_factory.mktemp("data"))) as made:
            yield made


@pytest.fixture
def context(tmp_path: Path) -> Iterator[Parts]:
    """Give the parts of a service without a server."""
    database = open_database(Settings(data_dir=tmp_path))
    exchange = Exchange(database)
    search = service.Search(database, exchange, Results(database, exchange))
    yield Parts(database, exchange, search, Services(database))
    search.close()
    database.close()


def imported(client: httpx.Client, word: str, **head: Any) -> str:
    """Import the sample survey under a name of its own; return its id."""
    document = survey_file()
    document["structure"] = document["structure"] | {"name": f"Fin {word}", "serial": f"SN-{word}/7"}
    document["survey"] = document["survey"] | {"name": f"Look {word}"} | head
    made = client.post("/api/surveys/import", json=document)
    assert made.status_code == 201, made.text
    return str(made.json()["survey"]["id"])


def found(client: httpx.Client, **asked: Any) -> list[dict[str, Any]]:
    """Search, and return what was found."""
    answer = client.get("/api/search", params=asked)
    assert answer.status_code == 200, answer.text
    assert answer.json()["indexing"] == 0
    items: list[dict[str, Any]] = answer.json()["items"]
    return items


def whats(client: httpx.Client, **asked: Any) -> list[str]:
    """Search, and return what kinds of thing were found."""
    return sorted(one["what"] for one in found(client, **asked))


def test_everything_of_a_survey_is_found_by_its_own_words(client: httpx.Client) -> None:
    """Structure, survey, findings, photo, rework and inspector each by text, place, serial and person."""
    survey = imported(client, "abacus", inspector="Søren Ågren")
    assert whats(client, text="abacus") == sorted(
        ["structure", "survey", "person", "photo", "finding", "finding", "rework", "rework"]
    )
    assert whats(client, text="abacus uberlapp 1/2") == ["finding", "finding", "photo"]
    assert whats(client, serial="sn abacus 7", what="structure") == ["structure"]
    assert whats(client, person="agren", survey_id=survey, what="person") == ["person"]
    assert whats(client, survey_id=survey, zone="33", member="sk1", face="inner", kind="pit") == ["finding"]
    assert whats(client, survey_id=survey, tag=["flashlight", "picture missing"]) == ["photo"]
    assert whats(client, survey_id=survey, date_from="2030-01-01", date_to="2030-12-31") == ["rework"]
    assert whats(client, text="rib 7075 abacus") == ["structure"]
    for one in found(client, survey_id=survey):
        page = client.get(one["address"], headers={"Accept": "text/html"})
        assert page.status_code == 200, one["address"]


def test_a_findings_entry_says_what_its_page_says(client: httpx.Client) -> None:
    """Verdict, depth and station are those of the findings' export, so that both tell one story."""
    survey = imported(client, "beryl")
    text = client.get(f"/surveys/{survey}/findings.csv", headers={"Cookie": "units=mm"}).text
    exported = {row["Finding"]: row for row in csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))}
    entries = {one["id"]: one for one in found(client, survey_id=survey, what="finding")}
    assert set(entries) == set(exported)
    for name, one in entries.items():
        assert one["verdict"] in exported[name]["Verdict"]
        assert one["depth"] == pytest.approx(float(exported[name]["Depth, mm"]), rel=1e-8)
        assert one["station"] == pytest.approx(float(exported[name]["Station on layout, mm"]), rel=1e-8)


def test_lengths_are_asked_and_answered_in_the_unit_shown(client: httpx.Client) -> None:
    """The international inch is 25.4 mm (NIST SP 811, 2008, B.8): 0.31 mm lies in 0.0122 to 0.0123 in."""
    survey = imported(client, "cinder")
    asked = {"survey_id": survey, "what": "finding", "units": "in", "depth_from": 0.0122}
    (one,) = found(client, **asked, depth_to=0.0123)
    assert one["depth"] == pytest.approx(0.31 / 25.4, rel=1e-12)
    assert found(client, **asked, depth_to=0.01219) == []
    # A structure in inches: the same numbers mean other lengths.
    document = survey_file(photos=[], units="in")
    document["structure"] = document["structure"] | {"name": "Inch cinder"}
    client.post("/api/surveys/import", json=document)
    (rework,) = found(client, text="inch cinder", what="rework", depth_from=1.26, depth_to=1.28)
    assert rework["depth"] == pytest.approx(0.05 * 25.4, rel=1e-12)


def test_a_search_after_a_change_finds_the_new_and_not_the_old(client: httpx.Client) -> None:
    """Edits of photo, survey and structure, new marks and withdrawals all show in the next search."""
    survey = imported(client, "dahlia")
    (photo,) = found(client, survey_id=survey, what="photo")
    edited = client.patch(f"/api/photos/{photo['id']}", json={"note": "quartz dust"}, headers=tag(1))
    assert edited.status_code == 200, edited.text
    assert whats(client, text="quartz", survey_id=survey) == ["finding", "finding", "photo"]
    assert whats(client, text="uberlappung", survey_id=survey) == []
    record = client.get(f"/api/structures/{photo['structure_id']}").json()
    body = {"units": "mm", "structure": record["structure"] | {"name": "Rudder dahlia2"}}
    client.put(f"/api/structures/{record['id']}", json=body, headers=tag(1))
    assert "structure" in whats(client, text="dahlia2")
    assert len(whats(client, text="dahlia2", survey_id=survey)) == len(whats(client, survey_id=survey))
    assert client.put(f"/api/photos/{photo['id']}/marks", json=[], headers=tag(2)).status_code == 200
    assert whats(client, survey_id=survey, what="finding") == []
    client.delete(f"/api/photos/{photo['id']}", headers=tag(3), params={"reason": "wrong aisle"})
    assert whats(client, text="quartz", survey_id=survey) == []
    (gone,) = found(client, text="quartz aisle", survey_id=survey, withdrawn=True)
    assert (gone["what"], gone["withdrawn"]) == ("photo", True)


def test_a_survey_whose_sums_fail_is_found_without_findings_and_said(client: httpx.Client) -> None:
    """One contradiction in a survey hides its findings, not its photos and names, and is told."""
    survey = imported(client, "ebony")
    twisted = REMOVAL | {"id": "R9", "footprint": BOW_TIE}
    assert client.post(f"/api/surveys/{survey}/removals", json=twisted).status_code == 201
    assert whats(client, survey_id=survey) == ["person", "photo", "rework", "rework", "rework", "survey"]
    unfinished = client.get("/api/search/state").json()["unfinished"]
    (told,) = [one for one in unfinished if one["survey_id"] == survey]
    assert "R9" in told["problem"]
    page = client.get("/search", params={"text": "ebony"}, headers={"Accept": "text/html"}).text
    assert "indexed without findings" in page


def test_what_is_still_to_be_indexed_is_said(client: httpx.Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """A search that cannot wait answers with what is there and the number of surveys it lacks."""
    monkeypatch.setattr(service.Search.catch_up, "__defaults__", (0.0,))
    blocked = threading.Event()
    monkeypatch.setattr(service.Background, "wait", lambda self, seconds: blocked.set())
    imported(client, "fjord")
    answer = client.get("/api/search", params={"text": "fjord"}).json()
    assert answer["indexing"] == 2  # the structure and its survey
    page = client.get("/search", params={"text": "fjord"}, headers={"Accept": "text/html"}).text
    assert "2 surveys are still being indexed" in page.replace("\n", " ")
    assert blocked.is_set()


def test_changes_are_indexed_without_anybody_searching(context: Parts) -> None:
    """After a quiet while the background follows; it ends with the service."""
    context.search.background._quiet_s = 0.0
    context.services.add_structure(Structure.model_validate(STRUCTURE), "mm")
    context.search.background.changed()
    context.search.background.wait(300.0)
    assert context.search.indexer.waiting() == 0
    thread = context.search.background._thread
    assert thread is not None
    context.search.close()
    assert not thread.is_alive()


def test_the_index_can_be_made_anew(context: Parts) -> None:
    """Whatever the states say, a reindex derives everything again, and a newer form of it does too."""
    context.services.add_structure(Structure.model_validate(STRUCTURE), "mm")
    context.exchange.import_file(_bytes(survey_file()), place="test")
    context.search.indexer.index_all(lambda *_: None)
    first = context.search.find(SearchParams(text="look").query(), limit=50).found.total
    assert context.search.indexer.waiting() == 0
    with context.database.writing() as session:
        for state in session.scalars(select(SearchStateRow)):
            state.form = 0
    assert context.search.indexer.waiting() == 3
    context.search.indexer.forget()
    assert context.search.indexer.waiting() == 3
    context.search.indexer.index_all(lambda *_: None)
    assert context.search.find(SearchParams(text="look").query(), limit=50).found.total == first > 0


def test_one_broken_survey_does_not_keep_others_from_being_found(
    context: Parts, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A survey that cannot even be read is noted with its fault, and the next one is indexed."""
    broken = context.exchange.import_file(_bytes(survey_file()), place="test").row.id
    context.exchange.import_file(_bytes(survey_file()), place="test")
    export = context.exchange.export

    def fails(survey_id: str, **options: Any) -> Any:
        if survey_id == broken:
            raise ValueError("cannot be read")
        return export(survey_id, **options)

    monkeypatch.setattr(context.exchange, "export", fails)
    unfinished = context.search.indexer.index_all(lambda *_: None)
    assert [one.survey_id for one in unfinished] == [broken]
    assert context.search.indexer.waiting() == 0
    assert context.search.find(SearchParams(what=["survey"]).query(), limit=5).found.total == 1


def test_the_export_is_whole_and_no_cell_is_a_formula(client: httpx.Client) -> None:
    """CSV (RFC 4180) of every page of the result; text that a spreadsheet would compute stays text."""
    survey = imported(client, "garnet", name='=HYPERLINK("x")', inspector="@cmd")
    upload(client, survey, *((f"+{n}.png", picture(900 + n, kind="PNG")) for n in range(3)))
    answer = client.get("/api/search.csv", params={"survey_id": survey, "units": "in"})
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))
    total = client.get("/api/search", params={"survey_id": survey}).json()["total"]
    assert len(rows) == total + 1
    assert {len(row) for row in rows} == {len(rows[0])}
    cells = [cell for row in rows[1:] for cell in row]
    assert not [cell for cell in cells if cell[:1] in "=+-@\t\r" and cell and not _is_number(cell)]
    assert any(cell.startswith("'=HYPERLINK") for cell in cells)
    assert any(cell.startswith("'@cmd") for cell in cells)


def test_a_search_that_makes_no_sense_is_refused_with_its_field(client: httpx.Client) -> None:
    """Values of the wrong kind are named (422), on the page in its own words, with what was typed kept."""
    for asked in ({"depth_from": "deep"}, {"date_to": "2031-02-30"}, {"what": "engine"}, {"limit": 0}):
        answer = client.get("/api/search", params=asked)
        assert answer.status_code == 422, asked
    page = client.get("/search", params={"depth_from": "deep"}, headers={"Accept": "text/html"}).text
    assert "Depth from: write a number" in page
    assert 'value="deep"' in page
    # Empty fields of a form are no fault, and many a shop writes decimals with a comma.
    assert client.get("/api/search", params={"depth_from": "", "face": ""}).status_code == 200
    assert "cannot be searched" not in client.get("/search?depth_from=0,5&text=x&face=").text


def test_a_saved_search_belongs_to_its_owner(context: Parts) -> None:
    """Others see it only if it is shared, and only its owner or a keeper of records takes it away."""
    ann, ben, cleo = (
        Actor(key, key, frozenset(roles), "session")
        for key, roles in (("ann", [Role.INSPECTOR]), ("ben", [Role.PLANNER]), ("cleo", [Role.CLERK]))
    )
    saved = context.search.saved
    with acting_as(ann):
        own = saved.add(SavedSearchIn(name="own", search=SearchParams(text="pit")))
        shared = saved.add(SavedSearchIn(name="shared", shared=True, search=SearchParams(zone="33")))
        assert [row.name for row in saved.mine()] == ["own", "shared"]
    with acting_as(ben):
        assert [row.name for row in saved.mine()] == ["shared"]
        with pytest.raises(NotFoundError):
            saved.withdraw(own.id, 1)
        with pytest.raises(NotAllowedError):
            saved.withdraw(shared.id, 1)
    with acting_as(cleo):
        saved.withdraw(shared.id, 1)
    with acting_as(ann):
        assert [row.name for row in saved.mine()] == ["own"]


def test_a_saved_search_leads_to_its_result(client: httpx.Client) -> None:
    """The page of a saved search asks for the same: names, lists, lengths and their unit."""
    search = {"text": "a&b ü", "kind": ["pit", "blend-out"], "depth_from": 0.01, "units": "in"}
    made = client.post("/api/search/saved", json={"name": "Deep", "search": search})
    assert made.status_code == 201, made.text
    query = httpx.URL(made.json()["address"]).params
    assert SearchParams.model_validate(
        {name: query.get_list(name) if name == "kind" else query[name] for name in query}
    ) == SearchParams.model_validate(search)
    assert client.get(made.json()["address"], headers={"Accept": "text/html"}).status_code == 200
    form = {"search": "text=lap&depth_from=0.2", "name": "Laps", "shared": "yes"}
    assert client.post("/search/saved", data=form).status_code == 303
    empty = client.post("/search/saved", data=form | {"name": " "})
    assert empty.status_code == 422
    assert "Not saved" in empty.text
    names = {one["name"]: one for one in client.get("/api/search/saved").json()}
    gone = client.delete(f"/api/search/saved/{names['Laps']['id']}", headers=tag(1))
    assert gone.status_code == 204
    assert [one["name"] for one in client.get("/api/search/saved").json()] == ["Deep"]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _bytes(document: dict[str, Any]) -> bytes:
    return json.dumps(document).encode()


def test_a_sealed_survey_is_found_as_it_was_sealed(client: httpx.Client) -> None:
    """Who signed and sealed is found; a later change of the structure changes nothing found in it."""
    case = Case(client, survey={"name": "Look hazel"})
    assert whats(client, person="hessonite", survey_id=case.id) == []
    for subject in ("findings", "decision"):
        assert case.sign(subject, name="Ines Hessonite").status_code == 201
    signed = found(client, text="hessonite inv-0042", survey_id=case.id)
    assert [(one["what"], one["title"], one["date"]) for one in signed] == [
        ("person", "Ines Hessonite", "2031-04-24")
    ] * 2
    assert case.seal().status_code == 201
    assert len(whats(client, what="person", survey_id=case.id)) == 3  # two signatures and the seal
    before = client.get("/api/search", params={"survey_id": case.id, "what": "finding"}).json()["items"]
    record = client.get(f"/api/structures/{case.structure}").json()
    changed = record["structure"] | {"name": "Renamed hazel"}
    changed["members"][0]["limit"] = {"depth": 0.001, "source": "RS-99"}
    body = {"units": record["units"], "structure": changed}
    assert client.put(f"/api/structures/{case.structure}", json=body, headers=tag(1)).status_code == 200
    after = client.get("/api/search", params={"survey_id": case.id, "what": "finding"}).json()
    assert after["indexing"] == 0
    assert [one | {"structure": ""} for one in after["items"]] == [
        one | {"structure": ""} for one in before
    ]
    assert {one["verdict"] for one in before} == {"within"}


def test_accounts_are_found_by_who_may_manage_them() -> None:
    """An administrator finds accounts by name and certificate; nobody else learns that they exist."""
    rows = [
        AccountRow(id="a", name="ann", display_name="Ann Ågren", certificate_number="INV-7"),
        AccountRow(id="b", name="ben", display_name="Ben Example", certificate_number=""),
    ]
    for row in rows:
        row.certificate_kind = ""
    context: Any = SimpleNamespace(people=SimpleNamespace(accounts=SimpleNamespace(everybody=lambda: rows)))
    display = Display("light", "mm", chosen=False)

    def names(role: Role, **asked: str) -> list[str]:
        with acting_as(Actor("x", "x", frozenset({role}), "session")):
            return [row.name for row in _accounts(context, asked_of(QueryParams(asked), display))]

    assert names(Role.ADMINISTRATOR, text="agren inv-7") == ["ann"]
    assert names(Role.ADMINISTRATOR, text="ben", what="person") == ["ben"]
    assert names(Role.ADMINISTRATOR, text="ben", what="photo") == names(Role.ADMINISTRATOR, zone="33") == []
    assert names(Role.CLERK, text="ann") == names(Role.INSPECTOR, text="ann") == []
