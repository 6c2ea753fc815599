"""An application on a new database with one account of every role, and clients that are signed in."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from playwright.sync_api import Browser as RealBrowser
from playwright.sync_api import expect, sync_playwright
from starlette.applications import Starlette
from starlette.testclient import TestClient

from cubital.app.accounts import Accounts
from cubital.app.record import SpecimenRecord
from cubital.app.site_editing import SiteVersions
from cubital.app.taking import Takings
from cubital.app.wiring import open_accounts, open_record, open_site, open_site_versions, open_takings, upgrade_store
from cubital.model import Site
from cubital.model.account import ROLES
from cubital.web.application import make_application
from cubital.web.desk import Desk, Settings
from tests.web.chrome import BENCH, WAIT_MS, Opener, Watched, serving, start

HERE = "http://localhost"
TODAY = datetime.date(2026, 11, 25)
FIRST_WORDS, WORDS = "first words to change", "seven quiet otters"
_TOKEN = re.compile(r'name="token" value="([0-9a-f]{64})"')


class Browser:
    """A client that sends what a browser sends, and the token of the page that it last saw."""

    def __init__(self, application: Starlette, *, base: str = HERE) -> None:
        self.client = TestClient(application, base_url=base, headers={"Origin": base}, raise_server_exceptions=False)
        self.token = ""
        self.text = ""
        self.status = 0
        self.path = ""
        self.headers: dict[str, str] = {}

    def get(self, path: str, **more: str) -> Browser:
        """Open a page."""
        return self._saw(self.client.get(path, headers=more))

    def post(self, path: str, form: Mapping[str, str | list[str]] | None = None, **more: str) -> Browser:
        """Send a form of the page that was last seen."""
        return self._saw(self.client.post(path, data={"token": self.token, **(form or {})}, headers=more))

    def sign_in(self, name: str, words: str = WORDS) -> Browser:
        """Sign in by the page."""
        return self.get("/sign-in").post("/sign-in", {"name": name, "password": words})

    def _saw(self, response: object) -> Browser:
        import httpx2

        assert isinstance(response, httpx2.Response)
        self.text, self.status, self.path = response.text, response.status_code, response.url.path
        self.headers = {name.lower(): value for name, value in response.headers.items()}
        found = _TOKEN.search(self.text)
        self.token = found[1] if found else self.token
        return self


@pytest.fixture(scope="session")
def demo() -> Site:
    """The invented demo site."""
    return open_site(demo=True)


@pytest.fixture(scope="session")
def peopled(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A database with an account of every role, named as the role, each with its own password."""
    path = tmp_path_factory.mktemp("peopled") / "record.db"
    upgrade_store(str(path))
    accounts = open_accounts(str(path))
    accounts.set_up(accounts.setup_code, "administrator", WORDS)
    secret = accounts.sign_in("administrator", WORDS, address="")
    visitor = accounts.visitor(secret)
    assert visitor is not None
    for role in ROLES:
        if role != "administrator":
            accounts.add(visitor, role, role, FIRST_WORDS)
            own = accounts.visitor(accounts.sign_in(role, FIRST_WORDS, address=""))
            assert own is not None
            accounts.change_password(own, FIRST_WORDS, WORDS)
    accounts.close()
    return path.read_bytes()


@pytest.fixture
def accounts(peopled: bytes, tmp_path: Path) -> Iterator[Accounts]:
    """The accounts of every role, in a database of the test's own."""
    path = tmp_path / "record.db"
    path.write_bytes(peopled)
    found = open_accounts(str(path))
    yield found
    found.close()


@pytest.fixture
def record(accounts: Accounts, tmp_path: Path) -> Iterator[SpecimenRecord]:
    """The record of specimens in the database of the accounts, still empty."""
    found = open_record(str(tmp_path / "record.db"))
    yield found
    found.close()


@pytest.fixture
def sites(accounts: Accounts, tmp_path: Path) -> Iterator[SiteVersions]:
    """The versions of the demo site in the database of the accounts, none saved yet."""
    found = open_site_versions(str(tmp_path / "record.db"), demo=True)
    yield found
    found.close()


@pytest.fixture
def takings(record: SpecimenRecord, tmp_path: Path) -> Iterator[Takings]:
    """The draws in hand in the same database; none yet."""
    found = open_takings(str(tmp_path / "record.db"), record=record)
    yield found
    found.close()


@pytest.fixture
def application(
    accounts: Accounts, record: SpecimenRecord, sites: SiteVersions, takings: Takings, demo: Site
) -> Starlette:
    """The application with an account of every role."""
    return make_application(
        Desk(demo, accounts, record=record, today=lambda: TODAY, sites=sites, takings=takings)
    )


@pytest.fixture
def browser(application: Starlette) -> Browser:
    """A browser that nobody signed in with."""
    return Browser(application)


@pytest.fixture
def collector(browser: Browser) -> Browser:
    """A collector's browser."""
    assert browser.sign_in("collector").path == "/draw"
    return browser


@pytest.fixture
def new_accounts(tmp_path: Path) -> Iterator[Accounts]:
    """No account yet."""
    path = str(tmp_path / "new.db")
    upgrade_store(path)
    found = open_accounts(path)
    yield found
    found.close()


@pytest.fixture
def new_application(new_accounts: Accounts, demo: Site, tmp_path: Path) -> Iterator[Starlette]:
    """The application before the first set-up."""
    record = open_record(str(tmp_path / "new.db"))
    yield make_application(Desk(demo, new_accounts, record=record, today=lambda: TODAY))
    record.close()


@pytest.fixture
def tls_browser(accounts: Accounts, record: SpecimenRecord, demo: Site) -> Browser:
    """A browser of an application behind a proxy with TLS."""
    settings = Settings(names=("lab.example",), is_behind_tls=True)
    application = make_application(Desk(demo, accounts, record=record, today=lambda: TODAY, settings=settings))
    return Browser(application, base="https://lab.example")


@pytest.fixture(scope="module")
def address(peopled: bytes, demo: Site, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of the demo site with an account of every role, one for all tests of a file."""
    path = tmp_path_factory.mktemp("served") / "record.db"
    path.write_bytes(peopled)
    accounts, record = open_accounts(str(path)), open_record(str(path))
    sites = open_site_versions(str(path), demo=True)
    takings = open_takings(str(path), record=record)
    desk = Desk(demo, accounts, record=record, today=lambda: TODAY, sites=sites, takings=takings)
    with serving(make_application(desk)) as found:
        yield found
    takings.close()
    sites.close()
    record.close()
    accounts.close()


@pytest.fixture(scope="module")
def chrome() -> Iterator[RealBrowser]:
    """One real browser for all tests of a file; ended with them, for its loop runs in this thread."""
    with sync_playwright() as playwright:
        expect.set_options(timeout=WAIT_MS)
        browser = start(playwright)
        yield browser
        browser.close()


@pytest.fixture
def opener(chrome: RealBrowser, address: str) -> Iterator[Opener]:
    """Opens fresh browsers; at the end none of them complained, and none asked another host."""
    opened: list[Watched] = []

    def open_one(
        role: str | None = None, *, size: tuple[int, int] = BENCH, theme: str = "light", has_scripts: bool = True
    ) -> Watched:
        context = chrome.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if theme == "dark" else "light", java_script_enabled=has_scripts,
        )  # fmt: skip
        context.set_default_timeout(WAIT_MS)
        watched = Watched(context.new_page(), address)
        opened.append(watched)
        return watched if role is None else watched.sign_in(role)

    yield open_one
    for watched in opened:
        watched.page.context.close()
    assert [fault for watched in opened for fault in watched.faults] == []
