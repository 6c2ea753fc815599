"""What a change of the site does to orders that were asked: every different one planned with the old and the new."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

import msgspec

from cubital.app.clock import today as read_today
from cubital.app.order_log import AskedOrder
from cubital.errors import CubitalError
from cubital.model import Ask, Order, Plan, PlannedTube, Site
from cubital.planning import Planner
from cubital.planning.asks import Asked, resolve_asks
from cubital.units import millilitres_text

MOST_EXAMPLES = 5
MOST_DISTINCT = 20_000
"""The most different orders that are looked at; what is asked more often goes first."""


class KindDelta(msgspec.Struct, frozen=True, kw_only=True):
    """How many tubes of a kind the changed plans take, before and after."""

    kind: str
    name: str
    before: int
    after: int


class LostTest(msgspec.Struct, frozen=True, kw_only=True):
    """A test that could be planned alone and cannot be any more, and why.

    `orders` ask for it and lost their plan.
    """

    test: str
    name: str
    why: str
    orders: int


class Example(msgspec.Struct, frozen=True, kw_only=True):
    """One order whose plan changes: its tests, how often it was asked, its tubes before and after, in words."""

    tests: tuple[str, ...]
    times: int
    before: tuple[str, ...]
    after: tuple[str, ...]


class WhatIf(msgspec.Struct, frozen=True, kw_only=True):
    """What a change comes to over these orders.

    `changed` orders get other tubes, another order of draw or other tests left out; `reworded` only other
    instructions. `lost` had a plan for every test and have none now; `gained` the other way round. `unplanned`
    had none before and have none now. Tubes and blood are of the orders that have a plan both times.
    """

    orders: int
    distinct: int
    left_out: int
    changed: int
    reworded: int
    lost: int
    gained: int
    unplanned: int
    tubes: int
    blood_ul: int
    kinds: tuple[KindDelta, ...]
    lost_tests: tuple[LostTest, ...]
    gained_tests: tuple[str, ...]
    examples: tuple[Example, ...]


def what_if(
    orders: Iterable[AskedOrder], old: Site, new: Site, *, today: datetime.date | None = None,
    planner: Planner | None = None,
) -> WhatIf:  # fmt: skip
    """What planning these orders with the new site changes against the old one; all are planned for today.

    `planner` is one of the old site, with what it has worked out before.
    """
    day = today or read_today()
    ranked = sorted(orders, key=lambda one: -one.times)
    looked_at = ranked[:MOST_DISTINCT]
    sums = _Sums(_Pair(old, new, day, planner or Planner(old)))
    for one in looked_at:
        sums.add(one)
    return sums.result(left_out=sum(one.times for one in ranked[MOST_DISTINCT:]))


class _Pair:
    """Two sites' planners; an order that asks nothing of what differs is not planned twice."""

    def __init__(self, old: Site, new: Site, day: datetime.date, planner: Planner) -> None:
        self.old, self.new, self.day = old, new, day
        self._old, self._new = planner, Planner(new)
        # What a plan rests on beyond the tests that it is asked for.
        self.is_same_shelf = (old.kinds, old.planning, old.names) == (new.kinds, new.planning, new.names)

    def is_same(self, order: Order) -> bool:
        """Whether nothing that this order's plan rests on differs."""
        if not self.is_same_shelf:
            return False
        before, after = _asked(order, self.old, self._old), _asked(order, self.new, self._new)
        if before is None or before != after:
            return False
        return all(self.old.tests[one.test] == self.new.tests[one.test] for one in before)

    def plans(self, order: Order) -> tuple[Plan | CubitalError, Plan | CubitalError]:
        """The plan with the old and with the new site, or why there is none."""
        dated = msgspec.structs.replace(order, on=self.day)
        return _plan(dated, self._old), _plan(dated, self._new)

    def tests(self, order: Order) -> frozenset[str]:
        """The keys of the tests that an order asks for, panels taken apart; none where a word of it is not known."""
        return frozenset(one.test for one in _asked(order, self.old, self._old) or ())

    def names(self, order: Order) -> tuple[str, ...]:
        """The tests of an order as people say them."""
        site = self.old if _asked(order, self.old, self._old) else self.new
        found = _asked(order, self.old, self._old) or _asked(order, self.new, self._new)
        if found is None:
            return tuple(ask.test for ask in order.asks)
        return tuple(dict.fromkeys(site.tests[one.test].name for one in found))


class _Sums:
    """The counts, one order after another."""

    def __init__(self, pair: _Pair) -> None:
        self._pair = pair
        self._orders: Counter[str] = Counter()
        self._distinct = self._tubes = self._blood_ul = 0
        self._before: Counter[str] = Counter()
        self._after: Counter[str] = Counter()
        self._asking: Counter[str] = Counter()
        # The gravest first: what cannot be drawn any more.
        self._examples: dict[str, list[Example]] = {"lost": [], "changed": [], "gained": []}

    def add(self, one: AskedOrder) -> None:
        """Count one order as often as it was asked."""
        self._distinct += 1
        self._orders["all"] += one.times
        if self._pair.is_same(one.order):
            return
        before, after = self._pair.plans(one.order)
        verdict = _verdict(before, after)
        self._orders[verdict] += one.times
        if verdict == "lost":
            for test in self._pair.tests(one.order):
                self._asking[test] += one.times
        if verdict in self._examples:
            self._count_tubes(before, after, one.times)
            if len(self._examples[verdict]) < MOST_EXAMPLES:
                self._examples[verdict].append(self._example(one, before, after))

    def _count_tubes(self, before: Plan | CubitalError, after: Plan | CubitalError, times: int) -> None:
        if isinstance(before, CubitalError) or isinstance(after, CubitalError):
            return
        self._tubes += times * (after.totals.all_tubes - before.totals.all_tubes)
        self._blood_ul += times * (after.totals.all_blood_ul - before.totals.all_blood_ul)
        for plan, counter in ((before, self._before), (after, self._after)):
            for tube in plan.tubes:
                counter[tube.kind] += times

    def _example(self, one: AskedOrder, before: Plan | CubitalError, after: Plan | CubitalError) -> Example:
        return Example(
            tests=self._pair.names(one.order), times=one.times, before=_tubes_in_words(before),
            after=_tubes_in_words(after),
        )  # fmt: skip

    def result(self, *, left_out: int) -> WhatIf:
        """What all of them come to."""
        lost, gained = _alone(self._pair)
        count = self._orders
        return WhatIf(
            orders=count["all"], distinct=self._distinct, left_out=left_out, changed=count["changed"],
            reworded=count["reworded"], lost=count["lost"], gained=count["gained"], unplanned=count["unplanned"],
            tubes=self._tubes, blood_ul=self._blood_ul, kinds=tuple(self._kinds()),
            lost_tests=tuple(
                LostTest(test=key, name=name, why=why, orders=self._asking[key]) for key, name, why in lost
            ),
            gained_tests=gained,
            examples=tuple(one for some in self._examples.values() for one in some)[:MOST_EXAMPLES],
        )  # fmt: skip

    def _kinds(self) -> Iterator[KindDelta]:
        for kind in dict.fromkeys((*self._before, *self._after)):
            if self._before[kind] != self._after[kind]:
                known = self._pair.new.kinds.get(kind) or self._pair.old.kinds.get(kind)
                yield KindDelta(
                    kind=kind, name=known.name if known else kind, before=self._before[kind], after=self._after[kind]
                )


def _asked(order: Order, site: Site, planner: Planner) -> tuple[Asked, ...] | None:
    try:
        return resolve_asks(order, site, planner.directory)
    except CubitalError:
        return None


def _plan(order: Order, planner: Planner) -> Plan | CubitalError:
    try:
        return planner.plan(order)
    except CubitalError as error:
        return error


def _is_whole(plan: Plan | CubitalError) -> bool:
    return not isinstance(plan, CubitalError) and not plan.unplaced


def _verdict(before: Plan | CubitalError, after: Plan | CubitalError) -> str:
    if _is_whole(before) != _is_whole(after):
        return "gained" if _is_whole(after) else "lost"
    if isinstance(before, CubitalError) or isinstance(after, CubitalError):
        return "unplanned" if isinstance(before, CubitalError) and isinstance(after, CubitalError) else "changed"
    if _tray(before) != _tray(after):
        return "changed"
    return "same" if _instructions(before) == _instructions(after) else "reworded"


def _tray(plan: Plan) -> object:
    """What is drawn: tubes, in which order, for which tests; and what is left out."""
    tubes = tuple((t.draw, t.purpose, t.kind, t.draw_ul, t.tests) for t in plan.tubes)
    return tubes, tuple(one.test for one in plan.unplaced)


def _instructions(plan: Plan) -> object:
    """What is said beside the tubes."""
    tubes = tuple((t.name, t.stopper, t.mark, t.inversions, t.spin, t.handling, t.fill_min_percent) for t in plan.tubes)
    return tubes, plan.cautions


def _tubes_in_words(plan: Plan | CubitalError) -> tuple[str, ...]:
    if isinstance(plan, CubitalError):
        return (f"no plan: {plan}",)
    left = tuple(f"left out: {one.test}" for one in plan.unplaced)
    counted = Counter(_tube_in_words(tube) for tube in plan.tubes)
    return (*(words if count == 1 else f"{count} x {words}" for words, count in counted.items()), *left)


def _tube_in_words(tube: PlannedTube) -> str:
    discard = ", discard" if tube.purpose == "discard" else ""
    return f"{tube.name} {millilitres_text(tube.draw_ul)} mL{discard}"


def _alone(pair: _Pair) -> tuple[Sequence[tuple[str, str, str]], tuple[str, ...]]:
    """The tests that could be planned alone and cannot be now, with why; and those that can be now."""
    lost, gained = [], []
    for key in dict.fromkeys((*pair.old.tests, *pair.new.tests)):
        if pair.is_same_shelf and pair.old.tests.get(key) == pair.new.tests.get(key):
            continue
        before, after = pair.plans(Order(asks=(Ask(test=key),)))
        if _is_whole(before) and not _is_whole(after):
            why = str(after) if isinstance(after, CubitalError) else after.unplaced[0].why
            lost.append((key, pair.old.tests[key].name, why))
        elif _is_whole(after) and not _is_whole(before):
            gained.append(key)
    return lost, tuple(gained)
