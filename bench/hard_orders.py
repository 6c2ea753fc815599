"""Hard orders (30 tests on one bench, tight stock, 10 kinds of 3 sizes) against the better solver."""

from __future__ import annotations

from time import perf_counter

from tests.oracles.campaign import make_case

from bench.report import Line, show, spread
from bench.solvers import check_equal, fastest_s, instance_of
from cubital.planning import Planner


def measure(seeds: range, *, seconds: float) -> list[float]:
    """For each order our time for the whole plan over the better solver's; over 1 is a loss."""
    ratios = []
    for seed in seeds:
        order, site = make_case("hard", seed, budget=False)
        planner = Planner(site)
        started = perf_counter()
        plan = planner.plan(order)
        ours_s = perf_counter() - started
        best, proved = fastest_s(instance_of(plan, order, site), seconds=seconds)
        check_equal(plan, order, site, proved)
        ratios.append(ours_s / min(best.values()))
    return ratios


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether no order was slower than the better solver."""
    seeds = range(8 if is_quick else 60)
    ratios = measure(seeds, seconds=30.0)
    losses = sum(ratio > 1 for ratio in ratios)
    return show(
        f"{len(seeds)} hard orders: 30 tests on one bench, tight stock, 10 kinds of 3 sizes",
        [
            Line("our whole plan / the better solver", spread(ratios), "at most 1", max(ratios) <= 1),
            Line("orders slower than the better solver", f"{losses} of {len(ratios)}", "0", losses == 0),
        ],
    )
