"""What a change of the site would do to last month's orders: as the page works it out, and every order on its own.

10,000 invented orders at a site of 1,000 tests. Three changes: a test that many orders ask for gets a tube of its own,
one that few ask for does, and a kind of tube runs out, which no order can be passed over for. *On its own* is a sample
of the orders, each planned with either site by a planner that was never asked anything, its shelf and directory ready
beforehand (not counted), scaled to all. That both count the same is checked first. Times are the core's own, not the
clock's.
"""

from __future__ import annotations

import datetime
import gc
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time

from msgspec.structs import replace

from bench.report import Line, show
from bench.web import write_site
from cubital.app.order_log import AskedOrder
from cubital.app.what_if import WhatIf, what_if
from cubital.app.wiring import open_site
from cubital.errors import CubitalError
from cubital.model import Ask, Order, Plan, Site
from cubital.planning import Planner

ORDERS, SAMPLE, PASSES = 10_000, 100, 3
KIND = "serum-gel"
_DAY = datetime.date(2026, 11, 28)
_MOST_TESTS = 12


def run(*, is_quick: bool) -> bool:
    """Measure and print; no target is set."""
    with TemporaryDirectory() as folder:
        write_site(Path(folder) / "site")
        site = open_site(str(Path(folder) / "site"))
    count = ORDERS // 10 if is_quick else ORDERS
    asked = month(site, count, Random(7))
    often = Counter(ask.test for one in asked for ask in one.order.asks for _ in range(one.times)).most_common()
    changes = {
        f"a tube of its own for a test of {often[0][1]:,} orders": with_own_tube(site, often[0][0]),
        f"a tube of its own for a test of {often[-1][1]} orders": with_own_tube(site, often[-1][0]),
        f"no {KIND} tubes left": without(site, KIND),
    }
    title = f"What if: {count:,} orders, {len(asked):,} different ones, {len(site.tests):,} tests"
    return show(title, [line for what, new in changes.items() for line in _measure(what, asked, site, new)])


def month(site: Site, count: int, random: Random) -> list[AskedOrder]:
    """A month of orders as a log keeps them: 1 to 12 tests, each asked for as often as 1 over its rank."""
    keys = sorted(key for key, test in site.tests.items() if test.culture is None)
    random.shuffle(keys)
    weights = [1 / rank for rank in range(1, len(keys) + 1)]
    drawn: Counter[tuple[str, ...]] = Counter()
    for _ in range(count):
        tests = random.choices(keys, weights, k=random.randint(1, _MOST_TESTS))
        drawn[tuple(sorted(set(tests)))] += 1
    return [
        AskedOrder(order=Order(asks=tuple(Ask(test=test) for test in tests), on=_DAY), times=times)
        for tests, times in drawn.most_common()
    ]


def with_own_tube(site: Site, key: str) -> Site:
    """The site with this test in a tube of its own."""
    return replace(site, tests={**site.tests, key: replace(site.tests[key], own_tube=True)})


def without(site: Site, key: str) -> Site:
    """The site with no tube of this kind left."""
    kind = site.kinds[key]
    empty = tuple(replace(size, in_stock=0) for size in kind.sizes)
    return replace(site, kinds={**site.kinds, key: replace(kind, sizes=empty)})


def _measure(what: str, asked: list[AskedOrder], old: Site, new: Site) -> list[Line]:
    sample = asked[:: max(1, len(asked) // SAMPLE)]
    check_equal(sample, old, new)
    first_s, again_s = [], []
    for _ in range(PASSES):
        planner = Planner(old)
        first_s.append(_spent_s(lambda p=planner: what_if(asked, old, new, today=_DAY, planner=p)))  # type: ignore[misc]
        again_s.append(_spent_s(lambda p=planner: what_if(asked, old, new, today=_DAY, planner=p)))  # type: ignore[misc]
    times = sum(one.times for one in asked)
    each_s = _alone_s([one.order for one in sample], old, new) / len(sample)
    return [
        Line(what, f"first {median(first_s):.2f} s, again {median(again_s):.2f} s"),
        Line(
            "    each order on its own / ours",
            f"{each_s * times / median(first_s):.3g}, {each_s * times / median(again_s):.3g} "
            f"({1e6 * each_s:.0f} us an order)",
        ),
    ]  # fmt: skip


def _alone_s(orders: list[Order], old: Site, new: Site) -> float:
    spent_s = 0.0
    for order in orders:
        for site in (old, new):
            planner = Planner(site)
            planner.prepare(order)
            spent_s += _spent_s(lambda p=planner, o=order: planned(p, o))  # type: ignore[misc]
    return spent_s


def planned(planner: Planner, order: Order) -> Plan | None:
    """The plan; None where there is none."""
    try:
        return planner.plan(order)
    except CubitalError:
        return None


def check_equal(asked: list[AskedOrder], old: Site, new: Site) -> WhatIf:
    """What ours counts, which planning each order on its own counts too; raises `AssertionError` where not."""
    ours = what_if(asked, old, new, today=_DAY)
    lost = tubes = 0
    for one in asked:
        before, after = (planned(Planner(site), one.order) for site in (old, new))
        if before is not None and after is not None:
            tubes += one.times * (after.totals.all_tubes - before.totals.all_tubes)
        lost += one.times * (before is not None and after is None)
    assert (ours.lost, ours.tubes) == (lost, tubes), (ours.lost, ours.tubes, lost, tubes)
    return ours


def _spent_s(work: Callable[[], object]) -> float:
    gc.collect()
    begun = process_time()
    work()
    return process_time() - begun
