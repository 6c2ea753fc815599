"""Blood on record counts for the limit of the next draw: which of it, over which period, and what is said."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace

from cubital.app.drawn_before import drawn_blood, specimens_on_record, window, with_recorded
from cubital.app.draws import plan_order, verify_plan
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, open_site, upgrade_store
from cubital.errors import RecordError
from cubital.facts import Cap, SamplingLimit
from cubital.model import Ask, Order, Patient, Recorded
from cubital.model.record import Step
from cubital.model.specimen import Aliquoted, Collected, Discarded, Spun

SITE = open_site(demo=True)
NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
TODAY = date(2026, 11, 25)
CHILD = Patient(age_h=24 * 730, weight_g=10_000)
ORDER = Order(asks=(Ask(test="K"), Ask(test="CBC")), patient=CHILD, on=TODAY)


@pytest.fixture
def record(tmp_path: Path) -> Iterator[SpecimenRecord]:
    """An empty record of its own, by a clock at `NOW`."""
    address = str(tmp_path / "record.db")
    upgrade_store(address)
    found = open_record(address, now=lambda: NOW)
    yield found
    found.close()


def collected(name: str, before: timedelta, draw_ul: int, *, patient: str = "P-17") -> Collected:
    """A tube that was filled so long before now."""
    return Collected(
        key=f"{name}/collected", specimen=name, at=NOW - before, by="collector-4", station="ward-3", patient=patient,
        kind="heparin-gel", additive="lithium-heparin", gel=True, matrix="plasma", draw_ul=draw_ul,
        usable_ul=draw_ul // 3, tests=("potassium",),
    )  # fmt: skip


def keep(record: SpecimenRecord, *events: Collected) -> None:
    """Write these first events."""
    for event in events:
        record.append(Step(event=event, expected=0))


def amended(record: SpecimenRecord, order: Order = ORDER) -> Patient:
    """The patient of the order with what the record has."""
    return with_recorded(order, SITE, specimens_on_record(record, "P-17"), now=NOW).patient


def test_the_day_fills_what_the_order_leaves_out_and_the_month_stands_beside_it(record: SpecimenRecord) -> None:
    keep(
        record, collected("A", timedelta(hours=2), 3000), collected("B", timedelta(hours=23), 4000),
        collected("C", timedelta(days=3), 5000), collected("D", timedelta(days=31), 6000),
        collected("E", timedelta(hours=1), 7000, patient="P-18"),
    )  # fmt: skip
    found = amended(record)
    assert found.drawn_ul == 7000
    assert found.recorded == (Recorded(period_h=24, volume_ul=7000), Recorded(period_h=720, volume_ul=12_000))


@pytest.mark.parametrize(("minutes", "drawn_ul"), [(24 * 60 - 1, 3000), (24 * 60, 0)])
def test_a_draw_just_a_period_before_is_in_another_period(
    record: SpecimenRecord, minutes: int, drawn_ul: int
) -> None:
    keep(record, collected("A", timedelta(minutes=minutes), 3000))
    assert amended(record).drawn_ul == drawn_ul


def test_an_aliquot_is_no_blood_of_its_own_and_a_tube_thrown_away_was_drawn(record: SpecimenRecord) -> None:
    keep(record, collected("A", timedelta(hours=2), 3000), collected("B", timedelta(hours=3), 2000))
    told = {"by": "bench-1", "station": "bench"}
    at = NOW - timedelta(hours=1)
    spun = Spun(key="s", specimen="A", at=at, rcf_g=1500, spin_s=600, temperature_c=20, **told)
    poured = Aliquoted(key="p", specimen="A", at=at, child="A-a", volume_ul=500, tests=("potassium",), **told)
    thrown = Discarded(key="t", specimen="B", at=at, why="clotted", **told)
    record.append(Step(event=spun, expected=1), Step(event=poured, expected=2), Step(event=thrown, expected=1))
    assert len(specimens_on_record(record, "P-17")) == 3
    assert amended(record).drawn_ul == 5000


def test_what_the_order_says_goes_before_and_a_plan_tells_both(record: SpecimenRecord) -> None:
    keep(record, collected("A", timedelta(hours=2), 3000))
    order = replace(ORDER, patient=replace(CHILD, drawn_ul=8000))
    order = with_recorded(order, SITE, specimens_on_record(record, "P-17"), now=NOW)
    assert order.patient.drawn_ul == 8000
    plan = plan_order(order, SITE)
    words = "drawn before: 8 mL as it was said, which is taken; 3 mL in the last 24 h by the record"
    assert any(c.text.startswith(words) and c.level == "warn" for c in plan.cautions)
    assert any(reason.text.startswith(words) for reason in plan.reasons)
    assert plan.totals.already_drawn_ul == 8000


def test_a_plan_counts_the_blood_on_record_says_so_and_passes_the_verifier(record: SpecimenRecord) -> None:
    """2.5 % of 700 mL is 17.5 mL; 15 were drawn, so 2.5 are left."""
    keep(record, collected("A", timedelta(hours=2), 15_000))
    order = with_recorded(ORDER, SITE, specimens_on_record(record, "P-17"), now=NOW)
    plan = plan_order(order, SITE)
    assert (plan.totals.already_drawn_ul, plan.totals.limit_ul) == (15_000, 17_500)
    assert plan.totals.all_blood_ul <= 2500
    assert verify_plan(plan, order, SITE) == ()
    said = [reason.text for reason in plan.reasons]
    assert any(text.startswith("drawn before: 15 mL in the last 24 h by the record of specimens") for text in said)
    assert not any("what was drawn before that is not known" in text for text in said)


def test_a_month_that_is_nearly_spent_leaves_less_than_the_day_would(record: SpecimenRecord) -> None:
    """5 % of 700 mL in 30 days is 35 mL; 34 were drawn days ago, so 1 mL is left of the day's 17.5."""
    keep(record, collected("A", timedelta(days=5), 17_000), collected("B", timedelta(days=9), 17_000))
    order = with_recorded(ORDER, SITE, specimens_on_record(record, "P-17"), now=NOW)
    plan = plan_order(order, SITE)
    assert plan.totals.limit_ul == 1000
    assert plan.unplaced
    assert verify_plan(plan, order, SITE) == ()


def test_a_limit_of_weeks_alone_takes_the_weeks_and_warns_of_a_large_draw_by_the_day(record: SpecimenRecord) -> None:
    keep(record, collected("A", timedelta(days=5), 9000), collected("B", timedelta(hours=1), 500))
    weeks = SamplingLimit(key="weeks", name="weeks", for_whom="all", caps=(Cap(period_h=672, cap_ul=20_000),))
    site = replace(SITE, limits={"weeks": weeks}, planning=replace(SITE.planning, blood_limit="weeks"))
    order = with_recorded(ORDER, site, specimens_on_record(record, "P-17"), now=NOW)
    assert order.patient.drawn_ul == 9500
    plan = plan_order(order, site)
    assert plan.totals.already_drawn_ul == 9500
    assert not any("1 % of the blood volume in 24 h" in c.text for c in plan.cautions)
    assert verify_plan(plan, order, site) == ()


def test_a_draw_on_another_day_may_be_at_any_of_its_hours() -> None:
    """The site's clocks are an hour before UTC in November."""
    tomorrow = replace(ORDER, on=date(2026, 11, 26))
    first = datetime(2026, 11, 25, 23, 0, tzinfo=UTC)
    assert window(tomorrow, SITE, NOW) == (first, first + timedelta(days=1))
    assert window(ORDER, SITE, NOW) == window(replace(ORDER, on=None), SITE, NOW) == (NOW, NOW)
    at = NOW + timedelta(hours=4)
    assert window(replace(ORDER, now=at), SITE, NOW) == (at, at)


def test_a_patient_of_whom_nothing_is_on_record_is_refused_not_counted_as_nought(record: SpecimenRecord) -> None:
    with pytest.raises(RecordError, match="found no specimen of this patient"):
        specimens_on_record(record, "P-99")


def test_the_draws_on_record_are_those_of_one_instant_each_in_local_time(record: SpecimenRecord) -> None:
    keep(
        record, collected("A-1", timedelta(hours=2), 3000), collected("A-2", timedelta(hours=2), 2000),
        collected("B-1", timedelta(days=1), 1000),
    )  # fmt: skip
    draws = drawn_blood(specimens_on_record(record, "P-17"), SITE)
    assert [(f"{draw.at:%d %H:%M}", draw.volume_ul, len(draw.tubes)) for draw in draws] == [
        ("24 09:00", 1000, 1), ("25 07:00", 5000, 2),
    ]  # fmt: skip
    assert draws[1].tests == ("potassium",)
    bare = drawn_blood(specimens_on_record(record, "P-17"), replace(SITE, kinds={}, tests={}))
    assert {(draw.tubes, draw.tests) for draw in bare} == {((), ())}


def test_a_night_when_the_clocks_are_put_back_has_its_hour_between_two_draws(record: SpecimenRecord) -> None:
    """01:30 of summer and of winter time in Berlin are an hour apart, though both clocks showed 02:30."""
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    keep(record, collected("A", NOW - first, 1000), collected("B", NOW - first - timedelta(hours=1), 1000))
    one, two = drawn_blood(specimens_on_record(record, "P-17"), SITE)
    assert f"{one.at:%H:%M}" == f"{two.at:%H:%M}" == "02:30"
    assert two.at - one.at == timedelta(hours=1)
