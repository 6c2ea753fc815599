"""The measurements run, on a few orders: equal optima are what they check; no time is."""

from __future__ import annotations

from itertools import islice
from pathlib import Path
from random import Random

import pytest
from bench import __main__ as bench
from bench import web, what_if
from bench.hard_orders import measure
from bench.million_orders import november, orders, plan_share
from bench.orders import PLACES
from bench.report import Line, show
from bench.solvers import SOLVERS, check_equal, fastest_s
from bench.twelve_tests import race

import cubital
from cubital.app.wiring import open_site
from cubital.planning import Planner
from tests.oracles.instance import Instance

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("place", PLACES)
def test_orders_of_twelve_tests_reach_the_optimum_that_both_solvers_prove(place: str) -> None:
    for case in PLACES[place](2):
        assert len(case.order.asks) == 12
        assert set(race(case).solver_s) == set(SOLVERS)


def test_a_plan_that_is_not_what_a_solver_proved_is_no_comparison() -> None:
    (one, other) = PLACES["the demo site"](2)
    plan = Planner(one.site).plan(one.order)
    _, proved = fastest_s(Instance.of(*other, minimum=plan.volumes == "minimum"))
    with pytest.raises(AssertionError, match="a solver"):
        check_equal(plan, *one, proved)


def test_hard_orders_reach_the_optimum_of_the_better_solver_with_and_without_a_blood_limit() -> None:
    assert len(measure(range(11, 12), seconds=60.0)) == 1
    assert len(measure(range(10, 11), seconds=60.0, budget=True)) == 1


def test_a_share_of_the_million_plans_every_order_and_works_no_question_out_twice() -> None:
    share = plan_share(1, 300, None)
    assert share.orders == 300
    assert 0 < share.worked_out < 300


def test_the_same_seed_makes_the_same_orders_and_another_seed_others() -> None:
    site = cubital.read_site()
    first, again, other = (list(islice(orders(seed, 20, site), 20)) for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_a_missed_target_is_printed_and_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert not show("block", [Line("what", "3", "at most 2", False), Line("else", "1")])
    assert "MISSED" in capsys.readouterr().out


def test_the_script_names_every_part_and_each_is_a_module_that_runs() -> None:
    assert "python -m bench" in (ROOT / "scripts" / "bench").read_text(encoding="utf-8")
    for name in bench.PARTS:
        assert "def run(" in (ROOT / "bench" / f"{name}.py").read_text(encoding="utf-8")


def test_the_site_of_the_pages_holds_a_thousand_tests_and_orders_grow_as_they_are_typed(tmp_path: Path) -> None:
    web.write_site(tmp_path / "site")
    site = open_site(str(tmp_path / "site"))
    assert len(site.tests) == web.TESTS
    names = [test.name for test in site.tests.values()]
    forms = list(web.typed(names, Random(1)))
    assert all(line in names for line in forms[-1]["tests"].splitlines())
    assert forms[0]["tests"] not in names


def test_a_month_of_orders_is_tried_as_planning_each_on_its_own_counts_it() -> None:
    site = open_site()
    asked = what_if.month(site, 60, Random(2))
    assert sum(one.times for one in asked) == 60
    test = asked[0].order.asks[0].test
    assert what_if.check_equal(asked, site, what_if.with_own_tube(site, test)).orders == 60
    assert what_if.check_equal(asked, site, what_if.without(site, what_if.KIND)).orders == 60


def test_orders_among_the_tests_of_november_ask_for_no_other() -> None:
    site, known = cubital.read_site(), november()
    assert known <= site.tests.keys() | site.panels.keys()
    asked = {ask.test for order in islice(orders(3, 40, site, known), 40) for ask in order.asks}
    assert asked
    assert asked <= known
