"""The OpenAPI document: FastAPI's, with every error described as what it is, and who may do what."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from api.errors import PROBLEM_MEDIA_TYPE
from api.people.rights import Right, right_of
from api.people.service import PLAIN_COOKIE, SECURE_COOKIE
from api.routes import problems

# FastAPI's own description of a validation error, which this service never answers with.
UNUSED_SCHEMAS = ("HTTPValidationError", "ValidationError")
DOORS = {
    "token": {"type": "http", "scheme": "bearer", "description": "A token made on the page of an account."},
    "session": {
        "type": "apiKey",
        "in": "cookie",
        "name": PLAIN_COOKIE,
        "description": f"Set by signing in; named {SECURE_COOKIE} where it goes over https only.",
    },
}
INVALID = "The data does not hold together; `errors` lists every fault."


def install(app: FastAPI) -> None:
    """Make an app's OpenAPI document describe its errors as problems."""
    original = app.openapi

    def described() -> dict[str, Any]:
        document = original()
        if UNUSED_SCHEMAS[0] in document["components"]["schemas"]:
            _describe(document)
        return document

    app.openapi = described  # type: ignore[method-assign]


def _describe(document: dict[str, Any]) -> None:
    problem = {"schema": {"$ref": "#/components/schemas/Problem"}}
    document["components"]["securitySchemes"] = DOORS
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            _say_who_may(operation, right_of(method.upper(), path))
            for status, response in operation["responses"].items():
                if status.startswith(("4", "5")):
                    response["content"] = {PROBLEM_MEDIA_TYPE: problem}
                if status == "422":
                    response["description"] = INVALID
    for name in UNUSED_SCHEMAS:
        document["components"]["schemas"].pop(name, None)


def _say_who_may(operation: dict[str, Any], right: Right | None) -> None:
    """Add what the guard answers before the route is reached, and the roles it asks for."""
    if right is None or right.public:
        operation["security"] = []
        return
    operation["security"] = [{"session": []}] if right.in_person else [{"token": []}, {"session": []}]
    operation["x-roles"] = sorted(right.roles)
    for status, response in problems(401, 403).items():
        described = {"description": response["description"]}
        operation["responses"].setdefault(str(status), described)
