"""A draw in hand: the plan that is being drawn, whose it is, and every tap of whoever draws it."""

from __future__ import annotations

from datetime import datetime
from typing import Literal, get_args

import msgspec

from cubital.model.identity import Identity
from cubital.model.order import Order
from cubital.model.plan import Plan

TapKind = Literal["identified", "mismatched", "filled", "not-drawn", "printed", "labelled", "finished", "set-aside"]
TAP_KINDS: tuple[TapKind, ...] = get_args(TapKind)
CHECKING: frozenset[str] = frozenset({"identified", "mismatched"})
"""A check of two identifiers that agreed, and one that did not: it voids those before it."""
SETTLING: frozenset[str] = frozenset({"filled", "not-drawn"})
"""What says the last word on a tube: of two such taps one wins."""
CLOSING: frozenset[str] = frozenset({"finished", "set-aside"})
WhyKey = Literal["vein", "declined", "unwell", "underfilled", "faulty", "limit", "missing", "other"]
WHYS: tuple[WhyKey, ...] = get_args(WhyKey)


class Taking(msgspec.Struct, frozen=True, kw_only=True):
    """One draw in hand. `code` names it and is the first part of the names of its specimens.

    Order and plan stay as they were when the draw was begun, whatever the site changes meanwhile.
    `identity` is what the request says; None before it was told and once the draw is closed.
    `site_version` is the number of the version of the site that it was planned on, 0 where none was
    saved yet; None where an earlier edition of this program did not keep it.
    """

    code: str
    made_at: datetime
    made_by: str
    order: Order
    plan: Plan
    identity: Identity | None = None
    closed_at: datetime | None = None
    site_version: int | None = None


class Tap(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that was done at the chair; the same `key` is the same tap, however often it is sent.

    `step` is the place of the tube among all tubes of the plan, from 1; for a check of identifiers the number
    of the draw, for a closing tap 0. `at` is the instant by the server's clock, `device_at` as the
    clock of the device showed it; both aware, in UTC. `why` is given where a tube was not drawn.
    """

    key: str
    taking: str
    kind: TapKind
    step: int
    at: datetime
    device_at: datetime
    received_at: datetime
    by: str
    station: str
    why: WhyKey | None = None
