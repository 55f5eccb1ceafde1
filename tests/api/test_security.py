"""Who may talk to the service, and what browsers are told."""

from __future__ import annotations

import httpx
import pytest

from api.app import serve
from api.security import SECURITY_HEADERS
from api.settings import Settings, SettingsError
from tests.api.samples import STRUCTURE

BODY = {"units": "mm", "structure": STRUCTURE}


@pytest.mark.parametrize("address", ["/api/health", "/api/nothing", "/api/openapi.json"])
def test_every_answer_has_the_security_headers(client: httpx.Client, address: str) -> None:
    """Good answers and errors alike forbid framing, sniffing and foreign scripts."""
    headers = client.get(address).headers
    for name, value in SECURITY_HEADERS.items():
        assert headers[name] == value
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["Content-Security-Policy"].startswith("default-src 'self'")


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "", "localhost.evil.example:80"]
)
def test_another_host_name_is_refused(client: httpx.Client, host: str) -> None:
    """A name rebound to this machine gets 421, so a foreign page cannot read surveys as its own."""
    answer = client.get("/api/structures", headers={"Host": host})
    assert answer.status_code == 421
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:9", "[::1]:80", "127.0.0.1"])
def test_loopback_names_are_served(client: httpx.Client, host: str) -> None:
    """The names of this machine are answered with any port."""
    assert client.get("/api/health", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
    ],
)
def test_a_write_from_another_site_is_refused(client: httpx.Client, headers: dict[str, str]) -> None:
    """A page of another origin cannot change a survey through the user's browser."""
    answer = client.post("/api/structures", json=BODY, headers=headers)
    assert answer.status_code == 403
    assert answer.json()["type"] == "/api/problems/cross-site"


def test_a_write_from_our_own_pages_is_taken(client: httpx.Client) -> None:
    """The service's own pages and programs without these headers may write."""
    own = {"Sec-Fetch-Site": "same-origin", "Origin": str(client.base_url).rstrip("/")}
    assert client.post("/api/structures", json=BODY, headers=own).status_code == 201
    assert client.post("/api/structures", json=BODY).status_code == 201


def test_reading_from_a_link_elsewhere_is_allowed(client: httpx.Client) -> None:
    """Following a link from another site is a read and works."""
    assert client.get("/api/structures", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


def test_an_open_address_is_refused(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Listening beyond this machine is refused, naming the setting, before anything is opened."""
    folder = tmp_path_factory.mktemp("open") / "data"
    with pytest.raises(SettingsError, match="CORROSION_HOST"):
        serve(Settings(host="0.0.0.0", data_dir=folder))  # noqa: S104
    assert not folder.exists()


def test_the_service_listens_on_loopback_by_default() -> None:
    """Without a setting nobody on the network reaches the service."""
    assert Settings().host == "127.0.0.1"
