"""The routes, one module per noun. They translate between HTTP and the use cases, nothing more."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Query

from api.schemas import Problem

Responses = dict[int | str, dict[str, Any]]


def problems(*statuses: int) -> Responses:
    """Return the OpenAPI entries of the problems a route can answer with."""
    words = {
        400: "The request cannot be read.",
        401: "Nobody is signed in, or the token is not good.",
        403: "A write from another site, or none of the person's roles may do it.",
        404: "No such thing.",
        409: "The request contradicts what is stored.",
        410: "It was withdrawn; `detail` says when and why.",
        412: "Someone else changed it first: read again, repeat the edit.",
        413: "The request is too large.",
        416: "The byte range is outside the file.",
        422: "The data does not hold together; `errors` lists every fault.",
        428: "If-Match is missing.",
        501: "This part of the program is not available.",
        503: "The store is not available.",
    }
    return {status: {"model": Problem, "description": words[status]} for status in statuses}


EDIT = (400, 403, 404, 409, 412, 413, 422, 428)
"""Problems that every edit of an existing thing can answer with."""

EDIT_PART = (*EDIT, 410)
"""Likewise, of a photo, removal or reading, which may have been withdrawn."""

WITHDRAW = (400, 403, 404, 409, 410, 412, 422, 428)
"""Problems that withdrawing one can answer with."""

Reason = Annotated[
    str,
    Query(
        max_length=400,
        description="Why it is withdrawn; kept with it.",
        examples=["Entered for the wrong member"],
    ),
]
