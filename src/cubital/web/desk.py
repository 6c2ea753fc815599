"""What the pages work with: the site, its directory, the accounts, the record, the clock, how the server stands."""

from __future__ import annotations

import copy
import datetime
from collections.abc import Callable

import msgspec

from cubital.app.accounts import Accounts
from cubital.app.clock import now as read_now
from cubital.app.live_board import LiveBoard
from cubital.app.long_reading import LogReadings
from cubital.app.ports import Now
from cubital.app.record import SpecimenRecord
from cubital.app.site_editing import SiteVersions
from cubital.app.site_edition import Edition
from cubital.app.site_trial import SiteTrials
from cubital.app.taking import Takings
from cubital.app.taught_morning import TaughtMorning
from cubital.model import Site
from cubital.planning.directory import Directory


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """How the server stands: the names it answers to, whether TLS is before it, whether all of it is invented.

    So many requests may be worked on or wait for it at once; the others are told to come again.
    """

    names: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    is_behind_tls: bool = False
    is_demo: bool = False
    most_at_once: int = 200


class Desk:
    """Everything that a page may ask; made once, shared by every request."""

    def __init__(
        self, site: Site, accounts: Accounts, *, record: SpecimenRecord, today: Callable[[], datetime.date],
        now: Now = read_now, settings: Settings | None = None, sites: SiteVersions | None = None,
        takings: Takings | None = None,
    ) -> None:  # fmt: skip
        self.site = site
        self.directory = Directory(site)
        self.accounts = accounts
        self.record = record
        self.board = LiveBoard(record, site)
        self.takings = takings
        self.today = today
        self.now = now
        self.settings = settings or Settings()
        self.sites = sites
        self.trials = None if sites is None else SiteTrials(sites)
        self.morning = TaughtMorning()
        self.readings = LogReadings()
        self.edition: Edition | None = None
        self._newest = self

    def newest(self) -> Desk:
        """The desk of the newest version of the site: this one, or another that shares everything but the site.

        A request takes it once, so that it is answered with one version from beginning to end.
        """
        if self.sites is None:
            return self
        edition = self.sites.newest()
        if self._newest.edition is not edition:
            newest = copy.copy(self)
            newest.edition, newest.site, newest.directory = edition, edition.site, Directory(edition.site)
            newest.board = LiveBoard(self.record, edition.site)
            self._newest = newest
        return self._newest
