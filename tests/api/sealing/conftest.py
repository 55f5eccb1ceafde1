"""A survey with its picture, ready to be signed, and the steps to its seal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from api.settings import Settings
from tests.api.samples import MARKS, picture, survey_file, upload
from tests.api.server import running
from tests.api.test_suggest import PITS, metal

Json = dict[str, Any]


@pytest.fixture(scope="package")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Give a client of a service of its own."""
    with running(Settings(data_dir=tmp_path_factory.mktemp("data"))) as made:
        yield made


class Case:
    """One survey and what is done with it."""

    def __init__(self, client: httpx.Client, *, with_picture: bool = True, **parts: Any) -> None:
        self.client = client
        form: list[tuple[str, tuple[str, bytes]]] = [
            ("survey", ("survey.json", httpx.Request("POST", "/", json=survey_file() | parts).read()))
        ]
        if with_picture:
            form.append(("files", ("f1.jpg", picture(7))))
        made = client.post("/api/surveys/import", files=form)
        assert made.status_code == 201, made.text
        self.id: str = made.json()["survey"]["id"]
        self.structure: str = made.json()["survey"]["structure_id"]

    @property
    def url(self) -> str:
        """Address of the survey."""
        return f"/api/surveys/{self.id}"

    def get(self, path: str = "") -> Json:
        """Read something of the survey."""
        answer = self.client.get(self.url + path)
        assert answer.status_code == 200, answer.text
        found: Json = answer.json()
        return found

    def record(self) -> Json:
        """Read the record."""
        return self.get("/record")

    def sign(self, subject: str, **changes: Any) -> httpx.Response:
        """Sign as the record is now."""
        body = {
            "digest": self.record()["digest"],
            "name": "Inspector A",
            "certificate_number": "INV-0042",
            "certificate_kind": "invented licence",
            "statement": "I looked at it and this is what I found.",
            "place": "Shop 2",
            "date": "2031-04-24",
        }
        return self.client.post(f"{self.url}/signatures/{subject}", json=body | changes)

    def seal(self, no_decision: str = "") -> httpx.Response:
        """Seal as the record is now."""
        body = {"digest": self.record()["digest"], "no_decision": no_decision}
        return self.client.post(f"{self.url}/seal", json=body)

    def sealed(self) -> Case:
        """Sign both and seal."""
        for subject in ("findings", "decision"):
            assert self.sign(subject).status_code == 201
        done = self.seal()
        assert done.status_code == 201, done.text
        return self

    def propose(self) -> None:
        """Add a photo with an outline that nobody has decided about."""
        made = upload(self.client, self.id, ("metal.png", metal()))
        url = f"/api/photos/{made[0]['photo']['id']}/suggest"
        x, y, _ = PITS[0]
        answer = self.client.post(url, json={"kind": "pit", "at": [x, y]})
        assert answer.status_code == 200, answer.text

    def photo(self) -> Json:
        """Read its first photo."""
        found: Json = self.client.get(f"{self.url}/photos").json()[0]
        return found

    def entry(self, kind: str) -> Json:
        """Read its first removal or reading."""
        found: Json = self.client.get(f"{self.url}/{kind}").json()[0]
        return found


@pytest.fixture
def case(client: httpx.Client) -> Case:
    """Give an open survey with everything that it needs."""
    return Case(client)


@pytest.fixture(scope="package")
def sealed(client: httpx.Client) -> Case:
    """Give a sealed survey that no test changes, with a shallow pit that has a card to blend it."""
    shallow = MARKS[0] | {"id": "P2", "depths": [MARKS[0]["depths"][0] | {"value": 0.02}]}
    pit = shallow | {"shape": {"type": "Circle", "center": [260, 260], "radius": 6}}
    (photo,) = survey_file()["photos"]
    planning = {
        "allowance": {"depth": 0.01, "source": "Shop instruction SI-3"},
        "run_out": {"ratio": {"total": 20}, "source": "AC 43.13-1B, para 6-115c"},
        "edge_distance": {"distance": 2.0, "source": "Repair scheme RS-12, paragraph 4.3"},
    }
    case = Case(client, photos=[photo | {"marks": [*MARKS, pit]}], planning=planning)
    case.propose()
    return case.sealed()
