"""The two general solvers in their fastest modes, on the same packing question."""

from __future__ import annotations

from tests.oracles import cpsat, highs
from tests.oracles.contract import value_of
from tests.oracles.instance import Answer, Instance

from cubital.model import Order, Plan, Site


def instance_of(plan: Plan, order: Order, site: Site) -> Instance:
    """The packing question that this plan answered."""
    return Instance.of(order, site, minimum=plan.volumes == "minimum")


def fastest_s(instance: Instance, *, seconds: float | None = None) -> tuple[dict[str, float], Answer]:
    """Each solver's best time over its modes, building its model included, and the proved optimum.

    Modes: the objective level by level, or in one weighted sum; one thread. A mode that runs out of
    `seconds` counts as that long. Raises `AssertionError` when two modes disagree.
    """
    best: dict[str, float] = {}
    proved: Answer | None = None
    for name, module in (("HiGHS", highs), ("CP-SAT", cpsat)):
        for one_sum in (True, False):
            answer = module.solve(instance, seconds=seconds, one_sum=one_sum)
            if answer is None:
                best[name] = min(best.get(name, float("inf")), seconds or float("inf"))
                continue
            if proved is not None and answer != proved:
                raise AssertionError(f"{name} found {answer}, another mode {proved}")
            proved = answer
            best[name] = min(best.get(name, float("inf")), answer.build_s + answer.solve_s)
    if proved is None:
        raise AssertionError("no solver answered in time")
    return best, proved


def check_equal(plan: Plan, order: Order, site: Site, proved: Answer) -> None:
    """Refuses a comparison of speed at unequal optima."""
    reached = value_of(plan, order, site).answer
    if reached != proved:
        raise AssertionError(f"the plan reached {reached}, a solver {proved}")
