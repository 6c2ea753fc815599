"""A neonatal unit's year planned draw by draw, beside fixed-size practice and beside the published year.

Published (Ann Clin Biochem 2021, doi 10.1177/00045632211030953, abstract): one unit, one year, 463 patients, 8,481
draws and 23,899 tests; its order system asked for 11,222 mL in 18,509 containers, planning by minimum volumes for
4,915 mL in 15,549. Our unit is invented and only as large: its own volumes stand beside the published ones and are no
repeat of them. Times are neither measured nor asserted. Culture bottles and discards are in neither practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from msgspec.structs import replace

from bench.neonatal_unit import DRAWS, PATIENTS, TESTS, Container, fixed_size, unit_site, year
from bench.report import Line, show
from cubital.model import Order, Site
from cubital.model.vocabulary import ObjectiveKey
from cubital.planning import Planner
from cubital.planning.verify import verify

SEED = 2021
SYSTEM_ML, SYSTEM_CONTAINERS = 11_222, 18_509
MINIMUM_ML, MINIMUM_CONTAINERS = 4_915, 15_549
ML_PER_KG = 1000


class Year(NamedTuple):
    """One practice over all draws: the blood and the containers of each, and how many pass 1 mL/kg."""

    blood_ul: tuple[int, ...]
    containers: tuple[int, ...]
    large: int

    @property
    def words(self) -> str:
        """Both amounts in all and for one draw."""
        blood_ml, count, draws = sum(self.blood_ul) / 1000, sum(self.containers), len(self.blood_ul)
        return f"{blood_ml:,.0f} mL in {count:,} containers ({blood_ml / draws:.2f} mL and {count / draws:.2f} a draw)"


def by_fixed_size(orders: Sequence[Order], site: Site, container: Container) -> Year:
    """The year drawn by fixed-size practice."""
    found = [fixed_size(order, site, container) for order in orders]
    return _year(orders, [(sum(s.draw_ul for s in samples), len(samples)) for samples in found])


def by_plan(orders: Sequence[Order], site: Site, objective: ObjectiveKey) -> Year:
    """The year planned exactly; raises `AssertionError` for a plan that is unsound, not proved or leaves a test out."""
    planner = Planner(site)
    found = []
    for order in (replace(order, objective=objective) for order in orders):
        plan = planner.plan(order)
        if plan.unplaced or not plan.optimal or (findings := verify(plan, order, site)):
            raise AssertionError(f"{[ask.test for ask in order.asks]} by {order.access}: {plan.unplaced or findings}")
        rows = [tube for tube in plan.tubes if tube.purpose == "collect"]
        found.append((sum(tube.draw_ul for tube in rows), len(rows)))
    return _year(orders, found)


def _year(orders: Sequence[Order], found: Sequence[tuple[int, int]]) -> Year:
    large = sum(
        blood_ul * 1000 > ML_PER_KG * (order.patient.weight_g or 0)
        for order, (blood_ul, _) in zip(orders, found, strict=True)
    )
    return Year(tuple(blood for blood, _ in found), tuple(count for _, count in found), large)


def saved(before: Year, after: Year) -> str:
    """How much less blood and how many fewer containers, in percent."""
    blood, count = (100 * (1 - sum(b) / sum(a)) for a, b in zip(before[:2], after[:2], strict=True))
    return f"blood -{blood:.0f} %, containers -{count:.0f} %"


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether no draw takes more blood or more containers than by fixed-size practice."""
    scale = 10 if is_quick else 1
    site = unit_site()
    orders = year(SEED, patients=PATIENTS // scale, draws=DRAWS // scale, tests=TESTS // scale)
    usual, smallest = by_fixed_size(orders, site, "usual"), by_fixed_size(orders, site, "smallest")
    fewest, least = by_plan(orders, site, "fewest-tubes"), by_plan(orders, site, "least-blood")
    no_more_blood = all(ours <= theirs for ours, theirs in zip(least.blood_ul, smallest.blood_ul, strict=True))
    no_more_tubes = all(ours <= theirs for ours, theirs in zip(fewest.containers, usual.containers, strict=True))
    published = Year((SYSTEM_ML * 1000,), (SYSTEM_CONTAINERS,), 0), Year((MINIMUM_ML * 1000,), (MINIMUM_CONTAINERS,), 0)
    return show(
        f"A neonatal unit's year, invented but for its size: {len(orders):,} draws, "
        f"{sum(len(order.asks) for order in orders):,} tests",
        [
            Line("published: as the order system asked", f"{SYSTEM_ML:,} mL in {SYSTEM_CONTAINERS:,} containers"),
            Line("published: by minimum volumes", f"{MINIMUM_ML:,} mL in {MINIMUM_CONTAINERS:,} ({saved(*published)})"),
            Line("fixed-size practice, usual containers", usual.words),
            Line("fixed-size practice, smallest that hold", smallest.words),
            Line("planned, fewest tubes, typical volumes", f"{fewest.words}; of the usual: {saved(usual, fewest)}"),
            Line("planned, least blood, minimum volumes", f"{least.words}; of the usual: {saved(usual, least)}"),
            Line("draws over 1 mL/kg, usual to least blood", f"{usual.large:,} to {least.large:,}"),
            Line("no draw takes more blood", "yes" if no_more_blood else "no", "yes", no_more_blood),
            Line("no draw takes more containers", "yes" if no_more_tubes else "no", "yes", no_more_tubes),
        ],
    )
