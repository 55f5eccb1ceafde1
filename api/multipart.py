"""Reading a multipart upload as it arrives: files go to disk piece by piece, hashed on the way.

Nothing waits in memory but the piece at hand, and every file is handed on as soon as it is complete,
so that the first pictures are stored while the last are still on their way.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Callable
from dataclasses import dataclass, field

from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from api.errors import RequestError, TooLargeError
from api.files import Incoming, PictureFiles

# Handing pieces to a thread costs about 0.1 ms; a megabyte takes about 1 ms to hash and write.
BATCH_BYTES = 1024 * 1024
MAX_FIELDS = 100
MAX_FIELD_BYTES = 64 * 1024


@dataclass
class Part:
    """One part of the form: a text field, or a file on its way to disk.

    Attributes
    ----------
    file_name : str or None
        As sent, untrusted; None for a text field.
    incoming : Incoming or None
        The file's bytes; None for a text field and for a file past the allowed number.
    complete : bool
        False if the upload broke off inside this part.
    """

    name: str
    file_name: str | None = None
    incoming: Incoming | None = None
    text: bytearray = field(default_factory=bytearray)
    complete: bool = False

    @property
    def value(self) -> str:
        """Text of a field."""
        return _decode(bytes(self.text))

    def discard(self) -> None:
        """Remove the temporary file."""
        if self.incoming is not None:
            self.incoming.discard()


class FormReader:
    """Turns the bytes of one multipart body into parts."""

    def __init__(
        self, boundary: bytes, files: PictureFiles, *, max_files: int, limit_of: Callable[[str], int]
    ) -> None:
        self._files = files
        self._max_files = max_files
        self._limit_of = limit_of
        self._fields = 0
        self._received = 0
        self._headers: dict[bytes, bytes] = {}
        self._header_name = b""
        self._header_value = b""
        self._part: Part | None = None
        self._done: list[Part] = []
        self.ended = False
        self._parser = MultipartParser(
            boundary,
            {
                "on_part_begin": self._begin,
                "on_header_field": self._on_header_field,
                "on_header_value": self._on_header_value,
                "on_header_end": self._on_header_end,
                "on_headers_finished": self._on_headers_finished,
                "on_part_data": self._on_data,
                "on_part_end": self._end,
                "on_end": self._finish,
            },
        )

    def feed(self, data: bytes) -> list[Part]:
        """Take bytes of the body; return the parts they complete.

        Raises
        ------
        RequestError
            If the body is not a multipart form.
        """
        try:
            self._parser.write(data)
        except FormParserError as error:
            raise RequestError(
                "the upload is not a readable multipart form.",
                remedy="Send the files as multipart/form-data.",
            ) from error
        done, self._done = self._done, []
        return done

    def discard(self) -> None:
        """Remove what nobody took: after an error, or when the caller stopped reading."""
        for part in self._done:
            part.discard()
        if self._part is not None:
            self._part.discard()

    def broken_off(self) -> Part | None:
        """Return the part that the body broke off in, if it did."""
        part, self._part = self._part, None
        return part

    def _begin(self) -> None:
        self._headers = {}

    def _on_header_field(self, data: bytes, start: int, end: int) -> None:
        self._header_name += data[start:end]

    def _on_header_value(self, data: bytes, start: int, end: int) -> None:
        self._header_value += data[start:end]

    def _on_header_end(self) -> None:
        self._headers[self._header_name.lower()] = self._header_value
        self._header_name = self._header_value = b""

    def _on_headers_finished(self) -> None:
        _, options = parse_options_header(self._headers.get(b"content-disposition", b""))
        if b"name" not in options:
            raise RequestError("a part of the form has no name.", remedy="Name every part of the form.")
        name = _decode(options[b"name"])
        if b"filename" not in options:
            self._fields += 1
            if self._fields > MAX_FIELDS:
                raise TooLargeError(f"the form has more than {MAX_FIELDS} fields.", remedy="Send fewer.")
            self._part = Part(name)
            return
        self._received += 1
        allowed = self._received <= self._max_files
        incoming = self._files.receive(self._limit_of(name)) if allowed else None
        self._part = Part(name, _decode(options[b"filename"]), incoming)

    def _on_data(self, data: bytes, start: int, end: int) -> None:
        part = self._part
        if part is None:
            return
        if part.incoming is not None:
            part.incoming.write(data[start:end])
        elif part.file_name is None:
            part.text += data[start:end]
            if len(part.text) > MAX_FIELD_BYTES:
                raise TooLargeError(
                    f"field {part.name[:80]!r} has more than {MAX_FIELD_BYTES} bytes.",
                    remedy="Send long content as a file.",
                )

    def _end(self) -> None:
        if self._part is not None:
            self._part.complete = True
            if self._part.incoming is not None:
                self._part.incoming.close()
            self._done.append(self._part)
            self._part = None

    def _finish(self) -> None:
        self.ended = True


async def read_form(
    request: Request, files: PictureFiles, *, max_files: int, limit_of: Callable[[str], int]
) -> AsyncGenerator[Part, None]:
    """Yield the parts of a multipart request as they complete; the caller discards each.

    A part that the upload breaks off in comes last, with ``complete`` False.

    Parameters
    ----------
    limit_of : callable
        Most bytes kept of a file, by the name of its part.

    Raises
    ------
    RequestError
        If the request is not a multipart form.
    """
    reader = FormReader(_boundary(request), files, max_files=max_files, limit_of=limit_of)
    waiting: list[Part] = []
    try:
        async for batch in _batches(request):
            waiting = await run_in_threadpool(reader.feed, batch)
            while waiting:
                yield waiting.pop(0)
        broken = reader.broken_off()
        if broken is not None:
            yield broken
        elif not reader.ended:
            raise RequestError("the upload broke off between two files.", remedy="Send the rest again.")
    finally:
        reader.discard()
        for part in waiting:
            part.discard()


async def _batches(request: Request) -> AsyncIterator[bytes]:
    batch = bytearray()
    async for piece in request.stream():
        batch += piece
        if len(batch) >= BATCH_BYTES:
            yield bytes(batch)
            batch.clear()
    if batch:
        yield bytes(batch)


def _boundary(request: Request) -> bytes:
    kind, options = parse_options_header(request.headers.get("content-type", ""))
    boundary = options.get(b"boundary", b"")
    if kind != b"multipart/form-data" or not 1 <= len(boundary) <= 200:
        raise RequestError(
            "the request is not a multipart form.",
            place="header Content-Type",
            remedy="Send the files as multipart/form-data with a boundary.",
        )
    return boundary


def _decode(data: bytes) -> str:
    """Decode text a client sent: UTF-8, else Latin-1, which reads any bytes."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")
