"""What must be drawn again, given what is still on the shelf: the least new draw, exactly.

A specimen that survives is stock that costs no blood. Each needed test is either measured in a survivor
that offers it, and takes its volume there, or is drawn anew; what is drawn anew is planned by the same
exact planner. Choices are measured without a reserve, and with blood before liking: what a reserve or a
liked kind takes more says nothing of how much must be drawn again. By that measure fewer tests never cost
more (leave a test out of the best packing of more and what is left packs the fewer), so the plan of the
tests already given up is a lower bound for every choice that is still open. The search below rests on
that and on nothing else. What is then drawn is planned as the site plans any draw.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import msgspec

from cubital.errors import NoTube
from cubital.handling.addon import Held, Offer, free_ul, offers_of
from cubital.handling.keeping import PolicyKey
from cubital.model.order import Ask, Order
from cubital.model.plan import Plan, Totals
from cubital.model.site import Site
from cubital.model.vocabulary import PRIORITIES, AccessKey, ObjectiveKey
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.directory import Directory
from cubital.planning.lint import SKIN_PUNCTURE
from cubital.planning.micro import is_micro
from cubital.planning.patient import is_child
from cubital.planning.plan import Planner
from cubital.planning.ranking import LEVELS, loss, rank_of

NODE_LIMIT = 20_000
# What a draw costs: tests left out by rank, whether the blood limit cut it short, tubes and blood, preference last.
Loss = tuple[float, ...]
_IMPOSSIBLE: Loss = (float("inf"), 0)


class Redraw(msgspec.Struct, frozen=True, kw_only=True):
    """What is measured in which survivor, and the plan for the rest; None where nothing must be drawn.

    `is_optimal` says that no choice of survivors needs a smaller new draw, a reserve not counted. `offers` are all
    that were looked at, by test.
    """

    served: tuple[Offer, ...]
    drawn: tuple[str, ...]
    plan: Plan | None
    is_optimal: bool
    searched: int
    offers: Mapping[str, tuple[Offer, ...]]


def plan_redraw(
    order: Order,
    shelf: Sequence[Held],
    site: Site,
    *,
    now: datetime,
    policy: PolicyKey = "strict",
    may_comment: bool = True,
    planner: Planner | None = None,
    node_limit: int = NODE_LIMIT,
) -> Redraw:
    """The least new draw for the tests of this order, with all that the shelf can still give.

    First the new draw, tubes and blood (blood and tubes where the least blood is asked), then the fewest tests
    measured with a comment, then the tubes that the directory prefers, then the fewest drawn. Without `may_comment`
    survivors serve only what needs none. Raises `OrderError` and `PlanError` as the planner does.
    """
    planner = planner or Planner(site)
    asked = resolve_asks(order, site, planner.directory)
    offers: dict[str, tuple[Offer, ...]] = {}
    for one in asked:
        # A later draw of a series asks for blood of its own time, which no survivor is.
        if one.at_min == 0:
            offers[one.test] = offers_of(site.tests[one.test], shelf, site, now=now, policy=policy)
    room = {held.specimen.id: free_ul(held.specimen, site) for held in shelf}
    search = _Search(
        order, asked, offers, room, _Measure(order, site), _kept_words(order, site, planner.directory),
        may_comment=may_comment, node_limit=node_limit,
    )  # fmt: skip
    served = search.run()
    taken = {offer.test for offer in served}
    drawn = tuple(one for one in asked if not (one.at_min == 0 and one.test in taken))
    plan = planner.plan(search.order_of(drawn)) if drawn else None
    return Redraw(
        served=served, drawn=tuple(one.test for one in drawn), plan=plan, is_optimal=search.is_proved,
        searched=search.nodes, offers=offers,
    )  # fmt: skip


def _kept_words(order: Order, site: Site, directory: Directory) -> tuple[tuple[str, frozenset[str]], ...]:
    """The words of tests to be kept, each with the keys it stands for."""
    found = []
    for word in order.keep:
        named = resolve_asks(Order(asks=(Ask(test=word),)), site, directory)
        found.append((word, frozenset(one.test for one in named)))
    return tuple(found)


class _Measure:
    """What drawing some tests costs at least: without a reserve, and with blood before liking."""

    def __init__(self, order: Order, site: Site) -> None:
        stated = order.objective or site.planning.objective
        self.objective: ObjectiveKey = "least-blood" if stated == "least-blood" else "fewest-tubes"
        self._site = site
        self._planner = Planner(
            msgspec.structs.replace(site, planning=msgspec.structs.replace(site.planning, reserve_percent=0))
        )
        self._spares_blood = (
            self.objective == "least-blood" or order.access == SKIN_PUNCTURE or is_child(order.patient)
        )
        self._least_tube_ul = _least_tube_ul(site, order.access)

    def of(self, order: Order) -> tuple[Loss, bool]:
        """The cost of drawing this, and whether fewer tests surely cost no more; raises `NoTube`."""
        plan = self._planner.plan(msgspec.structs.replace(order, objective=self.objective))
        left = loss(rank_of(self._site.tests[e.test], PRIORITIES.index(e.priority)) for e in plan.unplaced)
        is_cut = self.objective == "fewest-tubes" and plan.volumes == "minimum"
        is_cut = is_cut or (not self._spares_blood and self._has_micro(plan))
        totals = plan.totals
        worth = (totals.blood_ul, totals.tubes) if self.objective == "least-blood" else (totals.tubes, totals.blood_ul)
        # Under a limit that binds, other volumes and other kinds are open than to fewer tests.
        is_sure = plan.optimal and not plan.unplaced and not is_cut and not self._may_spare_discard(order, totals)
        return (*left, is_cut, *worth, totals.preference), is_sure

    def _has_micro(self, plan: Plan) -> bool:
        kinds = self._site.kinds
        return any(tube.purpose == "collect" and is_micro(kinds[tube.kind]) for tube in plan.tubes)

    def _may_spare_discard(self, order: Order, totals: Totals) -> bool:
        """Whether one more test might bring a tube that takes less than the discard that it spares."""
        is_owed = order.access == "winged-set" and self.objective == "least-blood"
        return is_owed and totals.discard_ul > self._least_tube_ul


def _least_tube_ul(site: Site, access: AccessKey) -> int:
    """The least blood that any tube of this access takes."""
    kinds = [kind for kind in site.kinds.values() if kind.can_be_filled_by(access)]
    return min((size.draw_ul for kind in kinds for size in kind.sizes), default=0)


class _Search:
    """Which test goes to which survivor: every choice, cut where its bound is no better than the best."""

    def __init__(
        self, order: Order, asked: Sequence[Asked], offers: Mapping[str, tuple[Offer, ...]], room: Mapping[str, int],
        measure: _Measure, keep: Sequence[tuple[str, frozenset[str]]], *, may_comment: bool, node_limit: int,
    ) -> None:  # fmt: skip
        self.order = order
        self.measure = measure
        self.keep = keep
        self.node_limit = node_limit
        self.nodes = 0
        self.is_proved = True
        self.room = dict(room)
        self.open: list[tuple[Asked, list[Offer]]] = []
        self.must: list[Asked] = []
        for one in asked:
            possible = [
                offer
                for offer in (offers.get(one.test, ()) if one.at_min == 0 else ())
                if offer.is_possible and (may_comment or offer.outcome == "accept")
            ]
            if possible:
                self.open.append((one, possible))
            else:
                self.must.append(one)
        # Those with least choice first: what they take decides the rest.
        self.open.sort(key=lambda pair: len(pair[1]))
        self._losses: dict[frozenset[Asked], Loss] = {}
        self._best: tuple[Loss, int, float, int] | None = None
        self._chosen: tuple[Offer, ...] = ()

    def run(self) -> tuple[Offer, ...]:
        """The offers taken by the best choice."""
        self._visit(0, [], list(self.must), 0)
        return self._chosen

    def _visit(self, place: int, taken: list[Offer], drawn: list[Asked], comments: int) -> None:
        # Whatever is still chosen, all of `drawn` is drawn and all of `comments` is commented: both only grow.
        *loss, preference = self._loss(drawn)
        bound = (tuple(loss), comments, preference, len(drawn))
        if self._best is not None and bound >= self._best:
            return
        if place == len(self.open):
            self._best, self._chosen = bound, tuple(taken)
            return
        if self.nodes >= self.node_limit:
            self.is_proved = False
            if self._best is not None:
                return
        self.nodes += 1
        one, possible = self.open[place]
        for offer in possible:
            if self.room[offer.specimen] >= offer.takes_ul:
                self.room[offer.specimen] -= offer.takes_ul
                taken.append(offer)
                self._visit(place + 1, taken, drawn, comments + (offer.outcome == "comment"))
                taken.pop()
                self.room[offer.specimen] += offer.takes_ul
        drawn.append(one)
        self._visit(place + 1, taken, drawn, comments)
        drawn.pop()

    def _loss(self, drawn: Sequence[Asked]) -> Loss:
        key = frozenset(drawn)
        found = self._losses.get(key)
        if found is None:
            found = self._losses[key] = self._plan_loss(drawn) if drawn else (0,) * (LEVELS + 4)
        return found

    def _plan_loss(self, drawn: Sequence[Asked]) -> Loss:
        try:
            found, is_sure = self.measure.of(self.order_of(drawn))
        except NoTube:
            return _IMPOSSIBLE
        if not is_sure:
            self.is_proved = False
        return found

    def order_of(self, drawn: Sequence[Asked]) -> Order:
        """The order of these tests alone, for the same patient in the same way."""
        asks = tuple(
            Ask(test=one.test, priority=PRIORITIES[one.priority], at_min=one.at_min or None)
            for one in sorted(drawn, key=lambda one: (one.at_min, one.test))
        )
        keep = tuple(word for word, keys in self.keep if any(one.test in keys for one in drawn))
        return msgspec.structs.replace(self.order, asks=asks, keep=keep)
