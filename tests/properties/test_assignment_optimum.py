"""Tests go into given tubes at the least sum of places that CP-SAT finds, or not at all where it proves that."""

from __future__ import annotations

from random import Random
from typing import NamedTuple

import pytest
from ortools.sat.python import cp_model

from cubital.planning import assignment, fillings
from cubital.planning.assignment import Placed, Unfit, assign


class Leaf(NamedTuple):
    """Tests with their ways (tube, need, place), and tubes with capacity and lane."""

    tests: list[list[tuple[int, int, int]]]
    caps: list[int]
    lanes: list[int]


def make_leaf(random: Random, *, alike: bool, tests: int) -> Leaf:
    """A packing is planted and the tubes are little larger; `alike` tests need as much in every tube."""
    tubes = random.randint(2, 6)
    lanes = [random.randrange(tubes) for _ in range(tubes)]
    spare = random.choice((0.0, 0.01, 0.03, 0.08, 0.2))
    loads, found = [0] * tubes, []
    for _ in range(tests):
        need, home = random.randint(20, 900), random.randrange(tubes)
        accepted = {lanes[home], *random.sample(sorted(set(lanes)), random.randint(1, len(set(lanes))))}
        needs = {lane: need if alike else max(1, int(need * random.uniform(0.7, 1.3))) for lane in sorted(accepted)}
        places = {lane: random.randint(0, 4) for lane in sorted(accepted)}
        loads[home] += needs[lanes[home]]
        found.append([(i, needs[lane], places[lane]) for i, lane in enumerate(lanes) if lane in accepted])
    caps = [int(load * (1 + spare)) - random.choice((0, 0, 0, 1, 15)) for load in loads]
    return Leaf(found, [max(cap, 0) for cap in caps], lanes)


def solve(leaf: Leaf) -> int | None:
    """The least sum of places by CP-SAT; None where no assignment exists."""
    model = cp_model.CpModel()
    chosen = {(n, w): model.new_bool_var("") for n, ways in enumerate(leaf.tests) for w in range(len(ways))}
    for n, ways in enumerate(leaf.tests):
        model.add_exactly_one([chosen[n, w] for w in range(len(ways))])
    for tube, cap in enumerate(leaf.caps):
        inside = [(x, leaf.tests[n][w][1]) for (n, w), x in chosen.items() if leaf.tests[n][w][0] == tube]
        model.add(cp_model.LinearExpr.weighted_sum([x for x, _ in inside], [need for _, need in inside]) <= cap)
    places = [(x, leaf.tests[n][w][2]) for (n, w), x in chosen.items()]
    model.minimize(cp_model.LinearExpr.weighted_sum([x for x, _ in places], [place for _, place in places]))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.linearization_level = 2
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


def check(leaf: Leaf) -> int | None:
    """Compare the assignment with CP-SAT; the sum that both found."""
    wanted = solve(leaf)
    found = assign(leaf.tests, leaf.caps, leaf.lanes)
    if wanted is None:
        assert isinstance(found, Unfit)
        assert found.proved
        return None
    assert isinstance(found, Placed)
    assert found.least == found.preference == wanted == count_places(leaf, found.tube_of)
    same = assign(leaf.tests, leaf.caps, leaf.lanes, below=wanted + 1)
    assert isinstance(same, Placed)
    assert same.preference == wanted
    beaten = assign(leaf.tests, leaf.caps, leaf.lanes, below=wanted)
    assert isinstance(beaten, Unfit)
    assert beaten.proved
    assert beaten.is_beaten
    return wanted


def count_places(leaf: Leaf, tube_of: tuple[int, ...]) -> int:
    """The sum of places of an assignment that keeps every capacity."""
    load, total = [0] * len(leaf.caps), 0
    for ways, tube in zip(leaf.tests, tube_of, strict=True):
        need, place = next((need, place) for at, need, place in ways if at == tube)
        load[tube] += need
        total += place
    assert all(used <= cap for used, cap in zip(load, leaf.caps, strict=True))
    return total


@pytest.mark.parametrize("alike", [True, False])
@pytest.mark.parametrize("seed", range(40))
def test_tests_are_placed_at_the_least_sum_of_places(seed: int, alike: bool) -> None:
    random = Random(seed)
    check(make_leaf(random, alike=alike, tests=random.randint(2, 24)))


@pytest.mark.parametrize("alike", [True, False])
@pytest.mark.parametrize("seed", range(40))
def test_the_search_over_fillings_alone_places_tests_at_the_least_sum(
    seed: int, alike: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(assignment, "_QUICK_NODES", 0)
    random = Random(1000 + seed)
    check(make_leaf(random, alike=alike, tests=random.randint(2, 22)))


@pytest.mark.parametrize("seed", range(30))
def test_where_fillings_are_too_many_the_depth_first_search_finds_the_least_sum(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(assignment, "_QUICK_NODES", 0)
    monkeypatch.setattr(fillings, "_MOST_WORK", 0)
    random = Random(2000 + seed)
    check(make_leaf(random, alike=seed % 2 == 0, tests=random.randint(2, 14)))


def test_many_of_these_questions_have_no_answer_and_many_have_one() -> None:
    """Otherwise the comparison would compare nothing."""
    answers = []
    for seed in range(40):
        random = Random(seed)
        answers.append(solve(make_leaf(random, alike=True, tests=random.randint(2, 24))))
    assert 5 <= answers.count(None) <= 30
