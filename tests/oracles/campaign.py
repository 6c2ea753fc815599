"""Compare the planner with the oracles on thousands of generated orders: python -m tests.oracles.campaign."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from random import Random
from time import perf_counter

from msgspec.structs import replace

from cubital.model import Patient, Site
from cubital.planning import plan_draw
from cubital.planning.verify import verify
from tests.generators import FAMILIES, Case
from tests.oracles import brute, cpsat, highs
from tests.oracles.contract import Promise, Solve, promise, value_of

ORACLES: dict[str, Solve] = {"brute": brute.solve, "highs": highs.solve, "cpsat": cpsat.solve}
CHOICES = {
    "small": ("brute", "highs", "cpsat"),
    "medium": ("highs", "cpsat"),
    "realistic": ("highs", "cpsat"),
    "hard": ("highs",),
}


def with_budget(case: Case, random: Random) -> Case:
    """The same question for a child whose limit cuts into the order, by the shipped limit."""
    weight_g = random.choice((900, 1500, 2500, 4000, 7000, 12000))
    age_h = random.choice((24 * 5, 24 * 90, 8766 * 2, 8766 * 5))
    drawn_ul = random.choice((0, 0, 500, 1500))
    patient = Patient(weight_g=weight_g, age_h=age_h, drawn_ul=drawn_ul)
    planning = replace(case.site.planning, blood_limit="hospital-2-5-percent")
    return Case(replace(case.order, patient=patient), replace(case.site, planning=planning))


def compare(case: Case, oracles: tuple[str, ...]) -> list[str]:
    """Every disagreement between the plan, its verification and each oracle; empty is agreement."""
    order, site = case
    plan = plan_draw(order, site)
    faults = [f"verify: {finding}" for finding in verify(plan, order, site)]
    if not plan.optimal:
        faults.append("the plan does not call itself optimal")
    found = value_of(plan, order, site)
    for name in oracles:
        wanted: Promise = promise(order, site, ORACLES[name], limit_ul=plan.totals.limit_ul)
        if wanted != found:
            faults.append(f"{name}: {_terms(wanted)}; the plan has {_terms(found)}")
    return faults


def _terms(reached: Promise) -> str:
    cost = f"{reached.tubes} tubes, {reached.blood_ul} uL, preference {reached.preference}"
    loss = f"loss {reached.loss}, cultures {reached.culture_ul} uL"
    return f"{reached.objective}, {reached.volumes} volumes, {loss}, {cost}"


def make_case(family: str, seed: int, *, budget: bool) -> Case:
    """The case of this family and seed, the same every time."""
    random = Random(seed)
    case = FAMILIES[family](random)
    return with_budget(case, random) if budget else case


def run(family: str, count: int, seed: int, *, budget_share: float) -> int:
    """Compare `count` cases, print every disagreement and the tally; how many disagreed."""
    started, wrong, tally = perf_counter(), 0, Counter[str]()
    for number in range(seed, seed + count):
        budget = Random(-number - 1).random() < budget_share
        case = make_case(family, number, budget=budget)
        faults = compare(case, CHOICES[family])
        tally["with a blood limit"] += budget
        tally["with counted stock"] += _is_counted(case.site)
        for fault in faults:
            print(f"{family} {number}{' limited' if budget else ''}: {fault}")
        wrong += bool(faults)
    spent_s = perf_counter() - started
    details = ", ".join(f"{count} {what}" for what, count in sorted(tally.items()))
    against = ", ".join(CHOICES[family])
    print(f"{family}: {count} compared with {against}; {wrong} disagree; {details}; {spent_s:.0f} s")
    return wrong


def _is_counted(site: Site) -> bool:
    return any(size.in_stock is not None for kind in site.kinds.values() for size in kind.sizes)


def main() -> int:
    """Read the command line and run; exit status 1 on any disagreement."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000, help="orders in all, shared among the families")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--family", choices=sorted(CHOICES), default=None)
    chosen = parser.parse_args()
    shares = {"small": 0.6, "medium": 0.3, "realistic": 0.1}
    families = {chosen.family: 1.0} if chosen.family else shares
    wrong = sum(
        run(family, max(1, round(chosen.count * share)), chosen.seed, budget_share=0.3)
        for family, share in families.items()
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
