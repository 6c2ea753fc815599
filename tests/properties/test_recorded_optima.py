"""The planner reaches every optimum that CP-SAT proved and `tests/oracles/recorded_optima.json` keeps."""

from __future__ import annotations

import pytest

from cubital.planning import plan_draw
from cubital.planning.verify import verify
from tests.oracles.campaign import make_case
from tests.oracles.contract import value_of
from tests.oracles.recorded import SEEDS, Optimum, Record, prove, read

RECORDS = read()


@pytest.mark.parametrize("family", SEEDS)
def test_recorded_optima_are_reached_and_the_plans_verify(family: str) -> None:
    for record in (one for one in RECORDS if one.family == family):
        order, site = make_case(family, record.seed, budget=record.budget)
        plan = plan_draw(order, site)
        assert plan.totals.limit_ul == record.limit_ul, record
        assert Optimum.of(value_of(plan, order, site)) == record.optimum, record
        assert verify(plan, order, site) == (), record


@pytest.mark.parametrize("record", RECORDS[::90], ids=lambda record: f"{record.family}-{record.seed}")
def test_a_sample_of_the_record_is_proved_again(record: Record) -> None:
    assert prove(record.family, record.seed) == record
