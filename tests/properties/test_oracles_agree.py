"""The oracles agree with one another, and the verifier accepts what they pack and nothing less."""

from __future__ import annotations

from random import Random

import pytest
from msgspec.structs import replace

from cubital.planning.verify import verify
from tests.generators import FAMILIES, Case, hard, medium, realistic, small
from tests.oracles import brute, cpsat, highs
from tests.oracles.composition import compose
from tests.oracles.contract import promise
from tests.oracles.instance import Instance


@pytest.mark.parametrize("seed", range(120))
def test_brute_force_highs_and_cp_sat_agree_in_both_forms(seed: int) -> None:
    order, site = small(Random(seed))
    for minimum in (False, True):
        for budget_ul in (None, 4000, 9000):
            instance = Instance.of(order, site, minimum=minimum, budget_ul=budget_ul)
            wanted = brute.solve(instance)
            for form in ("patterns", "assignment"):
                assert highs.solve(instance, form=form) == wanted
                assert cpsat.solve(instance, form=form) == wanted


@pytest.mark.parametrize("seed", range(60))
def test_highs_and_cp_sat_agree_on_medium_orders(seed: int) -> None:
    order, site = medium(Random(seed))
    for budget_ul in (None, 12000):
        instance = Instance.of(order, site, minimum=True, budget_ul=budget_ul)
        wanted = cpsat.solve(instance)
        assert wanted is not None
        assert highs.solve(instance, form="patterns") == wanted
        assert highs.solve(instance, form="assignment") == wanted
        assert highs.solve(instance, one_sum=True) == wanted
        assert cpsat.solve(instance, one_sum=True) == wanted


@pytest.mark.parametrize("seed", range(3))
def test_a_planted_hard_order_is_kept_whole(seed: int) -> None:
    order, site = hard(Random(seed), spare=2)
    instance = Instance.of(order, site, minimum=False)
    answer = highs.solve(instance)
    assert answer is not None
    assert answer.kept == instance.everything
    assert sum(answer.kept) == 30
    assert cpsat.solve(instance) == answer


@pytest.mark.parametrize("family", ["small", "medium", "realistic"])
def test_a_family_gives_the_same_case_for_the_same_seed(family: str) -> None:
    assert FAMILIES[family](Random(5)) == FAMILIES[family](Random(5))
    assert FAMILIES[family](Random(5)) != FAMILIES[family](Random(6))


def test_the_small_family_holds_what_a_packing_can_meet() -> None:
    """Among 400 small cases there are tight stocks, dropped tests, own tubes and volumes that compete."""
    cases = [small(Random(seed)) for seed in range(400)]
    reached = [promise(order, site, brute.solve) for order, site in cases]
    everything = [Instance.of(order, site, minimum=True).everything for order, site in cases]
    assert sum(r.answer.kept != all_ for r, all_ in zip(reached, everything, strict=True)) >= 10
    assert sum(r.volumes == "typical" for r in reached) >= 100
    assert sum(len(tube.requests) > 1 for r in reached for tube in r.answer.packing) >= 150
    assert sum(test.own_tube for _, site in cases for test in site.tests.values()) >= 50
    assert sum(r.answer.preference > 0 for r in reached) >= 80
    assert sum(r.answer.tubes > len({t.size for t in r.answer.packing}) for r in reached) >= 40


@pytest.mark.parametrize("seed", range(150))
@pytest.mark.parametrize("family", [small, medium, realistic])
def test_the_verifier_accepts_a_plan_written_around_an_optimal_packing(seed: int, family: object) -> None:
    assert callable(family)
    case = family(Random(seed))
    reached = promise(case.order, case.site, cpsat.solve)
    assert verify(compose(case.order, case.site, reached), case.order, case.site) == ()


@pytest.mark.parametrize("seed", range(150))
def test_the_verifier_refuses_a_sound_plan_once_any_row_is_dropped_or_shrunk(seed: int) -> None:
    case: Case = medium(Random(seed))
    plan = compose(case.order, case.site, promise(case.order, case.site, cpsat.solve))
    random = Random(seed)
    if not plan.tubes:
        return
    position = random.randrange(len(plan.tubes))
    dropped = replace(plan, tubes=plan.tubes[:position] + plan.tubes[position + 1 :])
    assert verify(dropped, case.order, case.site)
    row = plan.tubes[position]
    shrunk = replace(row, draw_ul=row.draw_ul - 1)
    assert verify(
        replace(plan, tubes=(*plan.tubes[:position], shrunk, *plan.tubes[position + 1 :])),
        case.order,
        case.site,
    )
