"""What an order must be told of doses, drinks and the like, so that its draws have their times."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from cubital import facts
from cubital.model import Ask, Order, Site
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.directory import Directory
from cubital.planning.moment_windows import FIRST_DRAW, Axis, demands_of, is_governed, moment_of


class MomentAsked(msgspec.Struct, frozen=True, kw_only=True):
    """One event that fixes draws of the order: its anchor, its subject, both in words, and how a plan asks for it."""

    what: str
    of: str | None
    words: str
    ask: str


def moments_asked(asks: Sequence[Ask], site: Site, directory: Directory) -> tuple[MomentAsked, ...]:
    """Every event that the draws of these tests are counted from, in the order first met.

    Raises `OrderError` for a name that is no test of the site.

    >>> from cubital.app.wiring import open_site
    >>> site = open_site(demo=True)
    >>> [one.words for one in moments_asked([Ask(test="vancomycin-peak"), Ask(test="CBC")], site, Directory(site))]
    ['the end of the infusion of vancomycin']
    """
    asked = resolve_asks(Order(asks=tuple(asks)), site, directory)
    words = facts.moment_facts()
    return tuple(
        MomentAsked(
            what=anchor, of=of, words=words.anchor_words(anchor, of), ask=words.asks_words(anchor, of)
        )
        for anchor, of in _axes(asked, site)
    )  # fmt: skip


def _axes(asked: Sequence[Asked], site: Site) -> list[Axis]:
    """What minutes count from, but for the clock, and the first draw where it is in the order."""
    anchors = facts.anchors()
    demands = demands_of(asked, site)
    have = {name for demand in demands for name in demand.names}
    axes: dict[Axis, None] = {}
    for demand in demands:
        axes.update(dict.fromkeys(window.axis for window in demand.real if window.axis != FIRST_DRAW))
    for one in asked:
        moment = moment_of(one, site)
        if moment is None or is_governed(moment, one, site):
            continue
        axes[moment.anchor, moment.of] = None
        if moment.needs is not None and moment.needs not in have:
            axes[FIRST_DRAW] = None
    return [axis for axis in axes if not anchors[axis[0]].is_time_of_day]
