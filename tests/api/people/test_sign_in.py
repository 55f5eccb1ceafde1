"""Signing in over HTTP: cookies, where one is sent to, who is acting, and the service without accounts."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from http.cookies import SimpleCookie
from pathlib import Path

import pytest
from sqlalchemy import text

from api.actor import LOCAL, Actor, Role, current_actor
from api.people.accounts import Details
from api.people.service import PLAIN_COOKIE, SECURE_COOKIE
from api.settings import Settings
from tests.api.people.people import HERE, PASSWORD, House, empty_house, house
from tests.api.samples import survey_file

PAGE = {"accept": "text/html", "sec-fetch-dest": "document", "sec-fetch-site": "none"}
FORM = {"name": "inspector", "password": PASSWORD}


def test_the_cookie_is_for_this_service_alone(everybody: House) -> None:
    """No script reads it, no other site's request brings it along, and it holds 256 random bits."""
    answer = everybody.form("/sign-in", FORM)
    assert (answer.status, answer.headers["location"]) == (303, "/")
    (cookie,) = SimpleCookie(answer.headers["set-cookie"]).values()
    assert cookie.key == PLAIN_COOKIE
    assert cookie["httponly"]
    assert cookie["samesite"].lower() == "strict"
    assert (cookie["path"], cookie["domain"]) == ("/", "")
    # source: RFC 4648, section 5: 32 bytes are 43 characters of base64url.
    assert len(cookie.value) == 43
    known = everybody.ask("GET", "/api/me", {"cookie": f"{PLAIN_COOKIE}={cookie.value}"})
    assert json.loads(known.text) == {"name": "Inspector", "roles": ["inspector"], "via": "session"}


def test_beyond_this_machine_the_cookie_goes_over_https_only(tmp_path: Path, cheaply: None) -> None:
    """Where others are let in the cookie is Secure and bound to the host; a setting says otherwise."""
    for settings, secure in (
        ({"host": "192.0.2.4"}, True),
        ({"host": "192.0.2.4", "without_tls": True}, False),
        ({"tls_certificate": tmp_path / "certificate.pem"}, True),
        ({}, False),
    ):
        assert Settings(**settings).secure_cookies is secure
    with empty_house(tmp_path / "open", allowed_hosts=("survey.example",)) as made:
        made.people.accounts.add("ada", Details("A", frozenset(Role)), PASSWORD, must_change=False)
        answer = made.form("/sign-in", {"name": "ada", "password": PASSWORD})
    (cookie,) = SimpleCookie(answer.headers["set-cookie"]).values()
    assert cookie.key == SECURE_COOKIE
    assert cookie["secure"]


@pytest.mark.parametrize(
    ("wanted", "led_to"),
    [
        ("/surveys/x/map?member=SK1", "/surveys/x/map?member=SK1"),
        ("//evil.example/", "/"),
        ("/\\evil.example", "/"),
        ("https://evil.example", "/"),
        ("/\t/evil.example", "/"),
        ("javascript:alert(1)", "/"),
        ("", "/"),
    ],
)
def test_the_way_on_stays_here(everybody: House, wanted: str, led_to: str) -> None:
    """After the sign-in one comes to the page asked for, and never to another site."""
    assert everybody.form("/sign-in", FORM | {"next": wanted}).headers["location"] == led_to


def test_a_page_leads_to_the_form_and_back(everybody: House) -> None:
    """Whoever is not signed in is led to the form, which knows the page; others go straight on."""
    answer = everybody.ask("GET", "/surveys/x/map?member=SK 1&a=b", PAGE)
    assert answer.status == 303
    assert answer.headers["location"] == "/sign-in?next=/surveys/x/map%3Fmember%3DSK%201%26a%3Db"
    form = everybody.ask("GET", answer.headers["location"].replace("%20", "+"), PAGE)
    assert form.status == 200
    assert 'name="next" value="/surveys/x/map?member=SK 1&amp;a=b"' in form.text
    known = everybody.ask("GET", "/sign-in?next=/people", everybody.headers["inspector"])
    assert (known.status, known.headers["location"]) == (303, "/people")


def test_a_link_from_elsewhere_takes_one_more_step(everybody: House) -> None:
    """The strict cookie stays behind on a foreign link; the form is then loaded once more, only once."""
    foreign = PAGE | {"sec-fetch-site": "cross-site"}
    again = "/sign-in?again=1&amp;next=/surveys/x"
    assert again in everybody.ask("GET", "/sign-in?next=/surveys/x", foreign).text
    assert again not in everybody.ask("GET", "/sign-in?next=/surveys/x&again=1", foreign).text
    assert again not in everybody.ask("GET", "/sign-in?next=/surveys/x", PAGE).text


@pytest.mark.parametrize("path", ["/api/structures", "/surveys/x/progress"])
def test_programs_and_scripts_are_told_in_words(everybody: House, path: str) -> None:
    """An API call or a page's own request gets a 401 problem that names the way, never the form."""
    answer = everybody.ask("GET", path, {"accept": "*/*", "sec-fetch-dest": "empty"})
    assert answer.status == 401
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["www-authenticate"].startswith("Bearer")
    body = json.loads(answer.text)
    assert body["type"] == "/api/problems/not-signed-in"
    assert "another window" in body["remedy"]


def test_a_refusal_names_the_role_it_takes(everybody: House) -> None:
    """403 says what may not be done and which role may; on a page in words of a page."""
    answer = everybody.ask("POST", "/api/surveys", everybody.headers["clerk"])
    assert answer.status == 403
    assert "the role inspector" in json.loads(answer.text)["detail"]
    page = everybody.ask("GET", "/people", everybody.headers["inspector"] | PAGE)
    assert page.status == 403
    assert "the role administrator" in page.text
    assert "<h1>" in page.text


def test_a_page_says_beforehand_what_it_takes_to_change_it(everybody: House) -> None:
    """Whoever may only look at a page is told so on it; whoever may change it is not."""
    kept = survey_file()
    sent = everybody.headers["inspector"] | {"content-type": "application/json"}
    made = everybody.ask("POST", "/api/surveys/import", sent, json.dumps(kept).encode())
    survey = json.loads(made.text)["survey"]["id"]
    for path, role, told in (
        ("plan", "inspector", "planner"),
        ("plan", "planner", ""),
        ("photos", "planner", "inspector"),
        ("photos", "administrator", ""),
    ):
        page = everybody.ask("GET", f"/surveys/{survey}/{path}", everybody.headers[role] | PAGE)
        assert page.status == 200
        assert ("only-look" in page.text) is bool(told), (path, role)
        assert f"takes the role {told}" in page.text or not told


@pytest.mark.parametrize(
    "headers",
    [{"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"}],
)
@pytest.mark.parametrize("path", ["/sign-in", "/sign-out"])
def test_another_site_signs_nobody_in_or_out(everybody: House, path: str, headers: dict[str, str]) -> None:
    """A foreign page can neither sign a browser in as somebody of its choice nor sign it out."""
    answer = everybody.form(path, FORM, headers)
    assert answer.status == 403
    assert "set-cookie" not in answer.headers


def test_signing_out_ends_the_session_itself(everybody: House) -> None:
    """A cookie copied before is worth nothing afterwards."""
    secret = everybody.people.sessions.sign_in("planner", PASSWORD, HERE)
    cookie = {"cookie": f"{PLAIN_COOKIE}={secret}"}
    assert everybody.ask("GET", "/api/me", cookie).status == 200
    answer = everybody.form("/sign-out", {}, cookie)
    assert (answer.status, answer.headers["location"]) == (303, "/sign-in")
    assert "Max-Age=0" in answer.headers["set-cookie"]
    assert everybody.ask("GET", "/api/me", cookie).status == 401


def test_a_bad_token_is_not_helped_by_a_cookie(everybody: House) -> None:
    """A request with a token stands or falls with it; tokens open no page."""
    both = everybody.headers["administrator"] | {"authorization": "Bearer corrosion_nonsense"}
    assert everybody.ask("GET", "/api/structures", both).status == 401
    basic = {"authorization": "Basic aW5zcGVjdG9yOng="}
    assert everybody.ask("GET", "/api/structures", basic).status == 401
    token = everybody.headers["write token"]
    assert everybody.ask("GET", "/api/structures", token).status == 200
    assert everybody.ask("GET", "/", token | PAGE).status == 303


def test_wrong_passwords_are_slowed_down_with_the_time_to_wait(everybody: House) -> None:
    """The sixth guess in a row at one account gets 429 and Retry-After (RFC 6585, RFC 9110)."""
    wrong = FORM | {"name": "guessed", "password": "a wrong guess at it"}
    answers = [everybody.form("/sign-in", wrong) for _ in range(6)]
    assert [answer.status for answer in answers] == [401] * 5 + [429]
    assert int(answers[-1].headers["retry-after"]) >= 1
    assert "a wrong guess" not in answers[0].text


def test_whoever_knows_a_first_password_changes_it_first(everybody: House) -> None:
    """With a password that somebody else set nothing works but changing it; then everything does."""
    people = everybody.people
    row = people.accounts.add("new", Details("New"), PASSWORD, must_change=True)
    secret = people.sessions.sign_in("new", PASSWORD, HERE)
    cookie = {"cookie": f"{PLAIN_COOKIE}={secret}"}
    assert everybody.ask("GET", "/", cookie | PAGE).headers["location"] == "/account"
    assert everybody.ask("GET", "/api/structures", cookie).status == 403
    assert everybody.ask("GET", "/account", cookie | PAGE).status == 200
    fresh = "nine green washers on a string"
    fields = {"old": PASSWORD, "new": fresh, "repeated": fresh}
    changed = everybody.form("/account/password", fields, cookie)
    assert changed.status == 303
    renewed = {"cookie": changed.headers["set-cookie"].partition(";")[0]}
    assert everybody.ask("GET", "/api/structures", renewed).status == 200
    assert everybody.ask("GET", "/api/structures", cookie).status == 401
    assert not people.accounts.one(row.id).must_change


def test_the_actor_is_whoever_sent_the_request(everybody: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """The code of a route, in its own thread, sees the sender; the next request sees its own."""
    seen: list[tuple[Actor, bool]] = []

    def structures(*_: object) -> list[object]:
        seen.append((current_actor(), threading.current_thread() is threading.main_thread()))
        return []

    monkeypatch.setattr("api.services.Services.structures", structures)
    for kind in ("inspector", "clerk", "read token"):
        assert everybody.ask("GET", "/api/structures", everybody.headers[kind]).status == 200
    assert [(actor.name, actor.via, main) for actor, main in seen] == [
        ("Inspector", "session", False),
        ("Clerk", "session", False),
        ("Inspector", "token", False),
    ]
    assert current_actor() is LOCAL


def test_the_history_tells_who_changed_a_right_but_no_secret(everybody: House) -> None:
    """Accounts and tokens are in the history, with the hashes of their secrets only as a digest."""
    headers = everybody.headers["administrator"] | {"content-type": "application/json"}
    body = json.dumps({"name": "temp", "display_name": "Temp", "roles": ["clerk"]}).encode()
    answer = everybody.ask("POST", "/api/people", headers, body)
    assert answer.status == 201
    with everybody.app.state.context.database.reading() as session:
        kept = session.execute(
            text("SELECT body FROM history WHERE table_name IN ('accounts', 'tokens') ORDER BY seq")
        ).scalars()
        lines = list(kept)
    assert "$argon2" not in "".join(lines)
    last = json.loads(lines[-1])
    assert (last["actor"]["name"], last["after"]["/name"]) == ("Administrator", "temp")


@pytest.fixture
def alone(tmp_path: Path, cheaply: None) -> Iterator[House]:
    """Give a service without accounts."""
    with empty_house(tmp_path / "alone") as made:
        yield made


def test_without_accounts_this_machine_may_do_everything(alone: House) -> None:
    """The one person at the machine is not asked for anything, and records carry the local user."""
    assert alone.ask("GET", "/", PAGE).status == 200
    assert json.loads(alone.ask("GET", "/api/me").text)["via"] == "local"
    assert "Sign out" not in alone.ask("GET", "/", PAGE).text
    assert alone.ask("GET", "/sign-in", PAGE).headers["location"] == "/"
    assert "corrosion people add" in alone.ask("GET", "/people", PAGE).text


def test_without_accounts_nobody_else_is_served(alone: House) -> None:
    """A request from elsewhere, let in by a proxy, is refused while there are no accounts."""
    for client in ("198.51.100.7", "10.0.0.2", "2001:db8::1", "::ffff:198.51.100.7"):
        assert alone.ask("GET", "/api/structures", client=client).status == 403
    assert alone.ask("GET", "/api/structures", client="::ffff:127.0.0.1").status == 200


def test_the_first_administrator_is_not_made_over_the_network(alone: House) -> None:
    """Neither API nor page adds the first account; once the command line has, everybody has to sign in."""
    body = json.dumps({"name": "ada", "display_name": "Ada", "roles": ["administrator"]}).encode()
    sent = {"content-type": "application/json"}
    assert alone.ask("POST", "/api/people", sent, body).status == 409
    assert alone.form("/people", {"name": "ada", "roles": "administrator"}).status == 409
    assert not alone.people.accounts.exist()
    assert alone.ask("GET", "/api/structures").status == 200
    alone.people.accounts.add("ada", Details("Ada", frozenset(Role)), PASSWORD, must_change=False)
    assert alone.ask("GET", "/api/structures").status == 401


def test_pages_and_api_manage_people(everybody: House) -> None:
    """An administrator adds a person, sees the first password once, edits, resets and disables."""
    chief = everybody.headers["administrator"]
    added = everybody.form("/people", {"name": "otto", "display_name": "Otto", "roles": "planner"}, chief)
    assert added.status == 200
    assert added.headers["cache-control"] == "no-store"
    row = everybody.people.accounts.named("otto")
    password = added.text.partition('id="first-password"')[2].partition(">")[2].partition("<")[0]
    assert everybody.people.sessions.sign_in("otto", password, HERE)
    at = f"/people/{row.id}"
    stale = everybody.form(at, {"version": "7", "display_name": "O"}, chief)
    assert stale.status == 412
    edited = everybody.form(at, {"version": "1", "display_name": "Otto N", "roles": "clerk"}, chief)
    assert edited.status == 303
    assert everybody.people.accounts.one(row.id).roles == "clerk"
    assert password not in everybody.ask("GET", at, chief).text
    assert "First password" in everybody.form(f"{at}/password", {}, chief).text
    assert everybody.form(f"{at}/disable", {}, chief).status == 303
    listed = json.loads(everybody.ask("GET", "/api/people", chief).text)
    assert next(one for one in listed if one["name"] == "otto")["disabled_at"]
    assert "password" not in listed[0]


def test_sessions_survive_a_restart(tmp_path: Path, cheaply: None) -> None:
    """A cookie stays good when the service starts again: sessions are rows, not memory."""
    with house(tmp_path / "one") as first:
        headers = first.headers["planner"]
    with empty_house(tmp_path / "one") as second:
        assert second.ask("GET", "/api/me", headers).status == 200
