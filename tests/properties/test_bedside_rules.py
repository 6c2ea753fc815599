"""What must hold of every plan at a bedside, whatever the optimum is."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest
from msgspec.structs import replace

from cubital.errors import PlanError
from cubital.facts import Cap, cultures
from cubital.model import Accept, Ask, Order, Plan, Planning, Site, Test, Tube, TubeKind
from cubital.planning import Planner, plan_draw
from tests.generators import FAMILIES, Case
from tests.generators.bedside import at_bedside
from tests.oracles.contract import VOLUME_LEVEL, value_of
from tests.oracles.instance import is_child

BLOCK = 40
_EASES_UL = (1000, 2500, 6000, 20_000)


def a_case(seed: int, family: str = "small") -> Case:
    """The case of this seed, its blood limited, its cultures and draws as the seed says."""
    random = Random(seed)
    case = FAMILIES[family](random)
    return at_bedside(
        case, random, limited=True, draws=1 + seed % 2, cultures=seed % 3 == 0, reserve=seed % 4 == 1
    )


def with_policy(site: Site, **fields: object) -> Site:
    return replace(site, planning=replace(site.planning, **fields))


def loss_of(case: Case) -> tuple[int, ...]:
    return value_of(plan_draw(*case), *case).loss


def with_limit(case: Case, more_ul: int) -> Case:
    """The same with so much more blood that may be drawn."""
    limit = case.site.limits["house"]
    caps = (Cap(period_h=24, cap_ul=(limit.caps[0].cap_ul or 0) + more_ul),)
    return Case(case.order, replace(case.site, limits={"house": replace(limit, caps=caps)}))


@pytest.mark.parametrize("block", range(4))
def test_more_blood_never_serves_less(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        case = a_case(seed)
        before = loss_of(case)
        for more_ul in _EASES_UL:
            after = loss_of(with_limit(case, more_ul))
            assert after <= before, (seed, more_ul)
            before = after


@pytest.mark.parametrize("block", range(4))
def test_a_kind_that_nothing_asked_accepts_changes_nothing(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = a_case(seed)
        idle = TubeKind(key="idle", name="idle", additive="k2-edta", sizes=(Tube(draw_ul=500), Tube(draw_ul=2000)))
        assert plan_draw(order, replace(site, kinds={**site.kinds, "idle": idle})) == plan_draw(order, site), seed
        assert plan_draw(order, replace(site, kinds={"idle": idle, **site.kinds})) == plan_draw(order, site), seed


@pytest.mark.parametrize("block", range(4))
def test_blood_is_never_drawn_past_the_limit(block: int) -> None:
    passed = Counter[str]()
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = a_case(seed)
        totals = plan_draw(order, site).totals
        assert totals.limit_ul is not None
        assert totals.all_blood_ul <= max(0, totals.limit_ul - order.patient.drawn_ul), seed
        passed["something drawn"] += totals.all_blood_ul > 0
    assert passed["something drawn"] >= BLOCK // 3


@pytest.mark.parametrize("objective", ["fewest-tubes", "liked-kinds"])
@pytest.mark.parametrize("limited", [False, True])
def test_a_reserve_adds_no_tube_makes_no_kind_less_liked_and_leaves_no_test_out(objective: str, limited: bool) -> None:
    """Whatever the lots share; where the plan's objective is the same with the reserve and without."""
    compared = Counter[str]()
    for seed in range(120):
        random = Random(seed)
        order, site = at_bedside(FAMILIES["small"](random), random, limited=limited, draws=2, reserve=True)
        order = replace(order, objective=objective)
        plans = [plan_draw(order, with_policy(site, reserve_percent=percent)) for percent in (0, 100)]
        values = [value_of(plan, order, site) for plan in plans]
        assert values[1].loss == values[0].loss, seed
        assert values[1].volumes == values[0].volumes, seed
        if values[1].objective == values[0].objective:
            assert values[1].tubes == values[0].tubes, seed
            if objective == "liked-kinds" and values[1].objective == objective:
                assert values[1].preference == values[0].preference, seed
        compared["kept"] += any(tube.reserve_ul for tube in plans[1].tubes)
        compared["given up"] += not any(tube.reserve_ul for tube in plans[1].tubes) and bool(plans[1].tubes)
    assert min(compared["kept"], compared["given up"]) >= 10


def test_kinds_that_are_liked_come_first_far_from_the_limit_and_blood_near_it() -> None:
    """By the patient: an adult whose draw of liked kinds, reserve and all, stays within the near share of the limit."""
    found = Counter[str]()
    for seed in range(240):
        order, site = a_case(seed)
        order = replace(order, objective="by-patient")
        plan = plan_draw(order, site)
        if is_child(order):
            assert plan.objective == "fewest-tubes", seed
            assert not any(tube.reserve_ul for tube in plan.tubes), seed
            found["child"] += 1
            continue
        limit_ul = plan.totals.limit_ul or 0
        near_ul = limit_ul * site.planning.near_limit_percent // 100
        liked = plan_draw(replace(order, objective="liked-kinds"), with_policy(site, blood_limit=None))
        is_far = liked.totals.all_blood_ul + order.patient.drawn_ul <= near_ul
        assert plan.objective == ("liked-kinds" if is_far else "fewest-tubes"), seed
        found["far" if is_far else "near"] += 1
    assert min(found[what] for what in ("child", "far", "near")) >= 15


# Cultures


def cultures_drawn(plan: Plan) -> list[int]:
    """The blood of the cultures of each moment."""
    at = {draw.number: (draw.at_min, draw.moment) for draw in plan.draws}
    taken: Counter[object] = Counter()
    for tube in plan.tubes:
        if tube.purpose == "culture":
            taken[at[tube.draw]] += tube.draw_ul
    return list(taken.values())


def test_a_culture_keeps_its_least_volume_and_no_choice_loses_less_by_rank_than_the_plan() -> None:
    """So no test that is useful today is given up for volume: the choice that keeps it would lose less."""
    found = Counter[str]()
    for seed in range(0, 480, 3):
        order, site = a_case(seed)
        planner = Planner(site)
        plan = planner.plan(order)
        for taken_ul in cultures_drawn(plan):
            assert taken_ul >= min(cultures().least_ul(order.patient.weight_g), 10_000), seed  # a bottle takes 10 mL
            found["drawn"] += 1
        loss = value_of(plan, order, site).loss
        for choice in plan.choices:
            other = planner.plan(replace(order, keep=(*order.keep, choice.keep)))
            theirs = value_of(other, order, site).loss
            assert theirs >= loss, (seed, choice.keep)
            found["choices"] += 1
        found["short of volume"] += bool(cultures_drawn(plan)) and loss[VOLUME_LEVEL] > 0
    assert found["drawn"] >= 30
    assert found["choices"] >= 60
    assert found["short of volume"] >= 5


@pytest.mark.parametrize("block", range(2))
def test_each_choice_keeps_its_test_and_is_the_plan_of_who_takes_it(block: int) -> None:
    seen = 0
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = a_case(seed)
        planner = Planner(site)
        for choice in planner.plan(order).choices:
            taken = planner.plan(replace(order, keep=(*order.keep, choice.keep)))
            assert choice.keep not in choice.left_out, seed
            assert tuple(entry.test for entry in taken.unplaced) == choice.left_out, seed
            assert (taken.totals.tubes, taken.totals.all_blood_ul) == (choice.tubes, choice.all_blood_ul), seed
            seen += 1
    assert seen >= 8


def test_a_plan_is_not_optimal_only_where_the_search_was_cut() -> None:
    """With nodes to spare every plan is proved; with two some are cut, and none of these is better than proved."""
    cut = 0
    for seed in range(60):
        order, site = a_case(seed, "medium")
        proved = plan_draw(order, site)
        assert proved.optimal, seed
        try:
            plan = Planner(site, node_limit=2).plan(order)
        except PlanError:
            cut += 1  # cut off without a packing
            continue
        if plan.optimal:
            assert value_of(plan, order, site) == value_of(proved, order, site), seed
        else:
            assert _worth(plan, Case(order, site)) >= _worth(proved, Case(order, site)), seed
            cut += 1
    assert cut >= 10


def _worth(plan: Plan, case: Case) -> tuple[object, ...]:
    value = value_of(plan, *case)
    return value.loss, value.volumes == "minimum", value.levels


# A tube that spares a discard


def a_site_with_glass(glass_ul: int) -> Site:
    """Coagulation by winged set, and a test in gel serum or in plain glass, which WHO 2010 puts before citrate."""
    citrate = Tube(draw_ul=1800, liquid_additive_ul=200)
    kinds = (
        TubeKind(key="citrate", name="citrate", additive="citrate-9-1", sizes=(citrate,)),
        TubeKind(key="glass", name="glass", additive="none", material="glass", sizes=(Tube(draw_ul=glass_ul),)),
        TubeKind(key="gel", name="gel", additive="clot-activator", gel=True, sizes=(Tube(draw_ul=2000),)),
    )
    plasma = Accept(matrix="plasma", tubes=("citrate",), volume_ul=300, minimum_ul=300)
    serum = Accept(matrix="serum", tubes=("gel", "glass"), volume_ul=300, minimum_ul=300)
    tests = (
        Test(key="prothrombin", name="prothrombin", bench="coagulation", accepts=(plasma,)),
        Test(key="antibody", name="antibody", bench="serology", accepts=(serum,)),
    )
    return Site(
        name="an invented site", kinds={kind.key: kind for kind in kinds}, tests={test.key: test for test in tests},
        planning=Planning(order_of_draw="who-2010", blood_limit=None),
    )  # fmt: skip


@pytest.mark.parametrize(("glass_ul", "is_first"), [(2499, True), (2501, False)], ids=["saves 1 uL", "costs 1 uL"])
def test_a_harmless_tube_is_drawn_first_exactly_where_that_takes_less_blood(glass_ul: int, is_first: bool) -> None:
    asks = (Ask(test="prothrombin"), Ask(test="antibody"))
    order = Order(asks=asks, access="winged-set", objective="fewest-tubes")
    plan = plan_draw(order, a_site_with_glass(glass_ul))
    assert (plan.tubes[0].kind, plan.tubes[0].purpose) == ("glass", "collect" if is_first else "discard")
    assert plan.totals.blood_ul == 1800 + min(glass_ul, 2000 + 500)
    assert plan.optimal
