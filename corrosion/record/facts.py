"""What stands beside a survey in its record: who signed, who sealed, what it revises and carries.

The service fills these from its store; the report prints them and the archive keeps them as JSON. The
survey file itself holds none of it: signing a survey must not change the bytes that are signed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass

from corrosion.errors import RecordError

Json = dict[str, Any]

FACTS_FORMAT: Final = "corrosion-record-facts"
FACTS_VERSION: Final = 1

_STRICT = ConfigDict(extra="forbid")
_Text = Annotated[str, Field(max_length=4000)]


@dataclass(frozen=True, config=_STRICT)
class Signature:
    """A person's name under a statement, as typed.

    Attributes
    ----------
    role : str
        What the person signed as: ``inspector`` signs the findings, ``planner`` the decision.
    name, certificate_number, certificate_kind : str
        As the person gave them; the program looks nothing up.
    statement : str
        What was signed, word for word.
    place : str
        Where it was signed.
    date : str
        The date the person gave, ISO 8601 (``2031-04-17``).
    signed_at : str
        When the program took the signature: ISO 8601 with an offset, UTC.
    """

    role: _Text
    name: _Text
    certificate_number: _Text = ""
    certificate_kind: _Text = ""
    statement: _Text = ""
    place: _Text = ""
    date: _Text = ""
    signed_at: _Text = ""


@dataclass(frozen=True, config=_STRICT)
class Seal:
    """The clerk's seal: from `at` on the survey is what `digest` says.

    Attributes
    ----------
    by : str
        Name of who sealed.
    at : str
        ISO 8601 with an offset, UTC.
    digest : str
        SHA-256 of the frozen survey file's bytes, 64 hexadecimal digits.
    """

    by: _Text
    at: _Text
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


@dataclass(frozen=True, config=_STRICT)
class HistoryHead:
    """Newest entry of the history when the facts were taken: its number and its hash (hexadecimal)."""

    seq: Annotated[int, Field(ge=0)]
    hash: _Text


@dataclass(frozen=True, config=_STRICT)
class Cited:
    """Another survey that this one builds on.

    Attributes
    ----------
    survey : str
        Its id.
    name : str
        Its name.
    revision : int
        Which revision of it, from 1.
    digest : str
        SHA-256 of its frozen file; empty where it was not sealed.
    """

    survey: _Text
    name: _Text = ""
    revision: Annotated[int, Field(ge=1)] = 1
    digest: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = ""


@dataclass(frozen=True, config=_STRICT)
class RecordFacts:
    """Everything a record says about a survey that the survey file does not.

    Attributes
    ----------
    signatures : tuple of Signature
        In the order they were given.
    seal : Seal or None
        None while the survey is a draft.
    revision : int
        1 for the first; a correction of a sealed survey has one more than what it `revises`.
    revises : Cited or None
        The sealed survey this one corrects.
    revision_reason : str
        Why it was corrected.
    no_decision : str
        Why no planner signed a decision, where the survey was sealed without one.
    history_head : HistoryHead or None
        None where no history is kept (a survey file on its own).
    carried_from : Cited or None
        The earlier survey whose removals were carried in as earlier rework.
    """

    signatures: tuple[Signature, ...] = ()
    seal: Seal | None = None
    revision: Annotated[int, Field(ge=1)] = 1
    revises: Cited | None = None
    revision_reason: _Text = ""
    no_decision: _Text = ""
    history_head: HistoryHead | None = None
    carried_from: Cited | None = None

    @property
    def sealed(self) -> bool:
        """Whether a clerk has sealed the survey."""
        return self.seal is not None


@dataclass(frozen=True, config=_STRICT)
class _Document:
    format: Literal["corrosion-record-facts"]
    version: Literal[1]
    facts: RecordFacts


_DOCUMENT: Final = TypeAdapter(_Document)


def facts_json(facts: RecordFacts) -> Json:
    """Write facts as plain JSON values, with format name and version; `facts_from_json` reads them back."""
    written: Json = _DOCUMENT.dump_python(_Document(FACTS_FORMAT, FACTS_VERSION, facts), mode="json")
    return written


def facts_from_json(value: Mapping[str, Any]) -> RecordFacts:
    """Read what `facts_json` wrote.

    Raises
    ------
    RecordError
        If a field is missing, unknown or of the wrong kind; the message names the first such field.
    """
    try:
        return _DOCUMENT.validate_python(dict(value)).facts
    except (ValidationError, TypeError, ValueError) as error:
        raise RecordError(
            f"the record's facts cannot be read: {_first(error)}.",
            remedy="Take the facts as the program wrote them; a changed record is not to be trusted.",
        ) from error


def _first(error: Exception) -> str:
    if not isinstance(error, ValidationError):
        return str(error)
    details = error.errors(include_url=False, include_context=False, include_input=False)[0]
    return f"{'.'.join(str(part) for part in details['loc']) or 'the whole'}: {details['msg']}"
