"""Plain words and symbols for verdicts, flags and quantities; a verdict is never told by colour alone."""

from __future__ import annotations

from collections.abc import Iterable

from corrosion.terms import FLAG_MEANING, Flag, MarkKind, Verdict

VERDICT_SYMBOL: dict[Verdict, str] = {
    Verdict.WITHIN: "✓",
    Verdict.TOO_CLOSE: "≈",
    Verdict.OVER: "✗",
    Verdict.NOT_DETERMINED: "?",
}

VERDICT_STYLE: dict[Verdict, str] = {
    Verdict.WITHIN: "green",
    Verdict.TOO_CLOSE: "yellow",
    Verdict.OVER: "bold red",
    Verdict.NOT_DETERMINED: "magenta",
}
"""Styles of the terminal tables."""

KIND_WORDS: dict[MarkKind, str] = {
    MarkKind.PIT: "pit",
    MarkKind.BLEND_OUT: "blend-out",
    MarkKind.AFFECTED: "affected area",
    MarkKind.CLEAR: "clear area",
}

TOTAL_WORDS: dict[str, str] = {
    "pit_area": "all pits",
    "blend_out_area": "all blend-outs",
    "affected_area": "affected area",
    "pit_count": "number of pits",
    "pit_density": "pit density",
    "affected_share": "pitted share of affected area",
}

CAUTION = (
    "This is a measuring aid. It informs a licensed person, who decides under approved data; "
    "it releases nothing to service."
)


def verdict_words(verdict: Verdict) -> str:
    """Write a verdict as symbol and words: ``✗ over limit``."""
    words = "over limit" if verdict is Verdict.OVER else str(verdict)
    words = "within limit" if verdict is Verdict.WITHIN else words
    return f"{VERDICT_SYMBOL[verdict]} {words}"


def flag_words(flags: Iterable[Flag]) -> str:
    """Write flags as short words, in the order of the registry."""
    given = set(flags)
    return ", ".join(str(flag).replace("-", " ") for flag in Flag if flag in given)


def flag_legend(flags: Iterable[Flag]) -> list[tuple[str, str]]:
    """List short words and meaning of every flag in use, in the order of the registry."""
    given = set(flags)
    return [(flag_words([flag]), FLAG_MEANING[flag]) for flag in Flag if flag in given]


def clean(text: str) -> str:
    """Make text fit for a terminal: a name in a file must not move the cursor or ring the bell."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)
