"""The switches for theme and unit: two cookies, set by a plain form."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form
from fastapi.responses import RedirectResponse

from api.pages.templating import THEME_COOKIE, THEMES, UNITS, UNITS_COOKIE

router = APIRouter()
YEAR = 365 * 24 * 3600


@router.post("/preferences")
def set_preferences(
    back: Annotated[str, Form()] = "/",
    theme: Annotated[str, Form()] = "",
    units: Annotated[str, Form()] = "",
) -> RedirectResponse:
    """Keep a person's choice of theme or unit and go back to the page it was made on."""
    response = RedirectResponse(local_path(back), 303)
    if theme in THEMES:
        response.set_cookie(THEME_COOKIE, theme, max_age=YEAR, httponly=True, samesite="lax")
    if units in UNITS:
        response.set_cookie(UNITS_COOKIE, units, max_age=YEAR, httponly=True, samesite="lax")
    return response


def local_path(back: str) -> str:
    """Return `back` if it is a path of this service, else the start page: never another site."""
    plain = back.startswith("/") and not back.startswith(("//", "/\\"))
    return back if plain and back.isprintable() else "/"
