"""How the pages word roles and browsers."""

from __future__ import annotations

from collections.abc import Iterable

from api.actor import Role

ROLE_MEANING: dict[Role, str] = {
    Role.INSPECTOR: "photos, marks, depths, rework on record, structures; signs findings",
    Role.PLANNER: "blend plans, rules, decisions, bench cards; signs decisions",
    Role.CLERK: "seals, archives and keeps records",
    Role.ADMINISTRATOR: "manages people, and may do all of the above",
}

# The first that a browser's own words contain: later ones often name earlier ones too.
BROWSERS = (("Edg", "Edge"), ("Firefox", "Firefox"), ("Chrome", "Chrome"), ("Safari", "Safari"))
SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS", "macOS"),
    ("Linux", "Linux"),
)


def role_words(roles: Iterable[Role]) -> str:
    """List roles in their order; without any a person may read only."""
    held = set(roles)
    return ", ".join(role for role in Role if role in held) or "may read only"


def browser_words(agent: str) -> str:
    """Say in a few words what a browser calls itself, as a help to know one's own again."""
    browser = next((words for part, words in BROWSERS if part in agent), "")
    system = next((words for part, words in SYSTEMS if part in agent), "")
    return " on ".join(filter(None, (browser, system))) or agent[:40] or "unknown"
