"""Text to words: what a person types finds what another wrote, and is never read as an instruction."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from api.search.words import (
    LONGEST_WORD,
    MARK,
    MOST_TERMS,
    Group,
    fact,
    fold,
    highlighted,
    index_words,
    one_of,
    typed_groups,
)

TEXTS = st.text(max_size=120)


def found(text: str, groups: list[Group]) -> bool:
    """Whether an entry of a text fits, by the definition of a phrase."""
    words = index_words([text])
    return all(any(phrase.pattern in words for phrase in group) for group in groups)


@given(TEXTS)
@example('"NEAR(a b)" OR * ^ : - NOT AND {x}')
@example("Ⅻ ½ ﬁn İı ẞß \x00 \ud800 §a §zone")
def test_a_text_is_found_by_itself_and_by_what_it_folds_to(text: str) -> None:
    """Whatever stands in a note, typing it in again finds it, with or without its accents and case."""
    assert found(text, typed_groups(text))
    assert found(text, typed_groups(fold(text)))


@given(TEXTS)
def test_words_hold_only_letters_and_digits(text: str) -> None:
    """No operator, quote or mark of a fact survives: the databases' query languages have none without."""
    for group in typed_groups(text):
        for phrase in group:
            for word in phrase.words:
                assert 0 < len(word) <= LONGEST_WORD
                assert all(unicodedata.category(character)[0] in "LN" for character in word)
    assert MARK not in index_words([text])


@given(TEXTS, st.text(max_size=30))
def test_highlighting_loses_no_character(text: str, typed: str) -> None:
    """The marked and unmarked parts put together are the text, character by character."""
    assert "".join(part for part, _ in highlighted(text, typed_groups(typed))) == text


@pytest.mark.parametrize(
    ("written", "typed"),
    [
        ("near AN470-AD4-5 rivet", "an470-ad4"),
        ("near AN470-AD4-5 rivet", "an470ad45"),
        ("near AN470-AD4-5 rivet", "AN470 AD4"),
        ("part 65.12345-3", "65-12345-3"),
        ("part 6512345", "65123"),
        ("IMG_0042.jpg", "img_0042.jpg"),
        ("station 340B+10.25", "340b+10.25"),
        ("Søren Ågren, Œuvre", "soren agren oeuvre"),
        ("U\u0308berlappung", "überlapp"),
        ("straße", "STRASSE"),
        ("blend 3 deep", "3"),
    ],
)
def test_part_numbers_names_and_stations_are_found_as_people_write_them(written: str, typed: str) -> None:
    """Separators, accents and case differ between the one who writes and the one who looks."""
    assert found(written, typed_groups(typed))


@pytest.mark.parametrize(
    ("written", "typed"),
    [
        ("near AD4 AN470 rivet", "an470-ad4"),  # pieces of one number stand next to each other, in order
        ("blend 31 deep", "3"),  # one character is a whole word, not the beginning of everything
        ("pitch", "pits"),
        ("first look", "look last"),
    ],
)
def test_other_things_are_not_found(written: str, typed: str) -> None:
    """A search narrows: each typed run must be there as it was typed."""
    assert not found(written, typed_groups(typed))


def test_a_fact_is_not_found_by_text() -> None:
    """The zone's word is of another kind than the typed one: 334 in a note is not the zone 334."""
    words = index_words(["crack length 334"], [fact("z", "331")])
    assert one_of("z", ["331"])[0].pattern in words
    assert one_of("z", ["33"], prefix=True)[0].pattern in words
    assert one_of("z", ["334"])[0].pattern not in words


def test_words_after_the_twelfth_only_stop_narrowing() -> None:
    """A pasted page is still a search; what is left out cannot hide anything."""
    assert len(typed_groups("word " * 500)) == MOST_TERMS


def test_the_place_asked_for_is_marked() -> None:
    """Each word that made the entry a result is marked as it is written, accents and separators kept."""
    parts = highlighted("Überlappung at AN470-AD4, not AN470", typed_groups("uber an470-ad4"))
    assert [part for part, hit in parts if hit] == ["Überlappung", "AN470", "AD4"]
    joined = highlighted("AN470-AD4-5 at AN470 AD4", typed_groups("an470ad4"))
    assert [part for part, hit in joined if hit] == ["AN470", "AD4"]
