"""Blood volume side by side, limits over rolling periods, and what smaller tubes would have saved."""

from __future__ import annotations

import datetime
import json

import msgspec
import pytest

from cubital import facts
from cubital.app.blood_loss import BloodReport, DrawnBlood, DrawnTube, blood_document, blood_report
from cubital.app.wiring import open_site
from cubital.errors import OrderError
from cubital.model import Patient

SITE = open_site()
CHILD = Patient(age_h=24 * 365 * 2, weight_g=10_000)


def drawn(day: int, hour: int, ml: float, **more: object) -> DrawnBlood:
    """One draw of an invented stay."""
    at = datetime.datetime(2026, 11, day, hour)
    return DrawnBlood(at=at, volume_ul=round(1000 * ml), **more)  # type: ignore[arg-type]


def heaviest(found: BloodReport) -> dict[int, int | None]:
    """The heaviest period of each cap, in uL."""
    return {cap.period_h: cap.heaviest_ul for cap in found.caps}


def test_every_source_of_the_age_stands_side_by_side_and_the_lowest_guards() -> None:
    found = blood_report(CHILD, SITE)
    assert found.guard_ul == 700_000
    assert found.guard_ul == min(row.low_ul for row in found.volumes)
    assert len(found.volumes) >= 3


def test_a_grown_up_is_also_reckoned_by_height_and_an_obese_one_by_body_mass() -> None:
    slim = Patient(age_h=8766 * 40, sex="male", weight_g=70_000, height_mm=1750)
    assert any("Nadler" in row.source and row.low_ul == 4_823_754 for row in blood_report(slim, SITE).volumes)
    heavy = Patient(age_h=8766 * 40, sex="male", weight_g=140_000, height_mm=1750)
    assert any("Lemmens" in row.source for row in blood_report(heavy, SITE).volumes)


def test_a_preterm_newborn_is_known_by_its_flag_alone() -> None:
    term = blood_report(Patient(age_h=240, weight_g=1500), SITE).guard_ul
    preterm = blood_report(Patient(age_h=240, weight_g=1500, flags=("preterm",)), SITE).guard_ul
    assert (term, preterm) == (114_750, 135_000)


def test_without_a_weight_no_volume_is_made_up() -> None:
    found = blood_report(Patient(age_h=8766 * 40), SITE)
    assert found.guard_ul is None
    assert found.volumes == ()
    assert {cap.policy for cap in found.caps if cap.allowed_ul is not None} == set()
    assert any("weight is not known" in note for note in found.notes)


# Two draws a day apart are in two days; a minute less and they are in one.
@pytest.mark.parametrize(("minutes", "heaviest_ul"), [(0, 12_000), (-1, 22_000)])
def test_a_day_is_24_hours_from_the_draw_and_not_a_date(minutes: int, heaviest_ul: int) -> None:
    second = datetime.datetime(2026, 11, 21, 6) + datetime.timedelta(minutes=minutes)
    draws = [drawn(20, 6, 10), DrawnBlood(at=second, volume_ul=12_000)]
    assert heaviest(blood_report(CHILD, SITE, draws=draws, limit="feinstein-ill"))[24] == heaviest_ul


def test_loss_adds_up_over_days_and_a_limit_that_is_passed_says_when() -> None:
    draws = [drawn(day, 6, 12.5) for day in range(1, 5)]
    found = blood_report(CHILD, SITE, draws=draws, limit="feinstein-ill")
    assert found.total_ul == 50_000
    assert found.percent_of_guard == pytest.approx(100 * 50 / 700)
    assert [volume_ul for _, volume_ul in found.days] == [12_500] * 4
    day, month = found.caps
    assert (day.is_over, month.is_over) == (False, True)
    assert month.heaviest_ul == 50_000
    assert month.allowed_ul == 35_000
    assert (month.from_, month.to) == (draws[0].at, draws[-1].at)


def test_a_limit_of_the_site_s_own_is_held_at_its_ages() -> None:
    caps = (facts.Cap(period_h=24, ul_per_kg=3000, age_max_d=28), facts.Cap(period_h=672, cap_ul=50_000))
    own = facts.SamplingLimit(key="unit", name="unit", for_whom="newborns", caps=caps)
    site = msgspec.structs.replace(SITE, limits={"unit": own})
    assert [cap.allowed_ul for cap in blood_report(CHILD, site, limit="unit").caps] == [50_000]
    newborn = Patient(age_h=240, weight_g=3000)
    assert [cap.allowed_ul for cap in blood_report(newborn, site, limit="unit").caps] == [9000, 50_000]


def test_draws_may_be_given_in_any_order() -> None:
    draws = [drawn(3, 6, 5), drawn(1, 6, 7), drawn(2, 6, 9)]
    one, other = (blood_report(CHILD, SITE, draws=given) for given in (draws, draws[::-1]))
    assert one == other


def test_a_draw_at_the_limit_is_kept_and_a_microlitre_more_is_over() -> None:
    at = blood_report(CHILD, SITE, draws=[drawn(1, 6, 17.5)], limit="feinstein-ill").caps[0]
    over = blood_report(CHILD, SITE, draws=[drawn(1, 6, 17.501)], limit="feinstein-ill").caps[0]
    assert (at.is_over, over.is_over) == (False, True)


def test_smaller_tubes_of_the_stock_would_have_saved_the_difference() -> None:
    tubes = (DrawnTube(kind="edta", volume_ul=4000), DrawnTube(kind="serum-gel", volume_ul=5000))
    found = blood_report(CHILD, SITE, draws=[drawn(1, 6, 9.5, tubes=tubes)])
    (saving,) = found.savings
    assert saving.smaller_ul == 500 + 1200 + 1100
    assert "was not looked at" in saving.how


def test_where_the_tests_are_known_a_plan_of_least_blood_says_what_would_have_done() -> None:
    found = blood_report(CHILD, SITE, draws=[drawn(1, 6, 12, tests=("potassium", "complete-blood-count"))])
    (saving,) = found.savings
    assert 0 < saving.smaller_ul < 12_000
    assert "plan" in saving.how


def test_a_tube_that_is_smaller_than_the_stock_saves_nothing_and_nothing_is_below_zero() -> None:
    tubes = (DrawnTube(kind="edta", volume_ul=500),)
    (saving,) = blood_report(CHILD, SITE, draws=[drawn(1, 6, 0.5, tubes=tubes)]).savings
    assert saving.smaller_ul == saving.volume_ul == 500


def test_a_draw_without_tubes_or_tests_claims_no_saving() -> None:
    found = blood_report(CHILD, SITE, draws=[drawn(1, 6, 5)])
    assert found.savings == ()
    assert blood_document(found)["saved_ul"] is None


def test_millilitres_may_be_claimed_and_transfusions_not() -> None:
    document = json.loads(json.dumps(blood_document(blood_report(CHILD, SITE, draws=[drawn(1, 6, 5)]))))
    assert document["format"] == "cubital.bloodvolume/1"
    assert "transfusions avoided may not" in document["caution"]
    assert any("not significant" in found["text"] for found in document["evidence"])


@pytest.mark.parametrize(
    ("draws", "limit", "said"),
    [
        ([], "no-such-limit", "expected one of howie-2011-max"),
        ([drawn(1, 6, 1, tubes=(DrawnTube(kind="edta", volume_ul=2000),))], None, "found tubes of 2 mL in a draw of 1"),
        ([drawn(1, 6, 5, tubes=(DrawnTube(kind="tea", volume_ul=2000),))], None, "expected a tube kind"),
        ([drawn(1, 6, 5, tests=("no-such-test",))], None, "no-such-test"),
    ],
)
def test_what_cannot_be_of_a_stay_is_refused(draws: list[DrawnBlood], limit: str | None, said: str) -> None:
    with pytest.raises(OrderError, match=said):
        blood_report(CHILD, SITE, draws=draws, limit=limit)
