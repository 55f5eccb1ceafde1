"""Sessions and tokens end when they should; guessing is slowed down and locks nobody out."""

from __future__ import annotations

import hashlib
import shutil
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import text

from api.actor import Role
from api.errors import ConflictError, InvalidError, NotFoundError, NotSignedInError, TooManyTriesError
from api.people.accounts import Details
from api.people.passwords import Passwords
from api.people.service import People
from api.people.sessions import Browser
from tests.api.people.people import HERE, PASSWORD, Clock, opened, with_everybody

NEW = "eight green washers on a string"
ELSEWHERE = Browser("198.51.100.7", "elsewhere")


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a database with one person of every kind, to be copied."""
    path = tmp_path_factory.mktemp("template") / "a.sqlite3"
    database, made = opened(f"sqlite:///{path}")
    with_everybody(made)
    database.close()
    return path


@pytest.fixture
def url(template: Path, tmp_path: Path) -> str:
    """Give the URL of a database of the test's own, with one person of every kind."""
    return f"sqlite:///{shutil.copy(template, tmp_path)}"


@pytest.fixture
def clock() -> Clock:
    """Give a clock."""
    return Clock()


@pytest.fixture
def people(url: str, clock: Clock) -> Iterator[People]:
    """Give people: one of every kind."""
    database, made = opened(url, clock, session_idle_minutes=60, session_hours=10)
    yield made
    database.close()


def fail(people: People, times: int, name: str = "inspector", browser: Browser = HERE) -> None:
    """Fail to sign in, a number of times in a row."""
    for _ in range(times):
        with pytest.raises(NotSignedInError):
            people.sessions.sign_in(name, "a wrong guess at it", browser)


def test_a_session_ends_when_nobody_uses_it(people: People, clock: Clock) -> None:
    """An hour without a request ends a session of an idle limit of an hour; requests keep it."""
    secret = people.sessions.sign_in("inspector", PASSWORD, HERE)
    for _ in range(3):
        clock.forward(minutes=59)
        assert people.sessions.identify(secret) is not None
    clock.forward(minutes=60)
    assert people.sessions.identify(secret) is None


def test_a_session_ends_however_much_it_is_used(people: People, clock: Clock) -> None:
    """Ten hours after the sign-in it is over, in spite of a request every half hour."""
    secret = people.sessions.sign_in("inspector", PASSWORD, HERE)
    for _ in range(19):
        clock.forward(minutes=30)
        assert people.sessions.identify(secret) is not None
    clock.forward(minutes=30)
    assert people.sessions.identify(secret) is None


def test_the_database_holds_no_secret(people: People, url: str) -> None:
    """Neither password nor the secret of a session or token is in the database, only hashes."""
    secret = people.sessions.sign_in("inspector", PASSWORD, HERE)
    token, _ = people.tokens.make(people.accounts.named("inspector").id, "export", "read", 1)
    kept = Path(url.removeprefix("sqlite:///"))
    stored = b"".join(path.read_bytes() for path in kept.parent.iterdir())
    for given in (secret, token, PASSWORD):
        assert given.encode() not in stored
    assert hashlib.sha256(secret.encode()).hexdigest().encode() in stored


def test_every_sign_in_makes_a_new_secret(people: People) -> None:
    """A secret that the browser had before, perhaps planted, is worth nothing after the sign-in."""
    before = people.sessions.sign_in("inspector", PASSWORD, HERE)
    after = people.sessions.sign_in("Inspector ", PASSWORD, HERE, before=before)
    assert after != before
    assert people.sessions.identify(before) is None
    assert people.sessions.identify(after) is not None


def test_a_new_password_ends_every_session_and_rotates_this_one(people: People) -> None:
    """After a change the other browsers are out, this one has a new secret, the old password is void."""
    other = people.sessions.sign_in("inspector", PASSWORD, ELSEWHERE)
    secret = people.sessions.sign_in("inspector", PASSWORD, HERE)
    identity = people.sessions.identify(secret)
    assert identity is not None
    with pytest.raises(InvalidError, match="present password"):
        people.sessions.change_password(identity, "not the old one", NEW, HERE)
    with pytest.raises(InvalidError, match="the old one"):
        people.sessions.change_password(identity, PASSWORD, PASSWORD, HERE)
    renewed = people.sessions.change_password(identity, PASSWORD, NEW, HERE)
    assert [people.sessions.identify(one) for one in (other, secret)] == [None, None]
    assert people.sessions.identify(renewed) is not None
    fail(people, 1)
    with pytest.raises(NotSignedInError):
        people.sessions.sign_in("inspector", PASSWORD, HERE)


def test_sessions_end_one_by_one_and_everywhere(people: People) -> None:
    """A person ends one session or all; nobody ends another's by its id."""
    first, second, third = (people.sessions.sign_in("planner", PASSWORD, HERE) for _ in range(3))
    mine = people.accounts.named("planner").id
    doors = [people.sessions.identify(one) for one in (first, second)]
    assert doors[0] is not None
    assert doors[1] is not None
    people.sessions.end(mine, doors[0].door)
    assert people.sessions.identify(first) is None
    assert len(people.sessions.of(mine)) == 2
    with pytest.raises(NotFoundError):
        people.sessions.end(people.accounts.named("clerk").id, doors[1].door)
    people.accounts.sign_out(mine, keep=doors[1].door)
    assert people.sessions.identify(second) is not None
    assert people.sessions.identify(third) is None
    people.accounts.sign_out(mine)
    assert people.sessions.of(mine) == []


def test_a_disabled_account_is_out_at_once(people: People) -> None:
    """Sessions and tokens of a disabled person end with the next request, and enabling revives none."""
    row = people.accounts.named("clerk")
    secret = people.sessions.sign_in("clerk", PASSWORD, HERE)
    token, _ = people.tokens.make(row.id, "export", "write", 30)
    people.accounts.disable(row.id)
    assert people.sessions.identify(secret) is None
    assert people.tokens.identify(token) is None
    with pytest.raises(NotSignedInError, match="disabled"):
        people.sessions.sign_in("clerk", PASSWORD, HERE)
    people.accounts.enable(row.id)
    assert people.sessions.identify(secret) is None
    assert people.tokens.identify(token) is None
    assert people.sessions.sign_in("clerk", PASSWORD, HERE)


def test_roles_count_from_the_next_request(people: People) -> None:
    """A role taken away is gone from sessions that stand; the last administrator keeps the role."""
    row = people.accounts.named("planner")
    secret = people.sessions.sign_in("planner", PASSWORD, HERE)
    people.accounts.change(row.id, row.version, Details("P", frozenset({Role.CLERK})))
    identity = people.sessions.identify(secret)
    assert identity is not None
    assert identity.actor.roles == {Role.CLERK}
    chief = people.accounts.named("administrator")
    with pytest.raises(ConflictError, match="last administrator"):
        people.accounts.change(chief.id, chief.version, Details("A", frozenset({Role.CLERK})))
    with pytest.raises(ConflictError, match="last administrator"):
        people.accounts.disable(chief.id)


def test_a_token_ends_and_can_be_revoked(people: People, clock: Clock) -> None:
    """A token is good until its last day or until revoked, by its owner only; what it is for is checked."""
    mine = people.accounts.named("inspector").id
    token, row = people.tokens.make(mine, "nightly export", "read", 30)
    clock.forward(days=30, seconds=-1)
    identity = people.tokens.identify(token)
    assert identity is not None
    assert not identity.may_write
    clock.forward(seconds=1)
    assert people.tokens.identify(token) is None
    second, row = people.tokens.make(mine, "second", "write", 1)
    with pytest.raises(NotFoundError):
        people.tokens.revoke(people.accounts.named("clerk").id, row.id)
    people.tokens.revoke(mine, row.id)
    assert people.tokens.identify(second) is None
    for bad in (("", "read", 1), ("x", "all", 1), ("x", "read", 0), ("x", "read", 367)):
        with pytest.raises(InvalidError):
            people.tokens.make(mine, *bad)


def test_guessing_gets_slower_and_slower(people: People, clock: Clock) -> None:
    """After five failures from one place the wait doubles with each, up to a quarter of an hour."""
    fail(people, 5)
    waits = []
    for _ in range(14):
        with pytest.raises(TooManyTriesError) as caught:
            people.sessions.sign_in("inspector", PASSWORD, HERE)
        waits.append(caught.value.seconds)
        clock.forward(seconds=caught.value.seconds)
        fail(people, 1)
    assert waits[:8] == [1, 2, 4, 8, 16, 32, 64, 128]
    assert max(waits) == 900


def test_many_guesses_at_once_gain_nothing(people: People) -> None:
    """Of twelve guesses sent at the same moment five are looked at, as if they had come one by one."""

    def guess(number: int) -> type[Exception]:
        with pytest.raises((NotSignedInError, TooManyTriesError)) as caught:
            people.sessions.sign_in("inspector", f"a wrong guess {number}", HERE)
        return caught.type

    with ThreadPoolExecutor(12) as pool:
        answers = Counter(pool.map(guess, range(12)))
    assert answers == {NotSignedInError: 5, TooManyTriesError: 7}


def test_nobody_is_locked_out_for_good(people: People, clock: Clock) -> None:
    """While somebody guesses from elsewhere for hours, the owner comes in after half a minute at most."""
    for _ in range(60):
        try:
            fail(people, 1, browser=ELSEWHERE)
        except TooManyTriesError as error:
            clock.forward(seconds=error.seconds)
    clock.forward(seconds=30)
    assert people.sessions.sign_in("inspector", PASSWORD, HERE)
    clock.forward(minutes=15)
    assert people.sessions.sign_in("inspector", PASSWORD, ELSEWHERE)


def test_a_restart_forgives_nobody(people: People, url: str, clock: Clock) -> None:
    """The failures are in the database: another process, or the next, counts on from them."""
    fail(people, 5)
    database, restarted = opened(url, clock)
    with pytest.raises(TooManyTriesError):
        restarted.sessions.sign_in("inspector", PASSWORD, HERE)
    database.close()


def test_one_address_cannot_try_everybody(people: People) -> None:
    """Guesses at many accounts from one address are counted together; IPv6 neighbours are one address."""
    for number in range(30):
        fail(people, 1, name=f"guess{number}", browser=Browser(f"2001:db8:0:1::{number:x}"))
    with pytest.raises(TooManyTriesError):
        people.sessions.sign_in("clerk", PASSWORD, Browser("2001:db8:0:1::ffff"))
    assert people.sessions.sign_in("inspector", PASSWORD, Browser("2001:db8:0:2::1"))


def test_an_unknown_name_tells_nothing(people: People, monkeypatch: pytest.MonkeyPatch) -> None:
    """For a name without an account a password is hashed all the same, and the answer is word for word."""
    looked: list[object] = []
    original = Passwords.matches

    def matches(self: Passwords, password: str, kept: str | None) -> tuple[bool, str | None]:
        looked.append(kept)
        return original(self, password, kept)

    monkeypatch.setattr(Passwords, "matches", matches)
    with pytest.raises(NotSignedInError) as known:
        people.sessions.sign_in("inspector", "a wrong guess at it", HERE)
    assert looked != [None]
    names = ("nobody", "", "\ud800", "a\0b", "x" * 100_000, "'; --")
    for number, name in enumerate(names):
        with pytest.raises(NotSignedInError) as unknown:
            people.sessions.sign_in(name, PASSWORD, Browser(f"198.51.100.{number}"))
        assert str(unknown.value) == str(known.value)
    assert looked[1:] == [None] * len(names)


def test_the_first_account_is_an_administrator(tmp_path: Path) -> None:
    """Without an administrator nobody could let others in; the refusal names the command."""
    database, people = opened(f"sqlite:///{tmp_path / 'new.sqlite3'}")
    with pytest.raises(InvalidError, match="corrosion people add"):
        people.accounts.add("inga", Details("Inga"), PASSWORD, must_change=False)
    assert not people.accounts.exist()
    database.close()


def test_a_name_that_cannot_be_typed_is_refused(people: People) -> None:
    """Names are short and without spaces, slashes and control characters; taken ones are refused."""
    for name in ("", " ", "in ga", "a/b", "-x", "x" * 65, "a\nb", "\ud800"):
        with pytest.raises(InvalidError):
            people.accounts.add(name, Details("X"), PASSWORD, must_change=False)
    with pytest.raises(ConflictError, match="taken"):
        people.accounts.add("Inspector", Details("X"), PASSWORD, must_change=False)


def test_people_are_kept_on_postgresql_too(postgresql: str, clock: Clock) -> None:
    """Sign-in, throttle, tokens and the ends of sessions work the same on PostgreSQL."""
    database, people = opened(postgresql, clock)
    with_everybody(people)
    secret = people.sessions.sign_in("inspector", PASSWORD, HERE)
    assert people.sessions.identify(secret) is not None
    token, _ = people.tokens.make(people.accounts.named("inspector").id, "export", "write", 3)
    assert people.tokens.identify(token) is not None
    fail(people, 5)
    with pytest.raises(TooManyTriesError):
        people.sessions.sign_in("inspector", PASSWORD, HERE)
    people.accounts.set_password(people.accounts.named("inspector").id, NEW, must_change=True)
    assert people.sessions.identify(secret) is None
    assert people.tokens.identify(token) is None
    with database.reading() as session:
        assert session.scalar(text("SELECT count(*) FROM accounts")) == 5
    database.close()
