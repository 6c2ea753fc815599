"""Loads of the centrifuges for ten, twenty and forty tubes, beside CP-SAT at the same optimum, and for two hundred."""

from __future__ import annotations

from time import perf_counter
from typing import NamedTuple

from tests.generators.benches import Waiting, make_bench
from tests.oracles import spin_cpsat
from tests.oracles.spin_cpsat import Timeout, servable

from bench.report import Line, show, spread
from cubital.handling.spin import plan_spins
from cubital.model.centrifuge import SpinPlan

SIZES = (10, 20, 40)
COUNT = 20
SOLVER_S = 30.0


class Outcome(NamedTuple):
    """One bench: our seconds, the solver's or None where it proved nothing in time, and whether both agree."""

    ours_s: float
    solver_s: float | None
    is_same: bool


def bench_of(size: int, seed: int) -> Waiting:
    """An invented bench of so many tubes, some here and some still to come, on rotors of eight places and more."""
    return make_bench(
        seed, least_tubes=size, most_tubes=size, least_pairs=4, most_pairs=12, most_types=6, loads="full",
        slack_s=(1800, 5400),
    )  # fmt: skip


def _plan(waiting: Waiting, *, most_steps: int = 60_000) -> tuple[SpinPlan, float]:
    started = perf_counter()
    plan = plan_spins(*waiting[:3], standing=waiting.standing, most_steps=most_steps)
    return plan, perf_counter() - started


def _measure(waiting: Waiting) -> Outcome:
    plan, ours_s = _plan(waiting)
    asked = servable(waiting, {left.tube for left in plan.left_out})
    if not asked.tubes:
        return Outcome(ours_s, ours_s, plan.is_optimal)
    started = perf_counter()
    try:
        wanted = spin_cpsat.solve(asked, most_runs=plan.score.runs + 1, seconds=SOLVER_S)
    except Timeout:
        return Outcome(ours_s, None, plan.is_optimal)
    return Outcome(ours_s, perf_counter() - started, plan.is_optimal and wanted == plan.score)


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether every bench is proved, agrees with the solver, and most are no slower."""
    lines = []
    for size in SIZES:
        outcomes = [_measure(bench_of(size, seed)) for seed in range(2 if is_quick else COUNT)]
        ratios = [(SOLVER_S if o.solver_s is None else o.solver_s) / o.ours_s for o in outcomes]
        is_same = all(outcome.is_same for outcome in outcomes)
        late = sum(outcome.solver_s is None for outcome in outcomes)
        quicker = sum(ratio >= 1 for ratio in ratios) / len(ratios)
        lines += [
            Line(
                f"{size} tubes: CP-SAT's time over ours",
                spread(ratios) + (f"; {late} not proved by it" if late else ""),
            ),
            Line(f"{size} tubes: no slower than CP-SAT", f"{quicker:.0%}"),
            Line(f"{size} tubes: proved, and the same optimum", "yes" if is_same else "no", "yes", is_same),
            Line(f"{size} tubes: slowest of ours", f"{max(outcome.ours_s for outcome in outcomes):.2f} s"),
        ]
    plan, ours_s = _plan(bench_of(200, 1), most_steps=0)
    gap = "proved" if plan.is_optimal else f"{plan.score.runs} runs, at least {plan.bound.runs}"
    lines.append(Line("200 tubes, search stopped at once", f"{ours_s:.1f} s, {gap}, {plan.score.missed} late"))
    return show("Loads of up to three centrifuges", lines)
