"""What the pages work with: the site, its directory, the accounts, the clock, and how the server stands."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import msgspec

from cubital.app.accounts import Accounts
from cubital.model import Site
from cubital.planning.directory import Directory


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """How the server stands: the names it answers to, and whether a proxy with TLS is before it."""

    names: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    is_behind_tls: bool = False


class Desk:
    """Everything that a page may ask; made once, shared by every request."""

    def __init__(
        self, site: Site, accounts: Accounts, *, today: Callable[[], datetime.date], settings: Settings | None = None
    ) -> None:
        self.site = site
        self.directory = Directory(site)
        self.accounts = accounts
        self.today = today
        self.settings = settings or Settings()
