"""Every error becomes one shape, `application/problem+json` (RFC 9457), in this module only."""

from __future__ import annotations

import json
import logging
import math
from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from api.errors import (
    INTERNAL,
    PROBLEM_MEDIA_TYPE,
    Fault,
    InvalidError,
    NotSignedInError,
    ProblemKind,
    RangeError,
    TooManyTriesError,
    kind_of,
    kind_of_status,
    problem,
    problem_of,
)
from api.security import FAILURE_HEADERS
from corrosion.errors import CorrosionError, StorageError

logger = logging.getLogger("corrosion.api")

# Faults beyond this number help nobody and could repeat a large request.
MAX_FAULTS = 50
MAX_VALUE_TEXT = 200


def install(app: FastAPI) -> None:
    """Make an app answer every error as a problem."""
    app.add_exception_handler(CorrosionError, _on_corrosion_error)
    app.add_exception_handler(RequestValidationError, _on_validation_error)
    app.add_exception_handler(HTTPException, _on_http_exception)
    app.add_exception_handler(ClientDisconnect, _on_disconnect)
    app.add_exception_handler(Exception, _on_anything_else)


def _on_corrosion_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, CorrosionError):
        raise error
    kind = kind_of(error)
    if kind.status >= 500 and type(error) is StorageError:
        # The answer names what happened; the cause, with its paths, is for the log only.
        logger.error("store not available: %s", error, exc_info=error)
    return respond(kind.status, problem_of(error, instance=request.url.path), headers_of(error))


def headers_of(error: CorrosionError) -> dict[str, str]:
    """Return the headers that HTTP wants beside some errors."""
    if isinstance(error, RangeError):
        return {"Content-Range": f"bytes */{error.total}"}
    if isinstance(error, NotSignedInError):
        # RFC 9110, 11.6.1: a 401 says how to identify oneself.
        return {"WWW-Authenticate": 'Bearer realm="corrosion"'}
    if isinstance(error, TooManyTriesError):
        return {"Retry-After": str(error.seconds)}
    return {}


def _on_validation_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    faults = faults_of(error.errors())
    first = faults[0]
    invalid = InvalidError(
        f"{first['path']}: {first['message']}.",
        remedy="Correct the fields listed under 'errors'.",
        faults=faults[:MAX_FAULTS],
    )
    return respond(422, problem_of(invalid, instance=request.url.path))


def _on_http_exception(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    if isinstance(error.__cause__, CorrosionError):
        return _on_corrosion_error(request, error.__cause__)
    kind = kind_of_status(error.status_code) or ProblemKind("http", error.status_code, str(error.detail))
    detail = {
        404: f"there is nothing at {request.url.path}.",
        405: f"{request.method} is not offered at {request.url.path}.",
    }.get(error.status_code, f"{error.detail}.")
    return respond(kind.status, problem(kind, detail, instance=request.url.path), dict(error.headers or {}))


def _on_disconnect(request: Request, error: Exception) -> Response:
    # Nobody hears the answer; without this a lost connection would be logged as a failure of ours.
    logger.info("the sender of %s %s went away", request.method, request.url.path, exc_info=error)
    return Response(status_code=400)


def _on_anything_else(request: Request, error: Exception) -> Response:
    incident = uuid4().hex[:12]
    logger.error("incident %s at %s %s", incident, request.method, request.url.path, exc_info=error)
    body = problem(
        INTERNAL,
        f"the service failed; nothing was changed. Its log has it as incident {incident}.",
        instance=request.url.path,
        extra={"incident": incident, "remedy": "Try again; if it fails again, report the incident number."},
    )
    # This answer is made outside the middleware, so it has to bring the security headers itself.
    return respond(INTERNAL.status, body, FAILURE_HEADERS)


def respond(status: int, body: dict[str, Any], headers: dict[str, str] | None = None) -> Response:
    """Make the response of a problem."""
    text = json.dumps(_plain(body), allow_nan=False)
    return Response(
        text,
        status_code=status,
        media_type=PROBLEM_MEDIA_TYPE,
        headers={"Cache-Control": "no-store"} | (headers or {}),
    )


def faults_of(errors: Sequence[Any]) -> list[Fault]:
    """Turn pydantic's errors into faults with dotted paths such as ``body.marks.0.kind``."""
    return [
        Fault(
            path=".".join(str(step) for step in item["loc"]),
            message=item["msg"],
            value=item.get("input"),
        )
        for item in errors
    ]


def _plain(value: Any) -> Any:
    """Make anything fit for JSON: what a client sent may hold NaN, bytes or long texts."""
    if isinstance(value, dict):
        return {str(name): _plain(part) for name, part in list(value.items())[:MAX_FAULTS]}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value[:MAX_FAULTS]]
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if value is None or isinstance(value, (bool, int)):
        return value
    text = value if isinstance(value, str) else repr(value)
    # "detail" and "remedy" are ours and may be long; what a client sent is cut in faults.
    return text if len(text) <= 20 * MAX_VALUE_TEXT else text[:MAX_VALUE_TEXT] + "…"
