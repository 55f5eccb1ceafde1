"""The API describes itself: an undocumented route fails here."""

from __future__ import annotations

from typing import Any

import httpx
import pytest

METHODS = {"get", "put", "post", "patch", "delete", "head"}


@pytest.fixture(scope="module")
def document(client: httpx.Client) -> dict[str, Any]:
    """Read the OpenAPI document from the service."""
    found: dict[str, Any] = client.get("/api/openapi.json").json()
    return found


def operations(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """List every operation with its name."""
    return [
        (f"{method.upper()} {path}", operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
        if method in METHODS
    ]


def test_every_route_is_documented(document: dict[str, Any]) -> None:
    """Every route has one known tag, a summary and a description."""
    tags = {tag["name"] for tag in document["tags"]}
    found = operations(document)
    assert len(found) >= 30
    for name, operation in found:
        assert len(operation["tags"]) == 1, name
        assert set(operation["tags"]) <= tags, name
        assert operation["summary"], name
        assert operation["description"], name
        assert operation["summary"] != operation["description"], name


def test_every_tag_is_described(document: dict[str, Any]) -> None:
    """Every tag has a description and at least one route."""
    used = {tag for _, operation in operations(document) for tag in operation["tags"]}
    assert used == {tag["name"] for tag in document["tags"]}
    assert all(tag["description"] for tag in document["tags"])


def test_every_body_has_an_example(document: dict[str, Any]) -> None:
    """Whoever reads the API sees what to send."""
    schemas = document["components"]["schemas"]
    for name, operation in operations(document):
        for kind, content in operation.get("requestBody", {}).get("content", {}).items():
            schema = content.get("schema", {})
            named = schemas.get(schema.get("$ref", "").rpartition("/")[2], {})
            shown = [
                content.get("example"),
                content.get("examples"),
                schema.get("examples"),
                named.get("examples"),
            ]
            assert any(shown), f"{name} ({kind})"


def test_every_edit_states_its_conflicts(document: dict[str, Any]) -> None:
    """Every edit and withdrawal documents If-Match and the answers 412 and 428."""
    for name, operation in operations(document):
        if not name.startswith(("PUT", "PATCH", "DELETE")):
            continue
        headers = [p["name"] for p in operation["parameters"] if p["in"] == "header"]
        assert headers == ["if-match"], name
        assert {"412", "428", "422", "404"} <= set(operation["responses"]), name


def test_errors_are_described_as_problems(document: dict[str, Any]) -> None:
    """No route promises an error in another shape than problem JSON."""
    for name, operation in operations(document):
        for status, response in operation["responses"].items():
            if status.startswith(("4", "5")):
                assert set(response["content"]) == {"application/problem+json"}, f"{name} {status}"


def test_every_parameter_is_described(document: dict[str, Any]) -> None:
    """Every path, query and header parameter says what it is."""
    for name, operation in operations(document):
        for parameter in operation.get("parameters", []):
            assert parameter.get("description"), f"{name} {parameter['name']}"


def test_units_are_stated(document: dict[str, Any]) -> None:
    """The document says which unit lengths have, and the pixel frame."""
    assert "`units`" in document["info"]["description"]
    assert "(x, y)" in document["info"]["description"]
