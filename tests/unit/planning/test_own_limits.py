"""The blood limits that a site writes itself: which caps hold, over which period, and what could not be checked."""

from __future__ import annotations

from decimal import Decimal
from random import Random

import pytest
from msgspec.structs import replace

from cubital.facts import Cap, SamplingLimit, WeightCap
from cubital.model import Patient, Reason, Recorded, Site
from cubital.planning import Planner, plan_draw
from cubital.planning.bedside import Bedside
from cubital.planning.patient import Limit, sampling_limit
from tests.published.shipped import SHIPPED, order_of, patient_of, verified

MONTH_H = 672
# Invented: a unit that takes 3 mL/kg a day of the youngest, 5 of the others, and a tenth of the blood in four weeks.
UNIT = SamplingLimit(
    key="nicu", name="newborn unit (invented)", for_whom="newborns of the unit",
    caps=(
        Cap(period_h=24, ul_per_kg=3000, age_max_d=7), Cap(period_h=24, ul_per_kg=5000, age_min_d=7, age_max_d=60),
        Cap(period_h=MONTH_H, percent_of_tbv=Decimal(10), age_max_d=60),
    ),
)  # fmt: skip
STUDY = SamplingLimit(
    key="study", name="study (invented)", for_whom="children of the study", program="heart-study",
    caps=(Cap(period_h=24, cap_ul=1500),),
)  # fmt: skip


def site_with(*limits: SamplingLimit, chosen: str | None = None) -> Site:
    """The shipped site with these limits of its own."""
    planning = replace(SHIPPED.planning, blood_limit=chosen)
    return replace(SHIPPED, planning=planning, limits={limit.key: limit for limit in limits})


SITE = site_with(UNIT, STUDY, chosen="nicu")


def newborn(days: float, **fields: object) -> Patient:
    """A newborn of 3 kg."""
    return replace(patient_of(3), age_h=int(24 * days), **fields)


def recorded(day_ul: int, month_ul: int) -> tuple[Recorded, ...]:
    """What the record has of a day and of four weeks."""
    return Recorded(period_h=24, volume_ul=day_ul), Recorded(period_h=MONTH_H, volume_ul=month_ul)


def texts(limit: Limit) -> str:
    """The reasons of a limit in one text."""
    return " | ".join(reason.text for reason in limit.reasons)


@pytest.mark.parametrize(("days", "limit_ul"), [(6.9, 9000), (7, 15_000), (59, 15_000)])
def test_a_cap_holds_at_its_own_ages(days: float, limit_ul: int) -> None:
    """3 and 5 mL/kg of 3 kg; a tenth of 76.5 x 3 mL and of 75 x 3 mL in four weeks is more."""
    assert sampling_limit(newborn(days), SITE).limit_ul == limit_ul


def test_an_age_that_no_cap_is_for_has_no_limit_and_says_so() -> None:
    found = sampling_limit(newborn(60), SITE)
    assert (found.limit_ul, found.missing) == (None, "newborn unit (invented) has no cap for this age")


def test_of_an_age_not_known_every_cap_holds_and_it_is_said() -> None:
    found = sampling_limit(patient_of(3), SITE)
    assert found.limit_ul == 9000
    assert "the age is not known: the caps of every age of newborn unit (invented) were held" in (found.missing or "")


def test_a_limit_of_the_site_rests_on_the_site() -> None:
    found = sampling_limit(newborn(3), SITE)
    assert found.reasons[0] == Reason(
        about="plan", basis="site", sources=(),
        text="Limit 9 mL by newborn unit (invented); blood volume taken as 229.5 mL, the lowest that any source gives",
    )  # fmt: skip


def test_a_cap_over_weeks_says_that_it_was_held_against_the_day_alone() -> None:
    found = sampling_limit(newborn(3), SITE)
    (said,) = found.unchecked
    assert said.startswith("newborn unit (invented): 22.95 mL in 4 weeks were held against this draw and the last 24 h")
    assert said in texts(found)
    notes = [c.text for c in plan_draw(order_of("K", patient=newborn(3)), SITE).cautions if c.level == "note"]
    assert said in notes


def test_a_shipped_limit_says_so_among_its_reasons_and_warns_of_nothing() -> None:
    found = sampling_limit(patient_of(10, 2), replace(SHIPPED, planning=replace(SHIPPED.planning)))
    assert found.unchecked == ()
    assert "35 mL in 30 d were held against this draw and the last 24 h alone" in texts(found)


def test_what_the_record_has_of_the_weeks_before_the_day_is_taken_off_the_longer_cap() -> None:
    """22.95 mL in four weeks, less the 20 - 2 = 18 that were drawn before the last day, is 4.95, under 9 a day."""
    found = sampling_limit(newborn(3, drawn_ul=2000, recorded=recorded(2000, 20_000)), SITE)
    assert found.limit_ul == 4950
    assert found.unchecked == ()
    assert "22.95 mL in 4 weeks, less 18 mL drawn before the last 24 h" in texts(found)
    assert "drawn before: 2 mL in the last 24 h by the record of specimens" in texts(found)
    few = sampling_limit(newborn(3, drawn_ul=2000, recorded=recorded(2000, 3000)), SITE)
    assert few.limit_ul == 9000


def test_weeks_that_are_spent_leave_nothing_and_never_less() -> None:
    assert sampling_limit(newborn(3, recorded=recorded(0, 40_000)), SITE).limit_ul == 0


def test_what_was_said_to_be_drawn_is_taken_and_both_are_told_where_they_differ() -> None:
    found = sampling_limit(newborn(3, drawn_ul=5000, recorded=recorded(2000, 2000)), SITE)
    assert "drawn before: 5 mL as it was said, which is taken; 2 mL in the last 24 h by the record" in texts(found)
    same = sampling_limit(newborn(3, drawn_ul=2000, recorded=recorded(2000, 2000)), SITE)
    assert "as it was said" not in texts(same)


@pytest.mark.parametrize("flag", ["heart-study", "Heart Study", "heart_study"])
def test_a_program_s_limit_holds_beside_the_site_s_for_its_patients(flag: str) -> None:
    found = sampling_limit(newborn(3, flags=(flag,)), SITE)
    assert found.limit_ul == 1500
    assert "by study (invented); beside it newborn unit (invented)" in texts(found)
    assert sampling_limit(newborn(3, flags=("latex-allergy",)), SITE).limit_ul == 9000


def test_a_program_s_limit_holds_where_the_site_chose_none() -> None:
    site = site_with(STUDY)
    assert sampling_limit(newborn(3, flags=("heart-study",)), site).limit_ul == 1500
    assert "no blood limit" in (sampling_limit(newborn(3), site).missing or "")


def test_the_flag_of_a_program_is_known_and_another_is_not() -> None:
    told = plan_draw(order_of("K", patient=newborn(3, flags=("heart-study", "lung-study"))), SITE).cautions
    assert [c.text for c in told if "is not known here" in c.text] == [
        "flag 'lung-study' is not known here: read it and act on it"
    ]


def test_a_table_by_weight_ends_in_a_row_for_all_above() -> None:
    rows = (WeightCap(cap_ul=2000, weight_max_g=3000), WeightCap(cap_ul=8000))
    table = SamplingLimit(key="t", name="t", for_whom="all", caps=(Cap(period_h=24, by_weight=rows),))
    site = site_with(table, chosen="t")
    assert [sampling_limit(Patient(weight_g=g, age_h=99), site).limit_ul for g in (3000, 3001)] == [2000, 8000]


def test_a_chosen_limit_that_the_site_does_not_have_is_no_limit_and_says_so() -> None:
    found = sampling_limit(newborn(3), site_with(chosen="nicu"))
    assert (found.limit_ul, found.missing) == (None, "the site has no blood limit 'nicu'")


def test_plans_by_own_limits_stay_within_every_cap_and_pass_the_verifier() -> None:
    """The verifier shares no code with the planner; it is asked at many ages, weights and records."""
    random, cut = Random(5), 0
    planner = Planner(SITE)
    for _ in range(60):
        patient = Patient(
            age_h=random.choice((None, 24 * random.randrange(60))), weight_g=random.choice((700, 1500, 3000, 4200)),
            height_mm=random.choice((None, 420, 500)), drawn_ul=random.choice((0, 1000)),
            recorded=random.choice(((), recorded(1000, 1000), recorded(0, 15_000))),
            flags=random.choice(((), ("heart-study",))),
        )  # fmt: skip
        order = order_of("cbc", "potassium", "crp", "blood-culture", patient=patient)
        plan = verified(order, SITE)
        assert planner.plan(order) == plan
        cut += bool(plan.unplaced)
    assert 10 < cut < 60


def test_a_bedside_keeps_patients_of_other_ages_programs_and_records_apart() -> None:
    bedside, random = Bedside(SITE), Random(8)
    for _ in range(400):
        patient = Patient(
            age_h=random.choice((None, 167, 168, 1439, 1440)), weight_g=3000, drawn_ul=random.choice((0, 2000)),
            recorded=random.choice(((), recorded(2000, 2000), recorded(2000, 20_000))),
            flags=random.choice(((), ("heart study",), ("preterm",))),
        )  # fmt: skip
        assert bedside.limit(patient) == sampling_limit(patient, SITE)
