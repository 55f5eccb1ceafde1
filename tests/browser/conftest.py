"""Fixtures of the browser tests: a real service on loopback, a real browser, watched pages."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest
import uvicorn
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    ViewportSize,
    expect,
    sync_playwright,
)

from api.app import create_app
from api.settings import Settings
from tests.api.samples import new_survey, tag, upload
from tests.browser.drawing import BAR, target_picture
from tests.support import need

CHROMIUM_VARIABLE = "CORROSION_CHROMIUM"
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DESKTOP: ViewportSize = {"width": 1440, "height": 900}
PHONE: ViewportSize = {"width": 390, "height": 844}
# The pages' own pauses before they ask for something anew are 150 to 500 ms and follow an input; what a
# page asks for when it opens follows at once, each answer's questions within a frame or two. Timed by the
# page itself, so that a busy machine's answers are read before.
QUIET_MS, QUIET_TURNS = 40, 4
QUIET = "ms => new Promise(done => setTimeout(() => requestAnimationFrame(done), ms))"
STOP_SECONDS = 120
# A busy machine is slow; what a page promises is what it shows in the end.
expect.set_options(timeout=60_000)


class Service:
    """A service that can be stopped and started again on the same port and data."""

    def __init__(self, data: Path) -> None:
        # Bound but not listening: nobody else gets the port while the service is away.
        self._place = bound(0)
        self.port = int(self._place.getsockname()[1])
        self._data = data
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self.client = httpx.Client(base_url=self.url, timeout=300)

    @property
    def url(self) -> str:
        """Address of the service."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Serve in a thread."""
        app = create_app(Settings(data_dir=self._data, port=self.port))
        config = uvicorn.Config(app, host="127.0.0.1", port=self.port, log_level="critical")
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, args=([bound(self.port)],), daemon=True)
        self._thread.start()
        while not self._server.started:
            assert self._thread.is_alive(), "the service did not start"
            time.sleep(0.01)

    def stop(self) -> None:
        """End it; connections are refused from now on."""
        if self._server is None or self._thread is None:
            return
        self._server.should_exit = True
        self._server.force_exit = True
        self._thread.join(STOP_SECONDS)
        assert not self._thread.is_alive(), "the service did not stop"
        self._server = None

    def close(self) -> None:
        """End it for good."""
        self.client.close()
        self.stop()
        self._place.close()


def bound(port: int) -> socket.socket:
    """Make a socket bound to a port of this machine (0: any free one), beside others of ours."""
    made = socket.socket()
    for option in (socket.SO_REUSEADDR, socket.SO_REUSEPORT):
        made.setsockopt(socket.SOL_SOCKET, option, 1)
    made.bind(("127.0.0.1", port))
    return made


@dataclass
class Watched:
    """A page, and everything it did that a good page does not do."""

    page: Page
    origin: str
    console: list[str] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    under_way: set[Request] = field(default_factory=set)
    # Console lines that a test provokes on purpose, such as a refused connection.
    expected: tuple[str, ...] = ()
    # A hint about speed from the drawing library's own canvas.
    harmless: tuple[str, ...] = ("willReadFrequently",)

    def settle(self) -> None:
        """Wait until the page has asked for nothing for a moment: less than Playwright's half a second."""
        quiet = 0
        while quiet < QUIET_TURNS:
            self.page.evaluate(QUIET, QUIET_MS)
            quiet = 0 if self.under_way else quiet + 1

    def check(self) -> None:
        """Fail if the page threw, complained, or asked another host for anything."""
        known = self.expected + self.harmless
        console = [line for line in self.console if not any(part in line for part in known)]
        assert console == []
        assert self.failures == []
        assert self.foreign == []


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Give a running service with an empty store."""
    from api.pages.templating import bundle_is_built  # noqa: PLC0415

    need(bundle_is_built(), "the pages are not bundled: run 'node build.mjs' in api/web")
    made = Service(tmp_path_factory.mktemp("data"))
    made.start()
    yield made
    made.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Give a browser: the machine's Chromium."""
    path = os.environ.get(CHROMIUM_VARIABLE) or shutil.which("chromium") or shutil.which("chromium-browser")
    need(path, f"no Chromium found; install it or name it in {CHROMIUM_VARIABLE}")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


OpenPage = Callable[..., Watched]


@pytest.fixture
def open_page(service: Service, browser: Browser) -> Iterator[OpenPage]:
    """Give a function that opens an address of the service; every page is checked at the end."""
    with ExitStack() as stack:
        opened: list[Watched] = []

        def opener(path: str, *, phone: bool = False, context: BrowserContext | None = None) -> Watched:
            if context is None:
                context = browser.new_context(
                    viewport=PHONE if phone else DESKTOP, has_touch=phone, reduced_motion="reduce"
                )
                stack.callback(context.close)
            watched = watch(context.new_page(), service.url)
            opened.append(watched)
            watched.page.goto(service.url + path)
            return watched

        yield opener
        for watched in opened:
            watched.check()


def watch(page: Page, origin: str) -> Watched:
    """Watch a page for errors and for requests to other hosts."""
    watched = Watched(page, origin)
    page.set_default_timeout(60_000)

    def note(message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            watched.console.append(message.text)

    page.on("console", note)
    page.on("pageerror", lambda error: watched.failures.append(str(error)))
    page.on("request", lambda request: _note(watched, request))
    page.on("requestfinished", lambda request: watched.under_way.discard(request))  # noqa: PLW0108
    page.on("requestfailed", lambda request: watched.under_way.discard(request))  # noqa: PLW0108
    return watched


def _note(watched: Watched, request: Request) -> None:
    url = request.url
    parts = urlsplit(url)
    if parts.scheme in {"blob", "data"}:
        return
    watched.under_way.add(request)
    if f"{parts.scheme}://{parts.netloc}" != watched.origin:
        watched.foreign.append(url)


@pytest.fixture
def photo(service: Service) -> str:
    """Give a new photo of a survey of its own, without a scale."""
    survey = new_survey(service.client, instruments=[{"id": "DG-2", "kind": "depth gauge"}])
    made = upload(service.client, survey, ("target.png", target_picture()))
    return str(made[0]["photo"]["id"])


@pytest.fixture
def scaled(service: Service, photo: str) -> str:
    """Give a photo whose scale reference is set: 200 px are 50 mm."""
    answer = service.client.put(f"/api/photos/{photo}/scale", json=BAR, headers=tag(1))
    assert answer.status_code == 200, answer.text
    return photo
