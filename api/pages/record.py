"""The page of a survey's record: who signed, what is missing, the seal, and what follows on it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

import corrosion
from api.actor import Role, current_actor
from api.context import Context, ContextDep
from api.errors import NotFoundError
from api.pages.surveys import survey_frame
from api.pages.templating import render
from api.people.rights import right_of
from api.sealing.records import Record, missing
from api.sealing.statements import DEFAULT_STATEMENTS, ROLE_OF, Subject
from api.sealing.tables import CitationRow
from corrosion.terms import Verdict

router = APIRouter()

STANDING_WORDS = {
    "open": "Open",
    "signed": "Signed, not sealed",
    "sealed": "Sealed",
    "superseded": "Sealed and superseded",
}
SUBJECT_WORDS: dict[Subject, tuple[str, str]] = {
    "findings": ("Findings", "The inspector signs what was found."),
    "decision": ("Decision", "The planner signs what is to be done: blend plan, work list and decision."),
}


@router.get("/surveys/{survey_id}/record")
def record_page(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Show where a survey's record stands, with the forms to sign, seal and go on from it."""
    record = context.records.record(survey_id)
    return render(
        request,
        "record.html",
        **survey_frame(request, record.view),
        record=record,
        standing=STANDING_WORDS[record.standing],
        subjects=[_subject(record, subject) for subject in SUBJECT_WORDS],
        missing=[] if record.seal else missing(record, ""),
        sealable=not record.seal and not missing(record, "a reason"),
        signer=_signer(context),
        may={
            "seal": _may(Role.CLERK, Role.ADMINISTRATOR),
            "follow": _may(Role.INSPECTOR, Role.CLERK, Role.ADMINISTRATOR),
        },
        verdicts=_verdicts(record),
        structure_changed=context.records.structure_changed(survey_id),
        cited={kind: _cited(context, row) for kind, row in record.cites.items()},
        links=_links(survey_id),
    )


def _subject(record: Record, subject: Subject) -> dict[str, Any]:
    """Return what the page shows of one signature and its form."""
    title, words = SUBJECT_WORDS[subject]
    valid = record.valid(subject)
    return {
        "name": subject,
        "title": title,
        "words": words,
        "valid": valid,
        "others": [one for one in record.signatures if one.subject == subject and one is not valid],
        "statement": DEFAULT_STATEMENTS[subject],
        "may": _may(ROLE_OF[subject]),
        "role": str(ROLE_OF[subject]),
    }


def _may(*roles: Role) -> bool:
    return bool(current_actor().roles & set(roles))


def _signer(context: Context) -> dict[str, str]:
    """Return what is known of whoever is signed in, to begin the form with."""
    actor = current_actor()
    if actor.via != "session":
        return {"name": "", "certificate_number": "", "certificate_kind": ""}
    account = context.people.accounts.one(actor.key)
    return {
        "name": account.display_name,
        "certificate_number": account.certificate_number,
        "certificate_kind": account.certificate_kind,
    }


def _verdicts(record: Record) -> dict[str, Any] | None:
    """Return the verdicts that were sealed; None where an archive brought the seal without them."""
    if record.seal is None or not record.seal.results:
        return None
    kept = record.seal.results
    return kept | {
        "verdict": Verdict(kept["verdict"]),
        "members": [one | {"verdict": Verdict(one["verdict"])} for one in kept["members"]],
        "other_program": kept["program"] != corrosion.__version__,
    }


def _cited(context: Context, row: CitationRow) -> dict[str, Any]:
    """Return a citation, and whether the cited survey is here to be opened."""
    try:
        context.services.survey(row.cited_id)
    except NotFoundError:
        return {"row": row, "here": False}
    return {"row": row, "here": True}


def _links(survey_id: str) -> list[tuple[str, str]]:
    """Return the pages beside this one that the service has."""
    offered = [
        ("History", f"/surveys/{survey_id}/history"),
        ("Compare with another survey", f"/surveys/{survey_id}/compare"),
        ("Survey file", f"/api/surveys/{survey_id}/file?hashes=true"),
    ]
    return [(words, path) for words, path in offered if right_of("GET", path.partition("?")[0])]
