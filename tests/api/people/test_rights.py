"""Every route has a row in the table of rights, and lets in exactly those whom its row does."""

from __future__ import annotations

import re
from typing import Any

import pytest
from fastapi.routing import iter_route_contexts

from api.actor import Actor, Role
from api.people.guard import refusal_of
from api.people.rights import MOUNTED, RIGHTS, Right, methods_of, right_of
from api.people.sessions import Identity
from tests.api.people.people import KINDS, TOKENS, House

PARAMETER = re.compile(r"\{[^}]+\}")
# An address that ends a session or is another's own: asked for last, or by name elsewhere.
SIGN_OUT = ("POST", "/sign-out")


def sample(template: str) -> str:
    """Return an address that a route's path stands for; nothing has this identifier."""
    return "/static/none.css" if template in MOUNTED else PARAMETER.sub("none", template)


def routes(house: House) -> list[tuple[str, str, Any]]:
    """List method, path and route of everything the application serves, in the order it looks."""
    found = []
    for route in iter_route_contexts(house.app.routes):
        methods = route.methods or {"GET"}
        found += [(method, route.path, route) for method in sorted(methods)]
    return found


def allowed(kind: str, right: Right) -> bool:
    """Say by the table whether somebody may; written apart from the code that decides."""
    if right.public:
        return True
    if kind in TOKENS:
        scope = not right.changes or TOKENS[kind] == "write"
        return scope and not right.in_person and (not right.roles or Role.INSPECTOR in right.roles)
    return kind != "anonymous" and (not right.roles or bool(right.roles & KINDS[kind]))


def test_every_route_has_a_row_and_every_row_a_route(everybody: House) -> None:
    """A route without a row, or a row left behind by a route that is gone, is named here."""
    served = {(method, path) for method, path, _ in routes(everybody) if method != "HEAD"}
    assert served - set(RIGHTS) == set(), "add a row in api/people/rights.py"
    assert set(RIGHTS) - served == set(), "take these rows out of api/people/rights.py"


def test_a_row_is_found_for_the_route_that_answers(everybody: House) -> None:
    """For every address the table and the application mean the same route, whichever comes first."""
    served = [(method, path, route) for method, path, route in routes(everybody) if path not in MOUNTED]
    for method, path, _ in served:
        address = sample(path)
        answering = next(
            other for verb, other, route in served if verb == method and re.match(route.path_regex, address)
        )
        assert right_of(method, address) is RIGHTS["GET" if method == "HEAD" else method, answering], path


@pytest.mark.parametrize("kind", ["anonymous", *KINDS, *TOKENS])
def test_each_route_lets_in_whom_its_row_does(everybody: House, kind: str) -> None:
    """Anonymous, every role and both scopes of a token are tried on every route of the application."""
    headers = everybody.headers[kind]
    wrong = []
    for (method, path), right in RIGHTS.items():
        if (method, path) == SIGN_OUT:
            continue
        # Tokens are good for the API only; on a page their bearer is nobody.
        who = "anonymous" if kind in TOKENS and not path.startswith("/api/") else kind
        status = everybody.ask(method, sample(path), headers).status
        refused = 401 if who == "anonymous" else 403
        # The sign-in form answers 401 itself: it was let in, name and password were not.
        let_in = status not in {401, 403} or path == "/sign-in"
        if let_in != allowed(who, right) or (not let_in and status != refused):
            wrong.append((method, path, status))
    assert wrong == []


@pytest.mark.parametrize(
    ("kind", "may", "may_not"),
    [
        ("reader", ["GET /surveys/x", "GET /api/surveys/x/file"], ["POST /api/surveys", "GET /people"]),
        (
            "inspector",
            [
                "POST /api/surveys/x/photos",
                "PUT /api/photos/x/marks",
                "PUT /api/readings/x",
                "PUT /api/structures/x",
                "DELETE /api/removals/x",
                "PUT /api/surveys/x",
            ],
            ["PUT /api/surveys/x/planning", "PUT /api/surveys/x/decision", "POST /api/people"],
        ),
        (
            "planner",
            [
                "PUT /api/surveys/x/planning",
                "PUT /api/surveys/x/rules",
                "PUT /api/surveys/x/decision",
                "POST /api/surveys/x/worklist/c/ticks",
            ],
            ["PUT /api/photos/x/marks", "POST /api/surveys", "GET /people"],
        ),
        ("clerk", ["GET /surveys/x"], ["PUT /api/photos/x/marks", "PUT /api/surveys/x/decision"]),
        ("administrator", ["PUT /api/photos/x/marks", "PUT /api/surveys/x/rules", "POST /people"], []),
    ],
)
def test_roles_mean_what_was_asked_for(kind: str, may: list[str], may_not: list[str]) -> None:
    """Inspectors record, planners plan, administrators do both and manage people (the order's words)."""
    identity = Identity(Actor("x", "X", KINDS[kind], "session"))
    for line in may:
        assert refusal_of(identity, right_of(*line.split(" ", 1))) is None, line
    for line in may_not:
        assert refusal_of(identity, right_of(*line.split(" ", 1))) is not None, line


def test_roles_add_up() -> None:
    """Whoever is inspector and planner may do what either may, and still no more."""
    both = Identity(Actor("x", "X", frozenset({Role.INSPECTOR, Role.PLANNER}), "session"))
    assert refusal_of(both, right_of("PUT", "/api/photos/x/marks")) is None
    assert refusal_of(both, right_of("PUT", "/api/surveys/x/planning")) is None
    assert "administrator" in str(refusal_of(both, right_of("GET", "/people")))


def test_a_route_without_a_row_answers_nobody(everybody: House) -> None:
    """A forgotten row closes a route: even an administrator gets 404, not the route."""

    def forgotten() -> None:
        raise AssertionError("it was let in")

    everybody.app.router.add_api_route("/api/forgotten", forgotten)
    assert everybody.ask("GET", "/api/forgotten", everybody.headers["administrator"]).status == 404
    assert everybody.ask("GET", "/api/forgotten").status == 401


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("DELETE", "/api/structures", 405),
        ("HEAD", "/api/structures", 405),
        ("OPTIONS", "/api/structures", 405),
        ("GET", "/api//structures", 404),
        ("GET", "/API/structures", 404),
        ("GET", "/api/structures/%2e%2e/people", 404),
        ("GET", "/staticx", 404),
    ],
)
def test_other_spellings_open_nothing(everybody: House, method: str, path: str, status: int) -> None:
    """Methods and addresses near a route's are not the route, for people and for strangers."""
    assert everybody.ask(method, path, everybody.headers["administrator"]).status == status
    assert everybody.ask(method, path).status in {401, 404}


def test_the_methods_of_an_address_are_its_rows() -> None:
    """A method that no row has is answered with those that rows do have."""
    assert methods_of("/api/structures") == ["GET", "POST"]
    assert methods_of("/nothing/here") == []
