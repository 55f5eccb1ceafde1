"""Text to words and typed text to conditions on words: the same on every database.

A text becomes folded words (accents, case and punctuation gone), kept as one string with a space before
and after each word. A filter on a fact (zone, verdict, ...) is a word too, with a mark in front that no
typed text can hold. So a search is nothing but a conjunction of words, and what a person types can never
be read as an instruction to the database.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

MARK = "§"
"""In front of every fact's word. It is punctuation, so `fold` drops it from any text."""

WITHDRAWN = f"{MARK}w"
"""The word of what was withdrawn."""

NOWHERE = MARK
"""A word that no entry has."""

LONGEST_WORD = 64
MOST_TERMS = 12

# Letters that Unicode does not decompose into a base letter and an accent.
_BASES = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "æ": "ae", "œ": "oe", "þ": "th", "ð": "d", "\u0131": "i"}
)

_ASCII = {code: " " for code in range(128) if not chr(code).isalnum()}


@dataclass(frozen=True)
class Phrase:
    """Words next to each other; the last may be the beginning of a longer one (`prefix`)."""

    words: tuple[str, ...]
    prefix: bool = False

    @property
    def pattern(self) -> str:
        """The part of an entry's words that this phrase asks for."""
        return f" {' '.join(self.words)}{'' if self.prefix else ' '}"


Group = tuple[Phrase, ...]
"""Alternatives: one of them must be there. A search is a list of groups that all must hold."""


def fold(text: str) -> str:
    """Return text without accents and case; what is neither letter nor digit becomes a space."""
    if text.isascii():
        return text.lower().translate(_ASCII)
    plain = unicodedata.normalize("NFKD", text).casefold().translate(_BASES)
    # Case folding may bring accents back, as in a dotted capital I.
    kept = (c for c in unicodedata.normalize("NFKD", plain) if unicodedata.category(c) != "Mn")
    return "".join(c if unicodedata.category(c)[0] in "LN" else " " for c in kept)


def _tokens(text: str) -> Iterator[tuple[str, ...]]:
    """Give the pieces of each run of text without white space: ``AN470-AD4.5`` has three."""
    for run in text.split():
        pieces = tuple(piece[:LONGEST_WORD] for piece in fold(run).split())
        if pieces:
            yield pieces


def joined(text: str) -> str:
    """Return a text as one word: serials and part numbers are written with any separators or none."""
    return "".join(fold(text).split())[:LONGEST_WORD]


def index_words(texts: Iterable[str], facts: Iterable[str] = ()) -> str:
    """Turn an entry's texts and facts into its words, each with a space before and after.

    A run such as ``AN470-AD4`` is found as its pieces and as one word.
    """
    runs = [pieces for text in texts for pieces in _tokens(text)]
    plain = [word for pieces in runs for word in pieces]
    whole = dict.fromkeys("".join(pieces)[:LONGEST_WORD] for pieces in runs if len(pieces) > 1)
    return f" {' '.join([*plain, *whole, *dict.fromkeys(facts)])} "


def fact(letter: str, value: str) -> str:
    """Return the word of a fact; `letter` says which fact it is."""
    return f"{MARK}{letter}{joined(value)}"


def typed_groups(text: str) -> list[Group]:
    """Turn typed text into groups: each run is the beginning of a word, with or without separators.

    A single character asks for that word alone: nearly everything begins with some letter. Words after
    the first `MOST_TERMS` are left out; they could only narrow the result.
    """
    return [_alternatives(pieces) for pieces in list(_tokens(text))[:MOST_TERMS]]


def _alternatives(pieces: tuple[str, ...]) -> Group:
    whole = "".join(pieces)[:LONGEST_WORD]
    apart = Phrase(pieces, prefix=len(pieces) > 1 or len(whole) > 1)
    return (apart,) if len(pieces) == 1 else (apart, Phrase((whole,), prefix=True))


def one_of(letter: str, values: Iterable[str], *, prefix: bool = False) -> Group:
    """Return the group that asks for one of some values of a fact."""
    # A value without letters and digits begins nothing.
    return tuple(Phrase((fact(letter, value),), prefix=prefix and bool(joined(value))) for value in values)


def beginning(letter: str, text: str) -> list[Group]:
    """Return groups that ask for each typed word at the beginning of a word of a fact."""
    words = [piece for pieces in _tokens(text) for piece in pieces][:MOST_TERMS]
    return [(Phrase((f"{MARK}{letter}{word}",), prefix=True),) for word in words]


def highlighted(text: str, groups: Iterable[Group]) -> list[tuple[str, bool]]:
    """Split a text into parts and say of each whether the search asked for it."""
    wanted = [
        (phrase.words, phrase.prefix)
        for group in groups
        for phrase in group
        if not phrase.words[0].startswith(MARK)
    ]
    spans = _spans(text)
    hits = [False] * len(spans)
    for place in range(len(spans)):
        for words, prefix in wanted:
            reach = _reach(text, spans, place, words, prefix=prefix)
            hits[place : place + reach] = [True] * reach
    return _parts(text, spans, hits)


def _spans(text: str) -> list[tuple[int, int, str]]:
    """Give begin, end and folded form of each word of a text; a joined part number is several words."""
    spans: list[tuple[int, int, str]] = []
    begin: int | None = None
    for place, character in enumerate([*text, " "]):
        # An accent of its own belongs to the letter before it.
        is_letter = bool(fold(character).strip()) or (
            begin is not None and unicodedata.category(character) == "Mn"
        )
        if is_letter and begin is None:
            begin = place
        elif not is_letter and begin is not None:
            spans.append((begin, place, "".join(fold(text[begin:place]).split())))
            begin = None
    return spans


def _reach(
    text: str, spans: list[tuple[int, int, str]], place: int, words: tuple[str, ...], *, prefix: bool
) -> int:
    """Count the words of a text, from a place on, that a phrase names; 0 if it is not there."""
    here = [span[2][:LONGEST_WORD] for span in spans[place : place + len(words)]]
    if len(here) == len(words) and tuple(here[:-1]) == words[:-1]:
        fits = here[-1].startswith(words[-1]) if prefix else here[-1] == words[-1]
        if fits:
            return len(words)
    return _run_reach(text, spans[place:], words[0]) if prefix and len(words) == 1 else 0


def _run_reach(text: str, spans: list[tuple[int, int, str]], word: str) -> int:
    """Count the pieces of one run, such as a part number, that together begin with a word."""
    whole = ""
    for number, (begin, end, piece) in enumerate(spans, start=1):
        if number > 1 and any(character.isspace() for character in text[spans[number - 2][1] : begin]):
            return 0
        whole += piece
        if whole.startswith(word):
            return number
        if not word.startswith(whole) or end >= len(text):
            return 0
    return 0


def _parts(text: str, spans: list[tuple[int, int, str]], hits: list[bool]) -> list[tuple[str, bool]]:
    parts: list[tuple[str, bool]] = []
    done = 0
    for (begin, end, _), hit in zip(spans, hits, strict=True):
        if hit:
            parts += [(text[done:begin], False), (text[begin:end], True)]
            done = end
    parts.append((text[done:], False))
    return [part for part in parts if part[0]]
