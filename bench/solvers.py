"""The two general solvers in their fastest modes, on the same packing question."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from time import perf_counter

from tests.oracles import cpsat, highs
from tests.oracles.contract import value_of
from tests.oracles.instance import Answer, Instance

from cubital.model import Order, Plan, Site

SOLVERS = {"HiGHS": highs, "CP-SAT": cpsat}


def fastest_s(
    instance: Instance, *, seconds: float | None = None, forms: Sequence[str] = ("auto",), passes: int = 1
) -> tuple[dict[str, float], Answer]:
    """Each solver's time in the mode that was fastest for this question, and the proved optimum.

    Modes: each form of the program, its levels one by one or in one weighted sum; one thread. Building the
    program and the solver's model counts, as reading the question into ours does. A mode's time is its median
    over the passes; one that runs out of `seconds` counts as that long. Raises `AssertionError` when two
    modes disagree.
    """
    best: dict[str, float] = {}
    proved: Answer | None = None
    for name, solver in SOLVERS.items():
        for form in forms:
            for one_sum in (True, False):
                spent_s = []
                for _ in range(passes):
                    answer = solver.solve(instance, seconds=seconds, form=form, one_sum=one_sum)
                    if answer is None:
                        spent_s.append(seconds or float("inf"))
                        continue
                    if proved is not None and answer != proved:
                        raise AssertionError(f"{name} found {answer}, another mode {proved}")
                    proved = answer
                    spent_s.append(answer.build_s + answer.solve_s)
                best[name] = min(best.get(name, float("inf")), median(spent_s))
    if proved is None:
        raise AssertionError("no solver answered in time")
    return best, proved


def stating_s(order: Order, site: Site, *, minimum: bool) -> float:
    """Seconds that it takes to state the question for a solver."""
    started = perf_counter()
    Instance.of(order, site, minimum=minimum)
    return perf_counter() - started


def check_equal(plan: Plan, order: Order, site: Site, proved: Answer) -> None:
    """Refuses a comparison of speed at unequal optima."""
    reached = value_of(plan, order, site)
    cost = (reached.tubes, reached.blood_ul, reached.preference)
    kept = sum(proved.kept) + sum(reached.loss) == len(Instance.of(order, site, minimum=False).requests)
    if not kept or cost != (proved.tubes, proved.blood_ul, proved.preference) or not plan.optimal:
        raise AssertionError(f"the plan reached {reached}, a solver {proved}")
