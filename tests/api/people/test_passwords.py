"""Which passwords are taken, and how they are kept."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.errors import InvalidError
from api.people.passwords import LEAST, MOST, Passwords, check_password, generated
from tests.api.people.people import cheap


@pytest.mark.parametrize(
    "password",
    [
        "correct horse battery",
        "väljaspool sõidab rong",
        "no digits and no signs needed",
        "電車が橋を渡って海の方へ走っていく",
        "x" * 8 + "abq 7£ é" * 31,
    ],
)
def test_length_is_what_counts(password: str) -> None:
    """Words of any script and with spaces are taken, up to 256 characters (the standard asks for 64)."""
    assert MOST >= 64
    check_password(password, "inga", "Inga Mäkelä")


@pytest.mark.parametrize(
    ("password", "reason"),
    [
        # source: NIST SP 800-63B-4, 3.1.1.2 (from memory): at least 15 where it is the only factor.
        ("fourteen chars", f"14 characters; at least {LEAST}"),
        ("e\u0301" * 14, "14 characters"),
        ("q7" * 200, f"at most {MOST}"),
        ("abababababababab", "repeats"),
        ("inga mäkelä inga mäkelä", "little more than a name"),
        ("corrosion survey corrosion", "little more"),
        ("1234567890123456789", "little more"),
        ("Password123456789", "little more"),
        ("qwertyuiopasdfghjkl", "little more"),
        ("a line\nbreak in the middle", "cannot be typed"),
    ],
)
def test_what_is_tried_first_is_refused(password: str, reason: str) -> None:
    """Short, repeated and well-known passwords are refused with the reason, and never repeated in it."""
    with pytest.raises(InvalidError) as caught:
        check_password(password, "inga", "Inga Mäkelä")
    assert reason in str(caught.value)
    assert password not in str(caught.value)


def test_only_argon2id_hashes_are_kept() -> None:
    """What is stored is an argon2id hash with a salt of its own, at RFC 9106's second cost or more."""
    passwords = Passwords()
    kept = passwords.hashed("correct horse battery")
    assert kept.startswith("$argon2id$v=19$")
    # source: RFC 9106, section 4, second recommended option: t = 3, m = 64 MiB, p = 4.
    costs = dict(part.split("=") for part in kept.split("$")[3].split(","))
    assert int(costs["m"]) >= 64 * 1024
    assert int(costs["t"]) >= 3
    assert passwords.matches("correct horse battery", kept) == (True, None)
    assert cheap().hashed("correct horse battery") != cheap().hashed("correct horse battery")


def test_a_hash_at_older_costs_is_renewed() -> None:
    """Where the costs were raised since, the right password brings a new hash, the wrong one none."""
    older = cheap().hashed("correct horse battery")
    ok, renewed = Passwords().matches("correct horse battery", older)
    assert ok
    assert renewed is not None
    assert cheap().matches("wrong", older) == (False, None)


@given(st.text(max_size=40), st.text(max_size=40))
@settings(max_examples=40, deadline=None)
def test_a_password_matches_itself_only(one: str, other: str) -> None:
    """Any text, half characters too, matches its own hash and no other text's."""
    passwords = cheap()
    kept = passwords.hashed(one)
    assert passwords.matches(one, kept)[0]
    assert passwords.matches(one + "x", kept)[0] is False
    assert passwords.matches(other, None) == (False, None)


def test_however_a_letter_is_composed_it_is_the_same() -> None:
    """A password typed with combining accents or wide spaces on another keyboard is the same one."""
    kept = cheap().hashed("caf\u00e9 au lait \u00e0 midi")
    assert cheap().matches("cafe\u0301 au\u2003lait a\u0300 midi", kept)[0]


def test_a_first_password_can_be_told_and_is_taken() -> None:
    """First passwords pass the rules, differ, and hold no letters that look or sound alike."""
    made = {generated() for _ in range(50)}
    assert len(made) == 50
    for password in made:
        check_password(password, "inga")
        assert not set(password) & set("ilo01")
