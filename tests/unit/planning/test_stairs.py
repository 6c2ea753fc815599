"""Stairs: the best packing of a cluster for every amount of blood, and the best of several together."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cubital.planning.stairs import Stairs, Step, best_within, one_number


class Asked:
    """Packings as (blood, cost); remembers each budget it was asked for."""

    def __init__(self, *packings: tuple[int, int]) -> None:
        self.packings = packings
        self.budgets: list[int] = []

    def __call__(self, budget_ul: int) -> Step[str] | None:
        self.budgets.append(budget_ul)
        within = [(cost, blood) for blood, cost in self.packings if blood <= budget_ul]
        return None if not within else Step(min(within)[1], min(within)[0], f"{min(within)}")


def test_the_steps_come_down_from_the_budget_each_with_less_blood() -> None:
    stairs = Stairs(Asked((5, 1), (4, 9), (3, 2), (0, 7)))
    assert [(step.blood_ul, step.cost) for step in stairs.steps(9)] == [(5, 1), (3, 2), (0, 7)]
    assert [step.blood_ul for step in stairs.steps(4)] == [3, 0]
    assert [step.blood_ul for step in stairs.steps(2)] == [0]


def test_a_budget_between_a_step_and_what_it_was_found_for_is_not_asked_again() -> None:
    asked = Asked((5, 1), (3, 2))
    stairs = Stairs(asked)
    stairs.steps(9)
    before = list(asked.budgets)
    assert [step.blood_ul for step in stairs.steps(7)] == [5, 3]
    assert stairs.steps(2) == []
    assert asked.budgets == before == [9, 4, 2]
    assert [step.blood_ul for step in stairs.steps(10)] == [5, 3]
    assert asked.budgets == [9, 4, 2, 10]


def test_no_packing_is_no_step() -> None:
    assert Stairs(Asked()).steps(100) == []
    assert best_within([Stairs(Asked()), Stairs(Asked((1, 1)))], 100) is None


def test_nothing_to_pack_takes_nothing() -> None:
    assert best_within([], 0) == []


packings = st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=1, max_size=5)


@given(st.lists(packings, min_size=1, max_size=4), st.integers(0, 80))
def test_the_best_of_each_is_the_best_of_all_choices(clusters: list[list[tuple[int, int]]], budget_ul: int) -> None:
    chosen = best_within([Stairs(Asked(*cluster)) for cluster in clusters], budget_ul)
    costs = [
        sum(cost for _, cost in choice)
        for choice in product(*clusters)
        if sum(blood for blood, _ in choice) <= budget_ul
    ]
    assert (chosen is None) == (not costs)
    if chosen is not None:
        assert sum(step.cost for step in chosen) == min(costs)
        assert sum(step.blood_ul for step in chosen) <= budget_ul


levels = st.tuples(*[st.integers(0, 2**20)] * 6)


@given(levels, levels)
def test_costs_in_one_number_compare_and_add_level_by_level(a: tuple[int, ...], b: tuple[int, ...]) -> None:
    assert (one_number(a) < one_number(b)) == (a < b)
    assert one_number(a) + one_number(b) == one_number([x + y for x, y in zip(a, b, strict=True)])


@pytest.mark.parametrize(("levels", "number"), [((), 0), ((5,), 5), ((1, 0), 1 << 24), ((1, 2), (1 << 24) + 2)])
def test_a_level_takes_twenty_four_bits(levels: tuple[int, ...], number: int) -> None:
    assert one_number(levels) == number
