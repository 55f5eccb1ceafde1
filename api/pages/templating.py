"""Templates, the addresses of bundled files, and numbers in the unit a person chose."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Literal

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from api.actor import Actor
from api.people.lacks import CHANGES, lacked_for
from api.people.sessions import LOCALLY, Identity
from corrosion.quantity import Measured
from corrosion.report.numbers import chance_text, length_text, percent_text, place_text, shown
from corrosion.report.words import KIND_WORDS, verdict_words
from corrosion.terms import FLAG_MEANING, Verdict
from corrosion.units import LengthUnit

HERE = Path(__file__).parent
STATIC = HERE.parent / "static"

Theme = Literal["system", "light", "dark"]
THEMES: tuple[Theme, ...] = ("system", "light", "dark")
UNITS: tuple[LengthUnit, ...] = ("mm", "in")
THEME_COOKIE = "theme"
UNITS_COOKIE = "units"
HINTS_COOKIE = "hints"

VERDICT_CLASS: dict[Verdict, str] = {
    Verdict.WITHIN: "within",
    Verdict.TOO_CLOSE: "close",
    Verdict.OVER: "over",
    Verdict.NOT_DETERMINED: "unknown",
}


@dataclass(frozen=True)
class Display:
    """How one person wants to see the pages.

    Attributes
    ----------
    theme : str
        ``system`` follows the browser.
    units : str
        Unit of every length shown.
    chosen : bool
        Whether the unit was chosen here, or is the survey's own.
    put_away : frozenset of str
        Hints this person has closed.
    """

    theme: Theme
    units: LengthUnit
    chosen: bool
    put_away: frozenset[str] = frozenset()

    def thickness(self, value_mm: float | None) -> str:
        """Write a thickness, without its unit."""
        return length_text(value_mm, self.units)

    def place(self, value_mm: float | None) -> str:
        """Write a station or offset, without its unit."""
        return "-" if value_mm is None else place_text(value_mm, self.units)

    def measured(self, value: Measured | None, *, thickness: bool = False) -> str:
        """Write a measured value with its expanded uncertainty and unit."""
        return "-" if value is None else shown(value, self.units, thickness=thickness).text

    def bare(self, value: Measured | None, *, thickness: bool = False) -> str:
        """Write a measured value with its expanded uncertainty; the unit stands in the table's head."""
        return "-" if value is None else shown(value, self.units, thickness=thickness).number


def display_of(request: Request, own: LengthUnit | None = None) -> Display:
    """Read a person's choices from the cookies; `own` is the survey's display unit."""
    theme = request.cookies.get(THEME_COOKIE)
    units = request.cookies.get(UNITS_COOKIE)
    return Display(
        theme=theme if theme in THEMES else "system",
        units=units if units in UNITS else own or "mm",
        chosen=units in UNITS,
        put_away=frozenset(request.cookies.get(HINTS_COOKIE, "").split(".")),
    )


def render(
    request: Request, template: str, *, status: int = 200, display: Display | None = None, **values: Any
) -> HTMLResponse:
    """Fill in a template.

    Parameters
    ----------
    display : Display, optional
        Made from the request's cookies if not given.
    **values
        Names the template uses; ``display``, ``here`` (the page's own address), ``person`` (who is signed
        in; None where nobody has to be), ``lacks`` (the role that a change takes and this person has not,
        by a name of `api.people.lacks`; empty if they may) and ``asset`` are added.
    """
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    person = _person(request)
    text = (
        _environment()
        .get_template(template)
        .render(
            display=display or display_of(request),
            here=here,
            person=person,
            lacks=partial(_lacks, person),
            **values,
        )
    )
    # Personal and changing: never kept by a shared cache, always asked for again.
    return HTMLResponse(text, status, {"Cache-Control": "private, no-cache", "Vary": "Cookie"})


def _person(request: Request) -> Actor | None:
    identity: Identity | None = getattr(request.state, "identity", None)
    return None if identity is None or identity is LOCALLY else identity.actor


def _lacks(person: Actor | None, what: str) -> str:
    return "" if person is None or what not in CHANGES else lacked_for(what, person.roles)


@lru_cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["asset"] = asset
    environment.filters.update(
        percent=percent_text,
        chance=chance_text,
        verdict_words=verdict_words,
        verdict_class=VERDICT_CLASS.__getitem__,
        kind_words=KIND_WORDS.__getitem__,
        flag_meaning=FLAG_MEANING.__getitem__,
    )
    return environment


def bundle_is_built() -> bool:
    """Whether the style sheet and scripts are there."""
    return (STATIC / "style.css").is_file()


def asset(name: str) -> str:
    """Address of a bundled file, with its hash so that a browser may keep it."""
    path = STATIC / name
    if not path.is_file():
        return f"/static/{name}"
    return f"/static/{name}?v={_digest(path, path.stat().st_mtime_ns)}"


@lru_cache(maxsize=64)
def _digest(path: Path, changed: int) -> str:
    """Short hash of a file; `changed` makes a rebuilt bundle get another one."""
    del changed
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]
