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
from collections.abc import Callable, Mapping
from pathlib import Path
from random import Random
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time
from typing import Any

from msgspec.structs import replace

from bench.report import Line, show
from bench.web import write_site
from cubital.app.order_log import AskedOrder
from cubital.app.site_folder import look_over
from cubital.app.what_if import WhatIf, what_if
from cubital.app.wiring import open_site, open_site_versions, read_site_tables, upgrade_store
from cubital.errors import CubitalError
from cubital.model import Ask, Order, Plan, Site
from cubital.planning import Planner

ORDERS, SAMPLE, PASSES, LOOKS = 10_000, 100, 3, 15
TARGET_MS = 30.0
KIND = "serum-gel"
_DAY = datetime.date(2026, 11, 28)
_MOST_TESTS = 12


def run(*, is_quick: bool) -> bool:
    """Measure and print; a target is set for the lint alone."""
    with TemporaryDirectory() as folder:
        write_site(Path(folder) / "site")
        site = open_site(str(Path(folder) / "site"))
        typing = _lint_as_typed(Path(folder))
    count = ORDERS // 10 if is_quick else ORDERS
    asked = month(site, count, Random(7))
    often = Counter(ask.test for one in asked for ask in one.order.asks for _ in range(one.times)).most_common()
    changes = {
        f"a tube of its own for a test of {often[0][1]:,} orders": with_own_tube(site, often[0][0]),
        f"a tube of its own for a test of {often[-1][1]} orders": with_own_tube(site, often[-1][0]),
        f"no {KIND} tubes left": without(site, KIND),
    }
    title = f"What if: {count:,} orders, {len(asked):,} different ones, {len(site.tests):,} tests"
    is_met = show(title, [line for what, new in changes.items() for line in _measure(what, asked, site, new)])
    return show(f"The lint of a form as one types: {len(site.tests):,} tests", typing) and is_met


def _lint_as_typed(folder: Path) -> list[Line]:
    """A change of one test and of one kind looked over as the page does, against reading and linting the whole site."""
    db = str(folder / "record.db")
    upgrade_store(db)
    versions = open_site_versions(db, folder / "site")
    base = versions.newest()
    kind = {"additive": "k2-edta", "sizes": [{"draw_ml": 2}]}
    lines = []
    for what, file, key, entry in (
        ("a test", "tests.toml", "potassium", {"bench": "chemistry"}), ("a kind of tube", "tubes.toml", "edta", kind),
    ):  # fmt: skip
        typed_s, whole_s = [], []
        for number in range(LOOKS):
            change = {file: {key: {**entry, "name": f"typed {number}"}}}
            typed_s.append(_spent_s(lambda c=change: versions.propose(base, c, today=_DAY)))  # type: ignore[misc]
            tables = versions.propose(base, change, today=_DAY).tables
            whole_s.append(_spent_s(lambda t=tables: _look_over_whole(t)))  # type: ignore[misc]
        found, whole = 1000 * median(typed_s), 1000 * median(whole_s)
        met = f"{found:.1f} ms; reading and linting the whole site / ours {whole / found:.3g}"
        lines.append(Line(f"{what} changed, median", met, f"{TARGET_MS:g} ms", found < TARGET_MS))
    versions.close()
    return lines


def _look_over_whole(tables: Mapping[str, Mapping[str, Any]]) -> None:
    site, lost, read = read_site_tables(tables, name="bench")
    look_over(site, lost, read, today=_DAY)


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
