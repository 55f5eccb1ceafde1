"""The OpenAPI document: FastAPI's, with every error described as what it is, problem JSON."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from api.errors import PROBLEM_MEDIA_TYPE

# FastAPI's own description of a validation error, which this service never answers with.
UNUSED_SCHEMAS = ("HTTPValidationError", "ValidationError")
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
    for methods in document["paths"].values():
        for operation in methods.values():
            for status, response in operation["responses"].items():
                if status.startswith(("4", "5")):
                    response["content"] = {PROBLEM_MEDIA_TYPE: problem}
                if status == "422":
                    response["description"] = INVALID
    for name in UNUSED_SCHEMAS:
        document["components"]["schemas"].pop(name, None)
