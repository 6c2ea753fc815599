"""A change of the site tried on orders: what stands ready between two tries, and which orders they are."""

from __future__ import annotations

import datetime

import msgspec

from cubital.app.order_log import MONTH, AskedOrder, asked_orders, orders_of_record
from cubital.app.record import SpecimenRecord
from cubital.app.site_editing import SiteVersions
from cubital.app.site_edition import Edition, Proposal
from cubital.app.what_if import WhatIf, what_if
from cubital.model.site_version import LoggedOrder
from cubital.planning import Planner

OF_LOG = "the log of orders that was brought in"
OF_RECORD = (
    "the draws of the last 31 days in the record: age and weight are not in it, its access is not taken up, so each is "
    "planned for a straight needle and without a blood limit"
)


class Tried(msgspec.Struct, frozen=True, kw_only=True):
    """What a change did to orders, and in words which orders they were."""

    origin: str
    found: WhatIf


class SiteTrials:
    """Tries changes of one site; the plans with the site as it is and the orders of its log are made once.

    They stand until another version is in use, another log is brought in or another day begins.
    """

    def __init__(self, versions: SiteVersions) -> None:
        self._versions = versions
        self._planned: tuple[Edition, Planner] | None = None
        self._asked: tuple[tuple[LoggedOrder, ...], datetime.date, tuple[AskedOrder, ...]] | None = None

    def try_change(
        self, proposal: Proposal, record: SpecimenRecord, *, now: datetime.datetime, today: datetime.date
    ) -> Tried | None:
        """What this change does to the orders of the log, or to those of the record; None where an error stops it."""
        if proposal.site is None:
            return None
        orders, origin = self._orders(record, now, today)
        found = what_if(
            orders, proposal.base.site, proposal.site, today=today, planner=self.planner_of(proposal.base)
        )
        return Tried(origin=origin, found=found)

    def planner_of(self, edition: Edition) -> Planner:
        """The planner of this edition, with what it has worked out in tries before."""
        # Read and set whole: of two tries at once each has a planner of its edition, one of which is kept.
        kept = self._planned
        if kept is None or kept[0] is not edition:
            kept = self._planned = (edition, Planner(edition.site))
        return kept[1]

    def _orders(
        self, record: SpecimenRecord, now: datetime.datetime, today: datetime.date
    ) -> tuple[tuple[AskedOrder, ...], str]:
        logged = self._versions.orders()
        if not logged:
            return orders_of_record(record, now - MONTH, on=today), OF_RECORD
        kept = self._asked
        if kept is None or kept[:2] != (logged, today):
            kept = self._asked = (logged, today, asked_orders(logged, today=today))
        return kept[2], OF_LOG
