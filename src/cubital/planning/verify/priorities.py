"""Is the objective the one that this patient asks for, and is what was left out what matters least?"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from cubital.facts import cultures
from cubital.model import Order, Plan, PlannedTube, Site, Test
from cubital.planning.verify.asked import Asked
from cubital.planning.verify.contents import find_way, hematocrit_of, usable_ul
from cubital.planning.verify.lateness import would_be_late

_CHILD_UNDER_H = 24 * 6939  # 19 years of 365.25 days
_URGENCY = {"stat": 0, "timed": 1, "routine": 2}
_CLASS = {"before-treatment": 0, "cannot-wait": 1, "decides-today": 2, "useful-today": 3, "can-wait": 4}


def check_objective(plan: Plan, order: Order, site: Site) -> list[str]:
    """Whether the plan aims at what was asked, or by the patient at what the rule of near and far gives."""
    stated = order.objective or site.planning.objective
    age_h = order.patient.age_h
    is_child = age_h is not None and age_h < _CHILD_UNDER_H
    limit_ul = plan.totals.limit_ul
    spent_ul = plan.totals.all_blood_ul + order.patient.drawn_ul
    if stated == plan.objective:
        return []
    if stated == "liked-kinds" and plan.objective == "fewest-tubes" and limit_ul is not None:
        return []  # blood is short: it comes before liking
    if stated != "by-patient" or plan.objective == "least-blood":
        return [f"the plan aims at {plan.objective}; {stated} was asked"]
    if plan.objective == "liked-kinds":
        if is_child:
            return ["the plan puts liked kinds before the blood of a child"]
        if limit_ul is not None and 100 * spent_ul > site.planning.near_limit_percent * limit_ul:
            return [f"the plan puts liked kinds first at {spent_ul} uL of a limit of {limit_ul} uL"]
    elif not is_child and limit_ul is None:
        return ["the plan puts blood before liked kinds of an adult without a limit"]
    return []


def check_left_out(plan: Plan, asked: Sequence[Asked], order: Order, site: Site) -> list[str]:
    """No test is left out whose place a test that matters less takes alone, and no culture is under its least."""
    findings = []
    hematocrit = hematocrit_of(order, site)
    urgency: dict[str, int] = {}
    for one in asked:
        urgency[one.key] = min(_URGENCY[one.priority], urgency.get(one.key, _URGENCY["routine"]))
    for entry in plan.unplaced:
        test = site.tests.get(entry.test)
        if test is None or test.culture is not None or order.keep or len(plan.draws) != 1:
            continue
        for tube in plan.tubes:
            if tube.purpose != "collect" or len(tube.tests) != 1 or tube.tests[0] not in site.tests:
                continue
            other = site.tests[tube.tests[0]]
            if other.key not in urgency:
                continue  # nobody asked for it, which is found elsewhere
            mine = (_URGENCY[entry.priority], _CLASS[test.rank or "useful-today"])
            theirs = (urgency[other.key], _CLASS[other.rank or "useful-today"])
            is_better = mine < theirs and _may_replace(test, tube, site, hematocrit)
            if is_better and not would_be_late(test, tube, plan, order, site):
                findings.append(f"{test.key} is left out and {other.key}, which matters less, keeps its tube alone")
    return findings + _check_culture_volume(plan, order, site)


def _may_replace(test: Test, tube: PlannedTube, site: Site, hematocrit: Fraction) -> bool:
    way = find_way(test, tube.kind, tube.matrix)
    kind = site.kinds.get(tube.kind)
    if way is None or kind is None:
        return False
    sizes = [s for s in kind.sizes if (s.draw_ul, s.liquid_additive_ul) == (tube.draw_ul, tube.liquid_additive_ul)]
    recovery = site.planning.recovery
    return bool(sizes) and way[1].minimum_ul <= usable_ul(kind, sizes[0], tube.matrix or "", hematocrit, recovery)


def _check_culture_volume(plan: Plan, order: Order, site: Site) -> list[str]:
    """Whether a culture takes at least what is published for the weight, over all its sets of one moment."""
    taken: dict[tuple[int | None, str], int] = {}
    at = {draw.number: draw for draw in plan.draws}
    for tube in plan.tubes:
        if tube.purpose == "culture" and tube.draw in at:
            if _is_full(tube, order, site):
                return []  # the bottles hold no more
            draw = at[tube.draw]
            taken[draw.at_min, draw.moment] = taken.get((draw.at_min, draw.moment), 0) + tube.draw_ul
    least_ul = cultures().least_ul(order.patient.weight_g)
    full = cultures().table("idsa-asm-2018").rows
    weight_g = order.patient.weight_g
    if weight_g is not None:
        row = next(r for r in full if r.weight_max_g is None or weight_g <= r.weight_max_g)
        least_ul = min(least_ul, row.total_low_ul)
    said = f"the least published is {least_ul} uL"
    return [f"the cultures take {ul} uL; {said}" for ul in taken.values() if ul < least_ul]


def _is_full(tube: PlannedTube, order: Order, site: Site) -> bool:
    """Whether no larger bottle of this kind is on the shelf."""
    kind = site.kinds.get(tube.kind)
    sizes = () if kind is None else kind.sizes
    there = [
        size.draw_ul
        for size in sizes
        if size.in_stock != 0 and (size.expires is None or (order.on is not None and order.on <= size.expires))
    ]
    return tube.draw_ul >= max(there, default=0)
