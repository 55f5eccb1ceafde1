"""A walk through all of the service that writes: nothing it does escapes its history."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import httpx
from sqlalchemy import func, select

from api.actor import Role
from api.history.scope import scopes
from api.people.accounts import Details
from api.settings import Settings
from tests.api.history.stores import Store, open_store, whole
from tests.api.people.people import PASSWORD, opened, with_everybody
from tests.api.samples import MARKS, REMOVAL, new_survey, tag, upload
from tests.api.sealing.conftest import Case
from tests.api.server import running
from tests.api.test_suggest import PITS, metal


def done(answer: httpx.Response) -> Any:
    """Return the body of an answer that is a success."""
    assert answer.is_success, answer.text
    return answer.json() if answer.content else None


def seal_and_follow(client: httpx.Client) -> bytes:
    """Change, sign, seal and revise a survey, open the next, label it; return its archive."""
    case = Case(client)
    photo = case.photo()
    done(client.put(f"/api/photos/{photo['id']}/marks", json=MARKS[:1], headers=tag(photo["version"])))
    done(client.put(f"/api/photos/{photo['id']}/marks", json=MARKS, headers=tag(photo["version"] + 1)))
    removal = done(client.post(f"{case.url}/removals", json=REMOVAL | {"id": "R2"}))
    done(client.delete(f"/api/removals/{removal['id']}", headers=tag(1), params={"reason": "twice"}))
    done(client.put(f"{case.url}/planning", json={"merge": False}, headers=tag(0)))
    card = case.get("/worklist")["cards"][0]["id"]
    tick = {"who": "Bench B", "what": "note", "note": "chips"}
    done(client.post(f"{case.url}/worklist/{card}/ticks", json=tick))
    case.sealed()
    bag = client.get(f"{case.url}/archive", params={"paper": "none"}).content
    revision = done(client.post(f"{case.url}/revisions", json={"reason": "wrong gauge"}))["survey"]["id"]
    second = Case.__new__(Case)
    second.client, second.id = client, revision
    done(client.post(f"{second.sealed().url}/next", json={}))
    label = {
        "name": "Work",
        "rule": "One year after the work",
        "keep_months": 12,
        "source": {"document": "14 CFR 91.417", "paragraph": "(b)(1)"},
    }
    made = done(client.post("/api/retention/labels", json=label))["id"]
    done(client.post(f"{case.url}/retention", json={"label_id": made, "starts": "2031-04-24"}))
    done(client.post("/api/search/saved", json={"name": "Deep", "search": {"text": "pit"}}))
    return bag


def propose(client: httpx.Client) -> list[str]:
    """Ask for three outlines on a photo; accept one, drop one, leave one open. Return their identifiers."""
    made = upload(client, new_survey(client), ("metal.jpg", metal("JPEG")))
    photo = f"/api/photos/{made[0]['photo']['id']}"
    asked = [
        done(client.post(f"{photo}/suggest", json={"kind": "pit", "at": [x, y]}))["proposals"][0]
        for x, y, _ in PITS
    ]
    mark = {"id": "P1", "kind": "pit", "shape": asked[0]["shape"]}
    done(client.put(f"{photo}/marks", json=[mark], headers=tag(1)))
    done(client.post(f"/api/proposals/{asked[0]['id']}/accept", json={"mark": "P1"}))
    done(client.post(f"/api/proposals/{asked[1]['id']}/drop"))
    return [one["id"] for one in asked]


def meet_people(url: str) -> None:
    """Add, change, disable and enable people; give and take back a token."""
    database, people = opened(url)
    with_everybody(people)
    clerk = people.accounts.named("clerk")
    people.accounts.change(clerk.id, clerk.version, Details("C", frozenset({Role.PLANNER})))
    people.accounts.set_password(clerk.id, PASSWORD + "!", must_change=True)
    people.accounts.disable(clerk.id)
    people.accounts.enable(clerk.id)
    secret, token = people.tokens.make(clerk.id, "export", "read", 1)
    people.tokens.identify(secret)
    people.tokens.revoke(clerk.id, token.id)
    database.close()


def empty_tables(store: Store) -> set[str]:
    """Name the covered tables without a row."""
    with store.database.reading() as session:
        counts = [select(func.count()).select_from(one.table) for one in scopes()]
        return {
            one.table.name for one, count in zip(scopes(), counts, strict=True) if not session.scalar(count)
        }


def test_nothing_the_service_does_escapes(tmp_path: Path) -> None:
    """After all its use cases, here and where its archive went, every row is what the history says."""
    here, there = tmp_path / "here", tmp_path / "there"
    with running(Settings(data_dir=here)) as client:
        bag = seal_and_follow(client)
        propose(client)
    with running(Settings(data_dir=there)) as client:
        done(client.post("/api/archives", content=bag, headers={"Content-Type": "application/zip"}))
    meet_people(f"sqlite:///{here / 'corrosion.sqlite3'}")
    untouched = []
    for folder in (here, there):
        store = open_store(f"sqlite:///{folder / 'corrosion.sqlite3'}", folder)
        report = store.verify()
        assert whole(report) == ""
        untouched.append(empty_tables(store))
        store.database.close()
    assert set.intersection(*untouched) == set()
