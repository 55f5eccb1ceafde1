"""Whatever is sent to the API: no failure of the service, answers as documented, and nothing lost.

The calls are made from the service's own OpenAPI document, by schemathesis and from the document's
examples with one value spoilt. Everything is seeded: the same calls every time.
"""

from __future__ import annotations

import copy
import hashlib
import itertools
import os
import random
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from jsonschema import Draft202012Validator
from schemathesis import Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.errors import SerializationNotPossible
from schemathesis.core.failures import FailureGroup
from schemathesis.schemas import APIOperation
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    status_code_conformance,
)

from api.people.service import PLAIN_COOKIE
from api.settings import Settings
from tests.api.history.stores import open_store, whole
from tests.api.history.test_whole_service import propose, seal_and_follow
from tests.api.people.people import HERE, PASSWORD, opened, with_everybody
from tests.api.samples import new_photo, new_survey, survey_file
from tests.api.server import running

CALLS = int(os.environ.get("CORROSION_FUZZ_CALLS", "1000"))
"""At least how many calls; a bigger run finds more."""
SEED = int(os.environ.get("CORROSION_FUZZ_SEED", "2031"))
SLOW = ("report", "worklist", "archive", "calibrate", "map.", "plot", "decision/result", "/suggest")
"""Parts of the addresses of routes that compute for long; they get fewer calls."""
SLOWEST = "sweep"
"""This one computes for seconds: it gets to work on a picture only with the documented example."""
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
]
SPOILT: list[Any] = [
    None, True, 0, -1, 1e308, -1e308, 5e-324, 2**63, 10**400, "", " ", "\x00", "\ud7ff\uffff", "x" * 5000,
    [], {}, [[]], {"type": "Polygon"}, "2031-02-30", "../../etc/passwd", "';--", "mm", "٣",
    [0, 0], [[0, 0]] * 3,
]  # fmt: skip
"""Values put where another one belongs."""


@dataclass
class World:
    """A service with something of everything in it, and the identifiers of that."""

    client: httpx.Client
    session: requests.Session
    document: dict[str, Any]
    ids: dict[str, list[str]]
    calls: Counter[str] = field(default_factory=Counter)
    statuses: Counter[int] = field(default_factory=Counter)
    wrong: dict[str, str] = field(default_factory=dict)

    def call(self, case: Case) -> None:
        """Send a call and note what is wrong with its answer."""
        try:
            answer = case.call(base_url=str(self.client.base_url), session=self.session, timeout=300)
        except (SerializationNotPossible, requests.exceptions.InvalidHeader, UnicodeError):
            return  # It cannot even be put on the wire.
        self.calls[case.operation.label] += 1
        self.statuses[answer.status_code] += 1
        try:
            case.validate_response(answer, checks=CHECKS)
        except FailureGroup as group:
            for failure in group.exceptions:
                title = getattr(failure, "title", type(failure).__name__)
                key = f"{case.operation.label}: {answer.status_code}: {title}"
                self.wrong.setdefault(key, f"{failure}\n{case.as_curl_command()[:2000]}")
        if problem := self._misshapen(case, answer):
            self.wrong.setdefault(f"{case.operation.label}: {answer.status_code}: another shape", problem)
        said = answer.text if answer.status_code >= 400 else ""
        if "Traceback" in said or 'File "' in said or "sqlalchemy" in said:
            self.wrong.setdefault(f"{case.operation.label}: traceback", said)

    def _misshapen(self, case: Case, answer: Any) -> str:
        """Compare a JSON answer with the schema declared for it.

        Not by schemathesis: it rewrites tuples (`prefixItems`) into a form its own validator refuses.
        """
        operation = self.document["paths"][case.operation.path][case.operation.method.lower()]
        content = operation["responses"].get(str(answer.status_code), {}).get("content", {})
        for kind, described in content.items():
            if kind.endswith("json") and described.get("schema") and answer.content:
                whole_schema = described["schema"] | {"components": self.document["components"]}
                validator = Draft202012Validator(whole_schema)
                return "; ".join(
                    f"{error.json_path}: {error.message[:300]}"
                    for error in itertools.islice(validator.iter_errors(answer.json()), 3)
                )
        return ""

    def real(self, name: str, choice: random.Random) -> str | None:
        """Pick the identifier of something that is there, for a parameter of that name."""
        known = self.ids.get({"other": "survey_id"}.get(name, name))
        return choice.choice(known) if known else None


def build(client: httpx.Client) -> dict[str, list[str]]:
    """Put something of everything into a service; return identifiers by the parameters that take them."""
    seal_and_follow(client)
    proposals = propose(client)
    document = survey_file([*survey_file()["photos"], {"id": "f2", "file": "f2.jpg"}])
    assert client.post("/api/surveys/import", json=document).status_code == 201
    own = new_survey(client)
    for number in range(4):
        new_photo(client, own, seed=50 + number)
    surveys = _ids(client, "/api/surveys")
    nouns = {"photo_id": "photos", "removal_id": "removals", "reading_id": "readings"}
    parts = {
        name: [one for survey in surveys for one in _ids(client, f"/api/surveys/{survey}/{noun}")]
        for name, noun in nouns.items()
    }
    cards = [
        card["id"]
        for survey in surveys
        for card in client.get(f"/api/surveys/{survey}/worklist").json().get("cards", [])
    ]
    return parts | {
        "structure_id": _ids(client, "/api/structures"),
        "survey_id": surveys,
        "card": cards,
        "proposal_id": proposals,
        "slug": [one["slug"] for one in client.get("/api/problems").json() if "slug" in one],
        "saved_id": _ids(client, "/api/search/saved"),
        "label_id": _ids(client, "/api/retention/labels"),
        "mark_id": [
            one for survey in surveys for one in _ids(client, f"/api/surveys/{survey}/retention", "marks")
        ],
        "path": ["survey.json"],
    }


def _ids(client: httpx.Client, address: str, within: str = "") -> list[str]:
    found = client.get(address).json()
    listed = found.get(within or "items", []) if isinstance(found, dict) else found
    return [one["id"] for one in listed if "id" in one]


def cases_of(
    operation: APIOperation, mode: GenerationMode, count: int, use: Callable[[Case], None]
) -> None:
    """Let schemathesis make calls of one kind."""

    @seed(SEED)
    @settings(
        max_examples=count,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def each(case: Case) -> None:
        use(case)

    each()


def with_real_things(case: Case, world: World, choice: random.Random, share: float) -> Case:
    """Put identifiers of real things and the current version into a share of the calls."""
    for name in list(case.path_parameters or {}):
        real = world.real(name, choice)
        if real is not None and choice.random() < share:
            case.path_parameters[name] = real
    for name in list(case.query or {}):
        real = world.real(name, choice)
        if real is not None and choice.random() < share:
            case.query[name] = real
    takes = {str(one.name).lower() for one in case.operation.headers}
    if "if-match" in takes and choice.random() < share:
        case.headers = {**(case.headers or {}), "If-Match": version_of(case, world)}
    return case


def version_of(case: Case, world: World) -> str:
    """Read the ETag of what a call edits: from its own address, or from the one above it."""
    values = {name: quote(str(value), safe="") for name, value in (case.path_parameters or {}).items()}
    address = case.operation.path.format(**values)
    for one in (address, address.rpartition("/")[0]):
        found = world.client.get(one).headers.get("etag")
        if found:
            return str(found)
    return '"1"'


def spoilt(example: Any, choice: random.Random) -> Any:
    """Copy an example with one value, anywhere in it, replaced or left out."""
    made = copy.deepcopy(example)
    places = list(_places(made))
    if not places:
        return choice.choice(SPOILT)
    holder, key = choice.choice(places)
    if choice.random() < 0.15 and isinstance(holder, dict):
        del holder[key]
    else:
        holder[key] = choice.choice(SPOILT)
    return made


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    keys: Any = value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    for key in keys:
        yield value, key
        yield from _places(value[key])


def from_examples(operation: APIOperation, document: dict[str, Any], count: int) -> Iterator[Case]:
    """Make calls from the documented example of a body: as it is, and with one value spoilt."""
    choice = random.Random(f"{SEED} {operation.label}")  # noqa: S311 - tests are no secret
    raw = document["paths"][operation.path][operation.method.lower()]
    content = raw.get("requestBody", {}).get("content", {}).get("application/json")
    path = {one.name: "x" for one in operation.path_parameters}
    query = {"reason": "a spoilt call"} if "DELETE" in operation.label else {}
    example = None if content is None else _example(content, document)
    for number in range(count):
        body = {} if example is None else {"body": spoilt(example, choice) if number else example}
        kind = {} if example is None else {"media_type": "application/json"}
        yield operation.Case(path_parameters=dict(path), query=dict(query), headers={}, **body, **kind)


def _example(content: dict[str, Any], document: dict[str, Any]) -> Any:
    schema = content.get("schema", {})
    named = document["components"]["schemas"].get(schema.get("$ref", "").rpartition("/")[2], {})
    for shown in (content, schema, named):
        if "example" in shown:
            return shown["example"]
        if shown.get("examples"):
            examples = shown["examples"]
            return examples[0] if isinstance(examples, list) else next(iter(examples.values()))["value"]
    return None


def fuzz(world: World, operations: list[APIOperation], document: dict[str, Any], each: int) -> None:
    """Call every operation: generated to fit, generated not to fit, and from examples."""
    for operation in operations:
        count = max(3, each // 3) if any(part in operation.path for part in SLOW) else each
        choice = random.Random(f"{SEED} {operation.label}")  # noqa: S311 - tests are no secret

        real = 0.0 if SLOWEST in operation.path else 0.7
        count = 3 if SLOWEST in operation.path else count

        def use(case: Case, choice: random.Random = choice, real: float = real) -> None:
            world.call(with_real_things(case, world, choice, real))

        for mode, share in ((GenerationMode.POSITIVE, 0.4), (GenerationMode.NEGATIVE, 0.25)):
            if mode is GenerationMode.POSITIVE or can_be_wrong(operation):
                cases_of(operation, mode, max(1, round(share * count)), use)
        for case in from_examples(operation, document, max(1, round(0.35 * count))):
            world.call(with_real_things(case, world, choice, 1.0))


def can_be_wrong(operation: APIOperation) -> bool:
    """Whether anything sent could break what is documented: a body, a parameter that is not any text."""
    schemas = [one.definition.get("schema", {}) for one in operation.query]
    return bool(operation.body) or any(schema != {"type": "string"} for schema in schemas)


def in_order(operation: APIOperation) -> tuple[bool, bool, bool]:
    """Read first, then write; withdraw and seal last, so that there is something to call until then."""
    return (
        operation.method.upper() == "DELETE" or operation.path.endswith("/seal"),
        operation.method.upper() != "GET",
        "signatures" in operation.path,
    )


@dataclass
class Before:
    """What was there before the calls."""

    rows: dict[str, set[int]]
    originals: dict[str, str]
    head: str


def look(folder: Path) -> Before:
    """Read which rows and originals a store holds, and where its history ends."""
    store = open_store(f"sqlite:///{folder / 'corrosion.sqlite3'}", folder)
    with store.database.engine.connect() as connection:
        rows = {
            table: {row[0] for row in connection.exec_driver_sql(f"SELECT rowid FROM {table}")}  # noqa: S608
            for table in (
                "structures",
                "surveys",
                "photos",
                "removals",
                "readings",
                "ticks",
                "proposals",
                "seals",
                "history",
            )
        }
        head = connection.exec_driver_sql("SELECT hash FROM history_head").scalar_one()
    files = (folder / "pictures" / "sha256").glob("*/*")
    originals = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}
    store.database.close()
    return Before(rows, originals, head)


def test_generated_calls_neither_break_nor_lose_anything(tmp_path: Path) -> None:
    """1,000 calls over every route: no 5xx, no traceback, answers as documented, nothing lost."""
    with running(Settings(data_dir=tmp_path, max_json_bytes=200_000, max_upload_bytes=2_000_000)) as client:
        session = requests.Session()
        document = client.get("/api/openapi.json").json()
        world = World(client, session, document, build(client))
        before = look(tmp_path)
        schema = schemathesis.openapi.from_dict(document)
        operations = sorted((found.ok() for found in schema.get_all_operations()), key=in_order)
        each = -(-CALLS // (len(operations) - 25)) + 2
        fuzz(world, [one for one in operations if "/people" not in one.path], document, each)
        # Only now: with the first account everybody has to sign in.
        as_administrator(world, tmp_path)
        fuzz(world, [one for one in operations if "/people" in one.path], document, each)
        session.close()
    assert world.wrong == {}, "\n\n".join(f"{key}\n{text}" for key, text in world.wrong.items())
    assert sum(world.calls.values()) >= CALLS
    assert set(world.calls) == {one.label for one in operations}
    # The calls reached the routes' insides: a run that is only refused proves nothing.
    assert sum(world.statuses[code] for code in (200, 201, 202, 204)) > CALLS / 4
    after = look(tmp_path)
    for table, rows in before.rows.items():
        assert rows <= after.rows[table], table
    assert before.originals.items() <= after.originals.items()
    store = open_store(f"sqlite:///{tmp_path / 'corrosion.sqlite3'}", tmp_path)
    report = store.verify(before.head)
    store.database.close()
    assert whole(report) == ""


def as_administrator(world: World, folder: Path) -> None:
    """Add accounts and sign in; the calls are about the other people."""
    database, people = opened(f"sqlite:///{folder / 'corrosion.sqlite3'}")
    with_everybody(people)
    secret = people.sessions.sign_in("administrator", PASSWORD, HERE)
    others = ("inspector", "planner", "clerk", "reader")
    world.ids["account_id"] = [people.accounts.named(name).id for name in others]
    database.close()
    for client in (world.session, world.client):
        client.headers["Cookie"] = f"{PLAIN_COOKIE}={secret}"
