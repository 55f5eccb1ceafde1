"""What is signed, in words. The person may write their own; these say what it is and what it is not."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from typing import Any, Literal

from api.actor import Role
from api.errors import Fault, InvalidError

Subject = Literal["findings", "decision"]

ROLE_OF: dict[Subject, Role] = {"findings": Role.INSPECTOR, "decision": Role.PLANNER}
SUBJECT_OF: dict[str, Subject] = {str(role): subject for subject, role in ROLE_OF.items()}

_ATTACHMENT = (
    "This record is an attachment: it is not the maintenance entry, and it releases nothing to service."
)
DEFAULT_STATEMENTS: dict[Subject, str] = {
    "findings": (
        "I inspected the structure named here as far as this survey shows it as seen, and the photos, "
        f"marks, depths and readings recorded here are what I found. {_ATTACHMENT}"
    ),
    "decision": (
        "I went through the findings recorded here and decided what is to be done with each member as "
        f"stated here, under the data cited. {_ATTACHMENT}"
    ),
}

# 14 CFR 43.9 and 43.11: that belongs into the maintenance entry, which this is only attached to.
_RELEASE = re.compile(r"air\s*-?\s*worth", re.IGNORECASE)


@dataclass(frozen=True)
class Typed:
    """What a person typed when signing; nothing of it is looked up."""

    name: str
    statement: str
    place: str
    date: str
    certificate_number: str = ""
    certificate_kind: str = ""

    def document(self) -> dict[str, Any]:
        """Return it as it is stored."""
        return asdict(self)


def check_typed(typed: Typed) -> None:
    """Check what was typed.

    Raises
    ------
    InvalidError
        If a part that a signature needs is empty, or the statement speaks of airworthiness.
    """
    empty = [name for name in ("name", "statement", "place", "date") if not getattr(typed, name).strip()]
    faults = [Fault(path=f"body.{name}", message="it is empty", value="") for name in empty]
    said = _RELEASE.search(typed.statement)
    if said:
        message = "it speaks of airworthiness, which belongs into the maintenance entry"
        faults.append(Fault(path="body.statement", message=message, value=said.group()))
    if faults:
        raise InvalidError(
            f"{faults[0]['path']}: {faults[0]['message']}.",
            remedy="Correct the fields listed under 'errors'; this record is an attachment, not the entry.",
            faults=faults,
        )
