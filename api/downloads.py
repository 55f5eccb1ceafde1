"""Byte ranges, validators and file names of downloads (RFC 9110, RFC 6266)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from urllib.parse import quote

from fastapi import Request, Response
from starlette.responses import StreamingResponse

from api.errors import RangeError

# The bytes under a hash never change, so a browser need not ask again. Private: no shared cache.
IMMUTABLE = "private, max-age=31536000, immutable"

_RANGE = re.compile(r"^bytes=(\d*)-(\d*)$")


def attachment(name: str) -> str:
    """Return a Content-Disposition that saves a file under `name`, whatever characters it has.

    RFC 6266 with RFC 8187: a plain name for old clients, the full one encoded.
    """
    plain = re.sub(r"[^A-Za-z0-9._ -]", "_", name)[:150].strip() or "file"
    full = quote(name.encode("utf-8", "replace"), safe="")
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{full}"


def not_modified(request: Request, tag: str) -> bool:
    """Whether the client already has what `tag` (with its quotes) names (RFC 9110, 13.1.2)."""
    given = request.headers.get("if-none-match", "")
    return any(one.strip().removeprefix("W/") in {tag, "*"} for one in given.split(",") if one.strip())


def wanted_range(request: Request, tag: str, total: int) -> tuple[int, int] | None:
    """Return the bytes a request asks for as (start, stop), stop exclusive; None for all of them.

    More than one range, other units and a range for another version (If-Range) get the whole file,
    as RFC 9110, 14.2 allows.

    Raises
    ------
    RangeError
        If the range lies outside the file.
    """
    match = _RANGE.match(request.headers.get("range", "").strip())
    if match is None or request.headers.get("if-range", tag) != tag:
        return None
    first, last = match.groups()
    if not first and not last:
        return None
    if not first:
        start, stop = max(0, total - int(last)), total
    else:
        start, stop = int(first), min(total, int(last) + 1 if last else total)
        if last and int(last) < int(first):
            return None
    if start >= total or start >= stop:
        error = RangeError(
            f"the file has {total} bytes; {match[0]!r} lies outside.",
            place="header Range",
            remedy=f"Ask for bytes 0 to {total - 1}.",
        )
        error.total = total
        raise error
    return start, stop


def serve_bytes(
    request: Request,
    stream: Callable[[int, int], Iterator[bytes]],
    *,
    total: int,
    media_type: str,
    tag: str,
    disposition: str | None = None,
) -> Response:
    """Answer a GET or HEAD of unchanging bytes: whole, in part, or not at all if the client has them."""
    headers = {"ETag": tag, "Cache-Control": IMMUTABLE, "Accept-Ranges": "bytes"}
    if disposition is not None:
        headers["Content-Disposition"] = disposition
    if not_modified(request, tag):
        return Response(status_code=304, headers=headers)
    wanted = wanted_range(request, tag, total)
    start, stop = wanted or (0, total)
    status = 200
    if wanted is not None:
        status = 206
        headers["Content-Range"] = f"bytes {start}-{stop - 1}/{total}"
    headers["Content-Length"] = str(stop - start)
    if request.method == "HEAD":
        return Response(status_code=status, headers=headers, media_type=media_type)
    return StreamingResponse(
        stream(start, stop), status_code=status, headers=headers, media_type=media_type
    )
