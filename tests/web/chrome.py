"""A real browser on a real server: both of the tests' own, ended with them."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import Browser, Page, Playwright, Request, Route
from starlette.applications import Starlette

from cubital.web.server import options

AXE = (Path(__file__).with_name("axe") / "axe.min.js").read_text(encoding="utf-8")
WORDS = "seven quiet otters"
PHONE, TABLET, BENCH = (390, 844), (820, 1180), (1280, 800)
SIZES = (PHONE, TABLET, BENCH)
# Generous, for a machine that has more to do; a state is waited for, never a time.
WAIT_MS = 30_000.0
_START_S = 30.0


@contextmanager
def serving(application: Starlette, *, is_behind_tls: bool = False) -> Iterator[str]:
    """The address of a server of this application, on a port of its own, set as `cubital serve` sets it."""
    chosen = {**options(is_behind_tls=is_behind_tls), "log_config": None}  # the tests' own log stays as it is
    server = uvicorn.Server(uvicorn.Config(application, host="127.0.0.1", port=0, lifespan="off", **chosen))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    ends = time.monotonic() + _START_S
    while not server.started:
        assert time.monotonic() < ends, "the server did not start"
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(_START_S)


def start(playwright: Playwright) -> Browser:
    """The browser of this machine, as Debian ships it."""
    program = shutil.which("chromium")
    assert program is not None, "no browser; run: apt-get install chromium"
    return playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])


class Watched:
    """A page, with everything that it must not do written down."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.faults: list[str] = []
        self.sizes: dict[str, int] = {}
        page.on("console", lambda said: self._note(said.type in ("error", "warning"), f"console: {said.text}"))
        page.on("pageerror", lambda error: self._note(True, f"script: {error}"))
        page.on("request", self._look_at)
        page.on("response", lambda answer: self._count(answer))

    def open(self, path: str) -> Watched:
        """Open a page of ours."""
        self.page.goto(self.address + path)
        return self

    def sign_in(self, name: str) -> Watched:
        """Sign in as a person would."""
        self.open("/sign-in")
        self.page.get_by_label("Name").fill(name)
        self.page.get_by_label("Password").fill(WORDS)
        self.page.get_by_role("main").get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(self.address + "/draw")
        return self

    def violations(self) -> list[str]:
        """What axe-core finds on the page as it stands: rule, how grave, and the elements."""
        # Evaluated rather than put in as a script: the page's own policy stays in force.
        self.page.evaluate(AXE)
        found: dict[str, Any] = self.page.evaluate("async () => await axe.run(document)")
        assert len(found["passes"]) > 5
        return [
            f"{one['id']} ({one['impact']}): {node['target']} {node['failureSummary']}"
            for one in found["violations"]
            for node in one["nodes"][:3]
        ]

    def _note(self, is_fault: bool, words: str) -> None:
        if is_fault:
            self.faults.append(words)

    def _look_at(self, request: Request) -> None:
        self._note(not request.url.startswith(self.address), f"another host: {request.url}")

    def _count(self, answer: Any) -> None:
        if answer.status == 200:
            self.sizes[answer.url] = int(answer.headers.get("content-length", "0"))


Opener = Callable[..., Watched]
"""Opens a fresh browser: a role or None, then `size`, `theme` and `has_scripts`; signed in where there is a role."""


def cut_off(route: Route) -> None:
    """Answer as a connection that is gone."""
    route.abort("connectionfailed")
