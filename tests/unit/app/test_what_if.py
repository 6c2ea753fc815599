"""What a change of the site does to orders: counted over every different one, as planning each of them would."""

from __future__ import annotations

import datetime
import io
import json
from collections.abc import Iterator
from datetime import timedelta
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from msgspec.structs import replace

from cubital.app.draws import plan_order
from cubital.app.order_log import (
    MOST_LOGGED,
    AskedOrder,
    asked_orders,
    log_text,
    orders_of_record,
    read_log,
)
from cubital.app.record import SpecimenRecord
from cubital.app.site_trial import SiteTrials
from cubital.app.what_if import WhatIf, what_if
from cubital.app.wiring import open_record, open_site, open_site_versions, read_order, upgrade_store
from cubital.errors import CubitalError
from cubital.model import Ask, Line, Order, Patient, Plan, Site
from cubital.model.record import Step
from cubital.planning import Planner
from tests.contract.events import MORNING, Clock, collected

DAY = datetime.date(2026, 11, 25)
DEMO = open_site(demo=True)


def asked(*tests: str, times: int = 1, **more: object) -> AskedOrder:
    return AskedOrder(order=Order(asks=tuple(Ask(test=test) for test in tests), **more), times=times)  # type: ignore[arg-type]


def with_test(site: Site, key: str, **changed: object) -> Site:
    return replace(site, tests={**site.tests, key: replace(site.tests[key], **changed)})


def without_stock(site: Site, key: str) -> Site:
    kind = site.kinds[key]
    return replace(
        site, kinds={**site.kinds, key: replace(kind, sizes=tuple(replace(s, in_stock=0) for s in kind.sizes))}
    )


def test_a_change_that_no_order_meets_changes_none() -> None:
    found = what_if([asked("K", times=7)], DEMO, with_test(DEMO, "sodium", own_tube=True), today=DAY)
    assert (found.orders, found.distinct, found.changed, found.reworded, found.lost) == (7, 1, 0, 0, 0)
    assert found.examples == ()


def test_a_test_with_a_tube_of_its_own_costs_one_more_tube_each_time() -> None:
    orders = [asked("K", "Na", times=3), asked("K", times=4), asked("CBC", times=2)]
    found = what_if(orders, DEMO, with_test(DEMO, "potassium", own_tube=True), today=DAY)
    assert (found.orders, found.changed, found.tubes) == (9, 3, 3)
    one = plan_order(orders[0].order, DEMO, today=DAY).totals
    other = plan_order(orders[0].order, with_test(DEMO, "potassium", own_tube=True), today=DAY).totals
    assert found.blood_ul == 3 * (other.all_blood_ul - one.all_blood_ul)
    assert [(delta.kind, delta.before, delta.after) for delta in found.kinds] == [("heparin-gel", 3, 6)]
    assert found.examples[0].times == 3
    assert found.examples[0].before == ("heparin gel, routine chemistry 1.1 mL",)
    assert found.examples[0].after == ("2 x heparin gel, routine chemistry 1.1 mL",)


def test_only_another_instruction_is_counted_apart() -> None:
    found = what_if([asked("K")], DEMO, with_test(DEMO, "potassium", handling=("keep_closed",)), today=DAY)
    assert (found.changed, found.reworded, found.tubes) == (0, 1, 0)


def test_a_kind_that_runs_out_names_the_tests_that_nothing_serves_any_more() -> None:
    orders = [asked("PT", "K", times=5), asked("K", times=5)]
    found = what_if(orders, DEMO, without_stock(DEMO, "citrate"), today=DAY)
    assert (found.lost, found.changed, found.tubes) == (5, 0, 0)
    lost = {one.test: one for one in found.lost_tests}
    assert lost["prothrombin-time"].orders == 5
    assert "citrate" in lost["prothrombin-time"].why
    assert "potassium" not in lost
    assert found.examples[0].after[0].startswith("no plan: ")
    back = what_if(orders, without_stock(DEMO, "citrate"), DEMO, today=DAY)
    assert (back.gained, back.lost) == (5, 0)
    assert "prothrombin-time" in back.gained_tests


def test_an_order_of_a_test_that_is_taken_out_is_lost_and_one_of_a_new_test_gained() -> None:
    fewer = replace(DEMO, tests={key: test for key, test in DEMO.tests.items() if key != "house-research-serum"})
    found = what_if([asked("HRS")], DEMO, fewer, today=DAY)
    assert (found.lost, [one.test for one in found.lost_tests]) == (1, ["house-research-serum"])
    assert what_if([asked("HRS")], fewer, DEMO, today=DAY).gained == 1
    assert what_if([asked("nonsense")], fewer, DEMO, today=DAY).orders == 1


def test_the_count_is_the_one_of_planning_every_order_with_both_sites() -> None:
    random = Random(5)
    keys = sorted(DEMO.tests)
    for _ in range(25):
        orders = [asked(*random.sample(keys, random.randint(1, 6)), times=random.randint(1, 9)) for _ in range(30)]
        key = random.choice(keys)
        new = random.choice(
            [
                with_test(DEMO, key, own_tube=not DEMO.tests[key].own_tube),
                with_test(DEMO, key, bench="elsewhere"),
                without_stock(DEMO, random.choice(sorted(DEMO.kinds))),
                replace(DEMO, planning=replace(DEMO.planning, share_benches=())),
            ]
        )
        found = what_if(orders, DEMO, new, today=DAY)
        planners = Planner(DEMO), Planner(new)
        changed = tubes = blood_ul = 0
        for one in orders:
            before, after = (_plan(one.order, planner) for planner in planners)
            changed += one.times * (_drawn(before) != _drawn(after))
            if before is not None and after is not None:
                tubes += one.times * (len(after.tubes) - len(before.tubes))
                blood_ul += one.times * sum(t.draw_ul for t in after.tubes)
                blood_ul -= one.times * sum(t.draw_ul for t in before.tubes)
        assert found.changed + found.lost + found.gained == changed
        assert (found.tubes, found.blood_ul) == (tubes, blood_ul)


def test_a_second_try_gives_the_same_answer_and_plans_nothing_with_the_site_as_it_is_again(tmp_path: Path) -> None:
    upgrade_store(str(tmp_path / "r.db"))
    record, versions = open_record(str(tmp_path / "r.db")), open_site_versions(str(tmp_path / "r.db"), demo=True)
    trials = SiteTrials(versions)
    log = b'{"tests": ["K", "Na"]}\n' * 3 + b'{"tests": ["CBC"]}\n{"tests": ["PT", "K"]}\n'
    versions.keep_orders(read_log(io.BytesIO(log), DEMO, where="log", today=DAY).orders)

    def tried(change: dict[str, object]) -> WhatIf:
        base = versions.newest()
        proposal = versions.propose(base, {"tests.toml": {"potassium": change}}, today=DAY)
        found = trials.try_change(proposal, record, now=MORNING, today=DAY)
        assert found is not None
        assert proposal.site is not None
        assert found.found == what_if(
            asked_orders(versions.orders(), today=DAY), base.site, proposal.site, today=DAY
        )
        return found.found

    assert tried({"own_tube": True}).changed == 3
    planner = trials.planner_of(versions.newest())
    before = planner.worked_out
    assert tried({"own_tube": True}).changed == 3
    assert tried({"ice": True}).orders == 5
    assert (trials.planner_of(versions.newest()), planner.worked_out) == (planner, before)
    # Another version and another log are looked at anew.
    versions.save("ada", 0, {"tests.toml": {"potassium": {"own_tube": True}}}, "own")
    assert tried({"own_tube": False}).tubes == -3
    versions.keep_orders(())
    assert tried({"own_tube": False}).orders == 0
    record.close()
    versions.close()


def _plan(order: Order, planner: Planner) -> Plan | None:
    try:
        return planner.plan(replace(order, on=DAY))
    except CubitalError:
        return None


def _drawn(plan: Plan | None) -> object:
    if plan is None:
        return None
    tubes = [(t.draw, t.purpose, t.kind, t.draw_ul, t.tests) for t in plan.tubes]
    return tubes, [one.test for one in plan.unplaced]


def test_a_log_keeps_no_number_no_day_and_only_rounded_facts() -> None:
    order = Order(
        asks=(Ask(test="PT", priority="stat"), Ask(test="K")), access="line", id="A-17", on=DAY,
        objective="least-blood",
        patient=Patient(
            age_h=8766 * 34 + 4000, sex="female", weight_g=61_700, height_mm=1683, hematocrit=Fraction(417, 1000),
            drawn_ul=12_345, flags=("latex-allergy", "anticoagulated"),
        ),
        line=Line(dead_space_ul=1500, carried_anticoagulant=True),
    )  # fmt: skip
    assert json.loads(log_text(order)) == {
        "patient": {
            "age": "34 a", "sex": "female", "weight_kg": 62, "height_cm": 168, "hematocrit": 0.42, "drawn_ml": 12,
            "flags": ["anticoagulated", "latex-allergy"],
        },
        "tests": ["K", {"test": "PT", "priority": "stat"}], "access": "line", "objective": "least-blood",
        "line": {"dead_space_ml": 1.5, "carried_anticoagulant": True},
    }  # fmt: skip
    assert read_order(log_text(order), today=DAY).patient.weight_g == 62_000


def test_a_newborn_keeps_its_hours_and_the_tenths_of_its_weight() -> None:
    text = log_text(Order(asks=(Ask(test="K"),), patient=Patient(age_h=30, weight_g=1240)))
    assert json.loads(text)["patient"] == {"age": "30 h", "weight_kg": 1.2}


def test_a_log_is_read_to_different_orders_with_their_counts_and_bad_lines_are_told() -> None:
    lines = [
        b'{"id": "1", "tests": ["K", "Na"]}', b'{"id": "2", "tests": ["Na", "K"]}', b"{", b'{"tests": []}',
        b'{"id": "3", "patient": {"age": "4 a"}, "tests": ["K"]}',
    ]  # fmt: skip
    log = read_log(io.BytesIO(b"\n".join(lines)), DEMO, where="log", today=DAY)
    assert [(json.loads(one.body)["tests"], one.times) for one in log.orders] == [(["K", "Na"], 2), (["K"], 1)]
    assert (log.read, log.left_out, [bad.line for bad in log.bad]) == (3, 0, [3, 4])
    assert [one.times for one in asked_orders(log.orders, today=DAY)] == [2, 1]


def test_a_log_of_more_different_orders_than_are_kept_says_how_many_are_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert MOST_LOGGED > 1000
    monkeypatch.setattr("cubital.app.order_log.MOST_LOGGED", 1)
    log = read_log(io.BytesIO(b'{"tests": ["K"]}\n{"tests": ["K"]}\n{"tests": ["Na"]}\n'), DEMO, where="log", today=DAY)
    assert (len(log.orders), log.read, log.left_out) == (1, 3, 1)


@pytest.fixture
def record(tmp_path: Path) -> Iterator[SpecimenRecord]:
    """An empty record."""
    upgrade_store(str(tmp_path / "r.db"))
    found = open_record(str(tmp_path / "r.db"), now=Clock(MORNING + timedelta(hours=1)))
    yield found
    found.close()


def test_the_record_gives_its_draws_as_orders_without_their_patients(record: SpecimenRecord) -> None:
    def add(name: str, patient: str, tests: tuple[str, ...], **more: object) -> None:
        event = collected(name, patient=patient, tests=tests, **more)
        record.append(Step(event=event, expected=0))

    add("a1", "p1", ("potassium",))
    add("a2", "p1", ("complete-blood-count",), kind="edta", additive="k2-edta", gel=False, matrix="whole-blood")
    add("b1", "p2", ("potassium", "complete-blood-count"))
    add("c1", "p1", ("potassium",), at=MORNING + timedelta(minutes=5))
    add("d1", "p3", ("potassium",), at=MORNING - timedelta(days=40))
    found = orders_of_record(record, MORNING - timedelta(days=31), on=DAY)
    assert [(tuple(ask.test for ask in one.order.asks), one.times) for one in found] == [
        (("complete-blood-count", "potassium"), 2), (("potassium",), 1),
    ]  # fmt: skip
    assert all(one.order.id is None for one in found)
    assert what_if(found, DEMO, with_test(DEMO, "potassium", own_tube=True), today=DAY).orders == 3
