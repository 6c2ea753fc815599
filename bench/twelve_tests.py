"""12-test orders, none asked before: our packing, and our whole plan, against both solvers."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from statistics import median
from time import perf_counter
from typing import Any, NamedTuple

from tests.generators import Case
from tests.oracles.instance import Instance

from bench.orders import PLACES
from bench.report import Line, show, spread
from bench.solvers import SOLVERS, check_equal, fastest_s, stating_s
from cubital.model import Plan
from cubital.planning import Planner, cleared
from cubital.planning.packing import pack

TARGET = 50
PASSES = 5
FORMS = ("auto", "patterns")


class Race(NamedTuple):
    """The seconds one order took: our packing, our whole plan, each solver, and stating the question for one."""

    packing_s: float
    plan_s: float
    solver_s: dict[str, float]
    stating_s: float


def race(case: Case) -> Race:
    """One order raced; raises `AssertionError` where the optima are not equal."""
    order, site = case
    plan, packings = _packings(case)
    ours_s = median([_spent_s(lambda: [packing() for packing in packings]) for _ in range(PASSES)])
    minimum = plan.volumes == "minimum"
    instance = Instance.of(order, site, minimum=minimum)
    best, proved = fastest_s(instance, forms=FORMS, passes=PASSES)
    check_equal(plan, order, site, proved)
    plan_s = []
    for _ in range(PASSES):
        planner = prepared(case)
        plan_s.append(_spent_s(partial(planner.plan, order)))
    stated_s = median([stating_s(order, site, minimum=minimum) for _ in range(PASSES)])
    return Race(ours_s, median(plan_s), best, stated_s)


def prepared(case: Case) -> Planner:
    """A planner whose shelf and directory stand ready, and that was never asked anything."""
    planner = Planner(case.site)
    planner.prepare(case.order)
    return planner


def _packings(case: Case) -> tuple[Plan, list[Callable[[], Any]]]:
    """The plan of a case, and the packings it asked for on the way, to be asked again."""
    asked: list[Callable[[], Any]] = []
    planner = prepared(case)
    with _watched(asked):
        plan = planner.plan(case.order)
    return plan, asked


@contextmanager
def _watched(asked: list[Callable[[], Any]]) -> Iterator[None]:
    def watch(*args: Any, **named: Any) -> Any:
        asked.append(partial(pack, *args, **named))
        return pack(*args, **named)

    vars(cleared)["pack"] = watch
    try:
        yield
    finally:
        vars(cleared)["pack"] = pack


def _spent_s(work: Callable[[], object]) -> float:
    gc.disable()
    started = perf_counter()
    work()
    spent_s = perf_counter() - started
    gc.enable()
    return spent_s


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether the targets are met."""
    count = 15 if is_quick else 120
    outcomes = [_run_place(name, [race(case) for case in cases(count)]) for name, cases in PLACES.items()]
    return all(outcomes)


def _run_place(name: str, races: list[Race]) -> bool:
    packing_s, plan_s = [race.packing_s for race in races], [race.plan_s for race in races]
    lines = [
        Line("our packing, our whole plan", f"median {1e6 * median(packing_s):.0f} us, {1e6 * median(plan_s):.0f} us")
    ]
    for solver in SOLVERS:
        theirs_s = [race.solver_s[solver] for race in races]
        asked_s = [race.solver_s[solver] + race.stating_s for race in races]
        lines.append(Line(solver, f"median {1e6 * median(theirs_s):.0f} us"))
        ratios = _ratios(theirs_s, packing_s)
        middle, total = median(ratios), sum(theirs_s) / sum(packing_s)
        whole = _ratios(asked_s, plan_s)
        lines += [
            Line(f"{solver} / our packing", spread(ratios), f"median {TARGET}", middle >= TARGET),
            Line(f"{solver} / our packing, in all", f"{total:.3g}", f"{TARGET}", total >= TARGET),
            Line(f"{solver} and stating the question / our whole plan", spread(whole)),
        ]
    return show(f"{len(races)} orders of 12 tests at {name}: none asked before, equal optimum every time", lines)


def _ratios(theirs_s: list[float], ours_s: list[float]) -> list[float]:
    return [theirs / ours for theirs, ours in zip(theirs_s, ours_s, strict=True)]
