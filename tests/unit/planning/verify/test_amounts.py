"""Stock, totals, limits and bounds that do not add up are found."""

from __future__ import annotations

from datetime import timedelta
from fractions import Fraction

import pytest
from msgspec.structs import replace

from cubital.facts import Cap, SamplingLimit, sampling_limits
from cubital.model import (
    Ask,
    Order,
    Patient,
    Plan,
    Recorded,
    Tube,
    Unplaced,
)
from cubital.planning.verify import verify
from cubital.planning.verify.amounts import loosest_limit_ul
from tests.unit.planning.verify.sound_plan import (
    DAY,
    ORDER,
    SERIES,
    SERIES_ORDER,
    SITE,
    SOUND,
    WINGED,
    expect,
    plan_of,
    tube_of,
    with_kind,
    with_planning,
    with_tube,
)

# Stock


def test_more_tubes_than_the_stock_are_found() -> None:
    site = with_kind("edta", sizes=(Tube(draw_ul=3000, in_stock=1),))
    expect("edta of 3000 uL: 2 are used and 1 are in stock", SOUND, ORDER, site)


def test_two_lots_of_one_size_are_counted_together() -> None:
    lots = (Tube(draw_ul=3000, in_stock=1), Tube(draw_ul=3000, in_stock=1, expires=DAY))
    assert verify(SOUND, ORDER, with_kind("edta", sizes=lots)) == ()
    past = (lots[0], replace(lots[1], expires=DAY - timedelta(days=1)))
    expect("2 are used and 1 are in stock", SOUND, ORDER, with_kind("edta", sizes=past))


def test_an_uncounted_lot_beside_a_counted_one_is_enough() -> None:
    lots = (Tube(draw_ul=3000, in_stock=1), Tube(draw_ul=3000))
    assert verify(SOUND, ORDER, with_kind("edta", sizes=lots)) == ()


def test_a_discard_tube_counts_against_the_stock() -> None:
    site = with_kind("plain", sizes=(Tube(draw_ul=2000, in_stock=0),))
    order = replace(ORDER, access="winged-set")
    expect("plain of 2000 uL: 1 are used and 0 are in stock", WINGED, order, site)


def test_stock_is_shared_by_the_draws_of_a_series() -> None:
    site = with_kind("heparin-gel", sizes=(Tube(draw_ul=3500, in_stock=1),))
    expect("heparin-gel of 3500 uL: 2 are used and 1 are in stock", SERIES, SERIES_ORDER, site)


def test_an_expired_tube_is_found_and_the_last_day_is_not() -> None:
    expect("citrate of 2700 uL: expired", SOUND, replace(ORDER, on=DAY + timedelta(days=1)))


def test_an_expiry_date_without_a_day_is_found() -> None:
    expect("it has an expiry date and the day is not known", SOUND, replace(ORDER, on=None))


def test_a_size_the_site_does_not_stock_is_found() -> None:
    plan = plan_of(*with_tube(SOUND, 5, draw_ul=4000, usable_ul=None).tubes)
    expect("edta of 4000 uL: the site stocks no such size", plan)


def test_a_liquid_additive_the_size_does_not_hold_is_found() -> None:
    expect("the site stocks no such size", with_tube(SOUND, 2, liquid_additive_ul=300, usable_ul=None))


# Totals, limit, bound


@pytest.mark.parametrize(
    "name", ["tubes", "blood_ul", "preference", "all_tubes", "all_blood_ul", "already_drawn_ul"]
)
@pytest.mark.parametrize("step", [-1, 1])
def test_a_total_that_is_not_the_sum_of_the_rows_is_found(name: str, step: int) -> None:
    totals = replace(SOUND.totals, **{name: getattr(SOUND.totals, name) + step})
    findings = verify(replace(SOUND, totals=totals), ORDER, SITE)
    assert (
        f"totals.{name} says {getattr(totals, name)}, the rows give {getattr(SOUND.totals, name)}" in findings
    )


def test_preference_is_the_place_in_the_flattened_accepts() -> None:
    order = Order(asks=(Ask(test="antibody"),))
    plain = tube_of(1, "plain", "antibody", "serum")
    assert verify(plan_of(plain, preference=1), order, SITE) == ()
    heparin = tube_of(1, "heparin-gel", "antibody", "plasma")
    assert verify(plan_of(heparin, preference=2), order, SITE) == ()
    findings = verify(plan_of(heparin, preference=1), order, SITE)
    assert findings == ("totals.preference says 1, the rows give 2",)


def with_limit(plan: Plan, limit_ul: int | None, already_ul: int = 0) -> Plan:
    return replace(plan, totals=replace(plan.totals, limit_ul=limit_ul, already_drawn_ul=already_ul))


def test_blood_over_the_limit_is_found_and_blood_at_the_limit_is_not() -> None:
    drawn_ul = SOUND.totals.all_blood_ul
    assert verify(with_limit(SOUND, drawn_ul), ORDER, SITE) == ()
    expect(f"the limit is {drawn_ul - 1} uL", with_limit(SOUND, drawn_ul - 1))


def test_blood_already_drawn_counts_towards_the_limit() -> None:
    drawn_ul = SOUND.totals.all_blood_ul
    order = replace(ORDER, patient=Patient(drawn_ul=500))
    assert verify(with_limit(SOUND, drawn_ul + 500, 500), order, SITE) == ()
    expect(f"the limit is {drawn_ul + 499} uL", with_limit(SOUND, drawn_ul + 499, 500), order)


def test_a_plan_without_the_limit_that_can_be_worked_out_is_found() -> None:
    order = replace(ORDER, patient=Patient(weight_g=70_000, age_h=40 * 8766))
    expect("can be worked out and the plan has none", SOUND, order)


def test_a_limit_above_every_source_is_found() -> None:
    """2.5 % of 80 mL/kg, the policy's own volume and the largest of the sources, x 10 kg = 20 mL."""
    order = replace(ORDER, patient=Patient(weight_g=10_000, age_h=3 * 8766, hematocrit=Fraction(45, 100)))
    assert verify(with_limit(SOUND, 20_000), order, SITE) == ()
    expect("the limit of 20001 uL is above 20000 uL", with_limit(SOUND, 20_001), order)


def test_nadlers_volume_bounds_the_limit_where_the_height_is_known() -> None:
    """2.5 % of 0.3669 x 1.8^3 + 0.03219 x 70 + 0.6041 = 4.9972 L is below 2.5 % of 80 mL/kg = 140 mL."""
    order = replace(ORDER, patient=Patient(weight_g=70_000, age_h=40 * 8766, height_mm=1800))
    expect("the limit of 140001 uL is above 140000 uL", with_limit(SOUND, 140_001), order)
    tall = replace(ORDER, patient=Patient(weight_g=40_000, age_h=40 * 8766, height_mm=2000))
    # 0.3669 x 8 + 0.03219 x 40 + 0.6041 = 4.8269 L; 2.5 % = 120 672.5 uL
    assert verify(with_limit(SOUND, 120_672), tall, SITE) == ()
    expect("the limit of 120673 uL is above 120672 uL", with_limit(SOUND, 120_673), tall)


def test_limits_by_weight_and_by_amount_are_worked_out_again() -> None:
    by_weight = with_planning(blood_limit="cfr-46-110")
    light = replace(ORDER, patient=Patient(weight_g=10_000))
    expect("the limit of 30001 uL is above 30000 uL", with_limit(SOUND, 30_001), light, by_weight)
    heavy = replace(ORDER, patient=Patient(weight_g=90_000))
    expect("the limit of 50001 uL is above 50000 uL", with_limit(SOUND, 50_001), heavy, by_weight)
    table = with_planning(blood_limit="michigan-3-month")
    expect(
        "is above 20000 uL", with_limit(SOUND, 20_001), replace(ORDER, patient=Patient(weight_g=5_000)), table
    )


def test_a_limit_nobody_knows_is_found() -> None:
    expect("there is no blood limit 'house'", SOUND, ORDER, with_planning(blood_limit="house"))


def test_a_bound_above_the_value_is_found() -> None:
    bound = replace(SOUND.bound, tubes=SOUND.bound.tubes + 1, finished=False)
    expect("is above the value", replace(SOUND, bound=bound, optimal=False))


def test_a_bound_is_compared_in_the_order_of_the_objective() -> None:
    bound = replace(SOUND.bound, tubes=4, blood_ul=99_999, finished=False)
    assert verify(replace(SOUND, bound=bound, optimal=False), ORDER, SITE) == ()
    order = replace(ORDER, objective="least-blood")
    tubes = tuple(replace(t, needed_ul=None) for t in SOUND.tubes)
    least = replace(
        SOUND, objective="least-blood", volumes="minimum", tubes=tubes, bound=bound, optimal=False
    )
    expect("the bound (99999, 4, 0) is above the value", least, order)


def test_a_plan_that_calls_itself_optimal_below_its_bound_is_found() -> None:
    expect("calls itself optimal", replace(SOUND, bound=replace(SOUND.bound, preference=-1)))


def test_a_plan_that_calls_itself_optimal_with_the_search_cut_is_found() -> None:
    expect("calls itself optimal", replace(SOUND, bound=replace(SOUND.bound, finished=False)))


def test_a_finished_search_that_does_not_call_itself_optimal_is_found() -> None:
    expect("does not call itself optimal", replace(SOUND, optimal=False))


@pytest.mark.parametrize(
    ("age_h", "most_ul"),
    [
        (24 * 30 - 1, 15_750), (24 * 30, 13_050), (24 * 365 - 1, 13_050), (24 * 365, 12_000), (None, 15_750),
    ],
)  # fmt: skip
def test_the_largest_blood_volume_of_the_age_bounds_the_limit(age_h: int | None, most_ul: int) -> None:
    """5 % of 3 kg x 105, 87 and 80 mL/kg, the highest of the sources to 30 days, to a year and after."""
    site = with_planning(blood_limit="howie-2011-max")
    order = replace(ORDER, patient=Patient(weight_g=3000, age_h=age_h))
    assert loosest_limit_ul([sampling_limits()["howie-2011-max"]], order.patient) == most_ul
    findings = verify(with_limit(SOUND, most_ul + 1), order, site)
    assert (
        f"the limit of {most_ul + 1} uL is above {most_ul} uL, the most that howie-2011-max can allow"
        in findings
    )


@pytest.mark.parametrize(("age_h", "most_ul"), [(24 * 730 - 1, 27_076), (24 * 730, 20_000)])
def test_the_formula_by_weight_and_length_bounds_the_limit_under_two_years(age_h: int, most_ul: int) -> None:
    """2.5 % of 10 ^ (0.7891 + 0.004132 x 105 + 1.8117) = 1083.08 mL at 10 kg, and of 80 mL/kg from two years on."""
    policy = sampling_limits()["feinstein-ill"]
    patient = Patient(weight_g=10_000, age_h=age_h, height_mm=1050)
    assert abs((loosest_limit_ul([policy], patient) or 0) - most_ul) <= 1


@pytest.mark.parametrize(("weight_g", "most_ul"), [(2000, 5000), (2001, 4002)])
def test_a_policys_own_blood_volume_changes_at_its_weight(weight_g: int, most_ul: int) -> None:
    """2.5 % of 2 kg x 100 mL/kg, and of 2.001 kg x 80 mL/kg."""
    patient = Patient(weight_g=weight_g, age_h=3 * 8766)
    assert loosest_limit_ul([sampling_limits()["hospital-2-5-percent"]], patient) == most_ul


def test_a_limit_in_millilitres_alone_needs_no_weight() -> None:
    alone = SamplingLimit(key="own", name="own", for_whom="all", caps=(Cap(period_h=24, cap_ul=9000),))
    assert loosest_limit_ul([alone], Patient()) == 9000
    assert loosest_limit_ul([sampling_limits()["howie-2011-max"]], Patient()) is None


@pytest.mark.parametrize(("weight_g", "most_ul"), [(None, None), (49_899, None), (49_900, 550_000)])
def test_a_limit_from_a_weight_on_bounds_nobody_below_it(weight_g: int | None, most_ul: int | None) -> None:
    assert loosest_limit_ul([sampling_limits()["cfr-46-110-adult"]], Patient(weight_g=weight_g)) == most_ul


def test_the_strictest_of_several_limits_bounds_and_each_over_its_own_period() -> None:
    """9 mL a day of one, and 20 mL in 4 weeks of the other, of which the record has 25 - 8 = 17 before the last day."""
    day = SamplingLimit(key="day", name="day", for_whom="all", caps=(Cap(period_h=24, cap_ul=9000),))
    weeks = SamplingLimit(key="weeks", name="weeks", for_whom="all", caps=(Cap(period_h=672, cap_ul=20_000),))
    assert loosest_limit_ul([day, weeks], Patient()) == 9000
    recorded = (Recorded(period_h=24, volume_ul=8000), Recorded(period_h=672, volume_ul=25_000))
    assert loosest_limit_ul([day, weeks], Patient(recorded=recorded)) == 3000
    spent = (Recorded(period_h=24, volume_ul=0), Recorded(period_h=672, volume_ul=25_000))
    assert loosest_limit_ul([day, weeks], Patient(recorded=spent)) == 0


@pytest.mark.parametrize(("age_h", "most_ul"), [(24 * 28 - 1, 2000), (24 * 28, 5000), (None, 2000)])
def test_a_cap_of_an_age_bounds_at_that_age_and_where_the_age_is_not_known(age_h: int | None, most_ul: int) -> None:
    caps = (Cap(period_h=24, cap_ul=2000, age_max_d=28), Cap(period_h=24, cap_ul=5000, age_min_d=28))
    own = SamplingLimit(key="unit", name="unit", for_whom="newborns", caps=caps)
    assert loosest_limit_ul([own], Patient(age_h=age_h)) == most_ul


def test_a_plan_over_the_limit_of_a_program_is_found_where_the_flag_says_so() -> None:
    study = SamplingLimit(
        key="study", name="study", for_whom="its patients", program="heart-study", caps=(Cap(period_h=24, cap_ul=100),)
    )
    site = replace(SITE, limits={"study": study})
    enrolled = replace(ORDER, patient=Patient(flags=("Heart study",)))
    plan = with_limit(SOUND, 16_000)
    assert verify(plan, ORDER, site) == ()
    expect("is above 100 uL, the most that hospital-2-5-percent and study can allow", plan, enrolled, site)


def test_the_weight_row_without_an_upper_end_is_for_everyone_above() -> None:
    patient = Patient(weight_g=200_000, age_h=40 * 8766, height_mm=2000)
    by_table = sampling_limits()["michigan-3-month"]
    assert loosest_limit_ul([by_table], patient) == 450_000


def test_a_spent_limit_leaves_nothing_to_draw() -> None:
    order = Order(asks=(Ask(test="count"),), patient=Patient(drawn_ul=5000))
    left = (Unplaced(test="count", priority="routine", why="limit reached", needs="3000 uL"),)
    nothing = with_limit(plan_of(unplaced=left), 4000, 5000)
    assert verify(nothing, order, SITE) == ()
    one_ul = replace(nothing, totals=replace(nothing.totals, all_blood_ul=1))
    assert verify(one_ul, order, SITE) == ("totals.all_blood_ul says 1, the rows give 0",)


def test_a_culture_bottle_filled_to_its_size_counts_as_that_size() -> None:
    site = with_kind("aerobic", sizes=(Tube(draw_ul=8000, in_stock=1), Tube(draw_ul=10000, in_stock=0)))
    order = Order(asks=(Ask(test="culture"),))
    plan = plan_of(tube_of(1, "aerobic", "culture", None, purpose="culture", draw_ul=8000))
    assert verify(plan, order, site) == ()
    fuller = plan_of(tube_of(1, "aerobic", "culture", None, purpose="culture", draw_ul=8001))
    expect("aerobic of 10000 uL: 1 are used and 0 are in stock", fuller, order, site)


def test_a_collect_tube_is_never_taken_for_a_smaller_fill_of_a_larger_size() -> None:
    order = Order(asks=(Ask(test="count"),))
    expect("edta of 2500 uL: the site stocks no such size", plan_of(
        tube_of(1, "edta", "count", "whole-blood", draw_ul=2500)
    ), order)  # fmt: skip
