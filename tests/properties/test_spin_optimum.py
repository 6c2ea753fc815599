"""Centrifuge runs are the best there are: brute force and CP-SAT find none better, the verifier no fault."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital.handling.spin import plan_spins
from cubital.handling.verify_spin import verify_spins
from cubital.model.centrifuge import SpinPlan
from tests.generators.benches import Waiting, make_bench
from tests.oracles.spin_brute import solve as brute
from tests.oracles.spin_campaign import compare, tiny
from tests.oracles.spin_cpsat import servable
from tests.oracles.spin_cpsat import solve as cpsat

QUICK = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
SEEDS = st.integers(0, 10**6)


def plan_of(waiting: Waiting, *, most_steps: int = 60_000) -> SpinPlan:
    plan = plan_spins(
        waiting.tubes, waiting.centrifuges, waiting.programs, standing=waiting.standing, most_steps=most_steps
    )
    assert verify_spins(plan, *waiting[:3], standing=waiting.standing) == []
    return plan


@pytest.mark.parametrize("seed", range(5000, 5090))
def test_trying_everything_finds_no_better_runs(seed: int) -> None:
    assert compare("tiny", seed) == []


@pytest.mark.parametrize("seed", range(24))
def test_a_general_solver_finds_no_better_runs(seed: int) -> None:
    assert compare("small", seed) == []


@pytest.mark.parametrize("seed", range(8))
def test_a_general_solver_finds_no_better_runs_for_twenty_tubes(seed: int) -> None:
    assert compare("medium", seed) == []


@pytest.mark.parametrize("seed", range(20))
def test_the_oracles_agree_with_each_other(seed: int) -> None:
    waiting = tiny(seed)
    asked = servable(waiting, {left.tube for left in plan_of(waiting).left_out})
    if asked.tubes:
        assert brute(asked) == cpsat(asked, most_runs=len(asked.tubes))


@QUICK
@given(SEEDS, st.integers(1, 3600))
def test_more_time_for_every_tube_never_scores_worse(seed: int, more_s: int) -> None:
    waiting = tiny(seed)
    later = tuple(replace(t, due_s=None if t.due_s is None else t.due_s + more_s) for t in waiting.tubes)
    assert plan_of(waiting._replace(tubes=later)).score <= plan_of(waiting).score


@QUICK
@given(SEEDS)
def test_one_tube_less_never_scores_worse(seed: int) -> None:
    waiting = tiny(seed)
    fewer = waiting._replace(tubes=waiting.tubes[1:])
    assert plan_of(fewer).score <= plan_of(waiting).score


@QUICK
@given(SEEDS)
def test_one_centrifuge_less_never_scores_better(seed: int) -> None:
    waiting = tiny(seed)
    if len(waiting.centrifuges) > 1:
        fewer = waiting._replace(centrifuges=waiting.centrifuges[1:])
        if plan_of(fewer).left_out == plan_of(waiting).left_out:
            assert plan_of(fewer).score >= plan_of(waiting).score


@QUICK
@given(SEEDS, st.integers(-86400, 86400))
def test_the_same_bench_an_hour_later_has_the_same_runs_an_hour_later(seed: int, later_s: int) -> None:
    waiting = tiny(seed)
    tubes = tuple(
        replace(t, ready_s=t.ready_s + later_s, due_s=None if t.due_s is None else t.due_s + later_s)
        for t in waiting.tubes
    )
    standing = {
        c.key: replace(waiting.standing[c.key], free_s=waiting.standing[c.key].free_s + later_s)
        for c in waiting.centrifuges
    }
    first, second = plan_of(waiting), plan_of(waiting._replace(tubes=tubes, standing=standing))
    moved = [(r.centrifuge, r.start_s + later_s, r.tubes) for r in first.runs]
    assert [(r.centrifuge, r.start_s, r.tubes) for r in second.runs] == moved


@QUICK
@given(SEEDS, st.randoms(use_true_random=False))
def test_the_order_in_which_tubes_are_named_does_not_change_the_score(seed: int, random: object) -> None:
    waiting = tiny(seed)
    tubes = list(waiting.tubes)
    random.shuffle(tubes)  # type: ignore[attr-defined]
    assert plan_of(waiting._replace(tubes=tuple(tubes))).score == plan_of(waiting).score


@pytest.mark.parametrize("seed", range(8))
def test_a_search_that_is_stopped_states_a_bound_that_holds(seed: int) -> None:
    waiting = make_bench(seed, least_tubes=12, most_tubes=16, most_pairs=3)
    best = plan_of(waiting)
    assert best.is_optimal
    for most_steps in (0, 3, 30):
        stopped = plan_of(waiting, most_steps=most_steps)
        assert stopped.bound <= best.score <= stopped.score
        assert stopped.is_optimal == (stopped.bound == stopped.score)


@pytest.mark.parametrize("seed", range(3))
def test_more_than_forty_tubes_are_loaded_with_a_bound_stated(seed: int) -> None:
    waiting = make_bench(seed, least_tubes=90, most_tubes=90, least_pairs=8, most_pairs=14, slack_s=(1800, 5400))
    plan = plan_of(waiting, most_steps=20)
    assert sum(len(run.tubes) for run in plan.runs) + len(plan.left_out) == 90
    assert plan.bound <= plan.score
