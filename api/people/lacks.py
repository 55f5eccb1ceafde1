"""What whoever is signed in may not change, said on the page before they try it."""

from __future__ import annotations

from collections.abc import Mapping

from api.actor import Role
from api.people.rights import RIGHTS, Right

CHANGES: Mapping[str, tuple[str, str]] = {
    "structures": ("POST", "/api/structures"),
    "limits": ("PUT", "/api/structures/{structure_id}"),
    "surveys": ("POST", "/api/surveys"),
    "photos": ("PATCH", "/api/photos/{photo_id}"),
    "lenses": ("PUT", "/api/surveys/{survey_id}"),
    "rework": ("POST", "/api/surveys/{survey_id}/removals"),
    "plan": ("PUT", "/api/surveys/{survey_id}/planning"),
    "decision": ("PUT", "/api/surveys/{survey_id}/decision"),
    "rules": ("PUT", "/api/surveys/{survey_id}/rules"),
    "worklist": ("POST", "/api/surveys/{survey_id}/worklist/{card}/ticks"),
    "archives": ("POST", "/archives"),
    "retention": ("POST", "/retention/labels"),
}
"""What a page or a part of it changes: the route that its main control uses."""


def role_lacked(right: Right, roles: frozenset[Role]) -> str:
    """Return the role that something takes and a person lacks, empty if they may.

    Parameters
    ----------
    right : Right
        What it takes; any one of its roles is enough.
    roles : frozenset of Role
        Roles of the person.

    Returns
    -------
    str
        Such as ``"inspector or planner"``. An administrator may do everything and is named only where
        nobody else may.
    """
    if not right.roles or right.roles & roles:
        return ""
    named = [role for role in Role if role in right.roles and role is not Role.ADMINISTRATOR]
    return " or ".join(named or [Role.ADMINISTRATOR])


def lacked_for(what: str, roles: frozenset[Role]) -> str:
    """Return the role that a person lacks for changing `what` of `CHANGES`, empty if they may."""
    return role_lacked(RIGHTS[CHANGES[what]], roles)
