"""The verdict on a plan: every finding in words."""

from __future__ import annotations

from typing import get_args

from cubital.model import Order, Plan, PlannedTube, Site
from cubital.model.vocabulary import PurposeKey
from cubital.planning.verify.amounts import check_bound, check_stock, check_totals
from cubital.planning.verify.asked import list_asked
from cubital.planning.verify.contents import (
    check_contents,
    check_label,
    find_opposed,
    find_way,
    hematocrit_of,
    usable_ul,
)
from cubital.planning.verify.discards import check_discards
from cubital.planning.verify.draws import by_draw, check_placement, check_sets, serve
from cubital.planning.verify.lateness import check_lateness, would_be_late
from cubital.planning.verify.moments import check_moments
from cubital.planning.verify.priorities import check_left_out, check_objective
from cubital.planning.verify.sequence import check_sequence
from cubital.planning.verify.times import read_events, read_times


def verify(plan: Plan, order: Order, site: Site) -> tuple[str, ...]:
    """Every way in which this plan is not a sound answer to this order at this site; empty is sound.

    Re-derives placement, volumes, stock, totals, limit, bound, order of draw, moments, discards and lateness from the
    order, the site and the shipped facts. It does not search: that the objective is least is what the bound claims and
    what the tests compare with other solvers.
    """
    asked, findings = list_asked(order, site, plan.unsettled)
    findings += _check_head(plan, order, site)
    wanted = read_times(asked, site)
    known, unread = read_events(order, wanted, site)
    draw_of = serve(plan, wanted, known, order.now)
    findings += unread
    findings += check_placement(plan, wanted, draw_of, site)
    findings += check_moments(plan, order, by_draw(wanted, draw_of), known, site)
    findings += check_sets(plan, order, site)
    findings += check_left_out(plan, asked, order, site)
    for tube in plan.tubes:
        findings += _check_purpose(tube, site)
        findings += check_label(tube, order, site)
        if tube.purpose == "collect":
            findings += check_contents(tube, plan, order, site)
    findings += check_stock(plan, order, site)
    findings += check_totals(plan, order, site)
    findings += check_bound(plan)
    findings += check_sequence(plan, order, site)
    findings += check_discards(plan, order, site)
    findings += check_lateness(plan, order, site)
    findings += _check_room(plan, order, site)
    return tuple(findings)


def _check_head(plan: Plan, order: Order, site: Site) -> list[str]:
    """Objective, volumes, access and site are those that were asked for."""
    findings = check_objective(plan, order, site)
    if plan.volumes not in ("typical", "minimum"):
        findings.append(f"the plan takes {plan.volumes!r} volumes; typical and minimum are known")
    if (order.objective or site.planning.objective) == "least-blood" and plan.volumes == "typical":
        findings.append("least-blood takes minimum volumes; the plan takes typical ones")
    if plan.access != order.access:
        findings.append(f"the plan is for {plan.access}; the order is for {order.access}")
    return findings


def _check_purpose(tube: PlannedTube, site: Site) -> list[str]:
    where = f"draw {tube.draw} tube {tube.position} ({tube.kind})"
    if tube.purpose not in get_args(PurposeKey):
        return [f"{where}: a tube to {tube.purpose!r} is nothing this plan may hold"]
    if tube.purpose == "discard" and tube.tests:
        return [f"{where}: a discard tube serves no test"]
    if tube.purpose == "culture":
        cultures = [key for key in tube.tests if key in site.tests and site.tests[key].culture is not None]
        if not tube.tests or len(cultures) < len(tube.tests):
            return [f"{where}: a culture bottle serves blood cultures only"]
    return []


def _check_room(plan: Plan, order: Order, site: Site) -> list[str]:
    """No test is left out that a tube of the plan still has room for, at minimum volume."""
    findings = []
    hematocrit = hematocrit_of(order, site)
    tubes = [tube for tube in plan.tubes if tube.purpose == "collect" and tube.kind in site.kinds]
    for entry in plan.unplaced:
        test = site.tests.get(entry.test)
        if test is None or test.own_tube or len(plan.draws) != 1 or plan.volumes != "minimum":
            continue
        for tube in tubes:
            residents = [site.tests[key] for key in tube.tests if key in site.tests]
            benches = {test.bench, *(resident.bench for resident in residents)}
            shared = len(benches) == 1 or any(benches <= set(g) for g in site.planning.share_benches)
            ways = [find_way(each, tube.kind, tube.matrix) for each in (test, *residents)]
            if not shared or None in ways or any(resident.own_tube for resident in residents):
                continue
            opposed = [words for each in residents for words in find_opposed(test, each) + find_opposed(each, test)]
            if opposed or would_be_late(test, tube, plan, order, site):
                continue
            kind = site.kinds[tube.kind]
            sizes = [s for s in kind.sizes if s.draw_ul == tube.draw_ul]
            needed_ul = sum(way[1].minimum_ul for way in ways if way is not None)
            recovery = site.planning.recovery
            if sizes and needed_ul <= usable_ul(kind, sizes[0], tube.matrix or "", hematocrit, recovery):
                findings.append(f"{entry.test} is left out and tube {tube.position} has room for it")
    return findings
