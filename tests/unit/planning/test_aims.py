"""Which objective a plan takes by the patient and whether there is blood for a reserve: both sides of each edge."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.model import Order, Patient, Plan, Site
from cubital.model.vocabulary import AccessKey, ObjectiveKey
from tests.published.shipped import SHIPPED, YEAR_H, order_of, verified

ADULT = Patient(age_h=40 * YEAR_H, weight_g=70_000)
CHILD = Patient(age_h=9 * YEAR_H, weight_g=30_000)


def site_of(objective: ObjectiveKey = "by-patient", **planning: object) -> Site:
    return replace(SHIPPED, planning=replace(SHIPPED.planning, objective=objective, **planning))


def plan_of(
    patient: Patient, site: Site = SHIPPED, *tests: str, access: AccessKey = "straight-needle",
    objective: ObjectiveKey | None = None,
) -> Plan:  # fmt: skip
    order = order_of(*(tests or ("lactate", "cbc")), patient=patient, access=access, objective=objective)
    return verified(order, site)


def why(plan: Plan) -> str:
    return next(reason.text for reason in plan.reasons if reason.text.startswith("objective: "))


def reserve_ul(plan: Plan) -> int:
    return sum(tube.reserve_ul for tube in plan.tubes)


def near_ul(plan: Plan) -> int:
    assert plan.totals.limit_ul is not None
    return plan.totals.limit_ul * 25 // 100


@pytest.mark.parametrize(("over_ul", "objective"), [(0, "liked-kinds"), (1, "fewest-tubes")])
def test_an_adult_gets_liked_kinds_up_to_a_quarter_of_the_limit_and_not_beyond(over_ul: int, objective: str) -> None:
    far = plan_of(ADULT)
    drawn_ul = near_ul(far) - far.totals.all_blood_ul + over_ul
    plan = plan_of(replace(ADULT, drawn_ul=drawn_ul))
    assert plan.objective == objective
    said = "this draw stays within 25 % of the blood limit" if not over_ul else "would pass 25 % of the blood limit"
    assert said in why(plan)


def test_an_adult_without_a_limit_is_far_from_it() -> None:
    plan = plan_of(Patient())
    assert plan.objective == "liked-kinds"
    assert "an adult, and no limit is known" in why(plan)


def test_a_child_gets_blood_before_liking_and_the_reason_says_so() -> None:
    plan = plan_of(CHILD)
    assert plan.objective == "fewest-tubes"
    assert "a child: blood comes before liking" in why(plan)


@pytest.mark.parametrize(
    ("order", "site", "said"),
    [
        ("fewest-tubes", "by-patient", "as the order asks"),
        (None, "fewest-tubes", "as the site says"),
        ("least-blood", "fewest-tubes", "as the order asks"),
    ],
)
def test_the_reason_says_whose_objective_it_is(
    order: ObjectiveKey | None, site: ObjectiveKey, said: str
) -> None:
    assert why(plan_of(ADULT, site_of(site), objective=order)).endswith(said)


def test_an_order_that_likes_kinds_first_says_where_the_limit_leaves_no_room_for_it() -> None:
    free = plan_of(ADULT, objective="liked-kinds")
    assert free.totals.limit_ul is not None
    spent = replace(ADULT, drawn_ul=free.totals.limit_ul - 1500)
    short = plan_of(spent, objective="liked-kinds")
    assert short.objective == "fewest-tubes"
    assert "would pass the blood limit" in why(short)


def test_an_adult_keeps_every_volume_once_more_and_a_site_without_a_reserve_keeps_none() -> None:
    assert [tube.reserve_ul == tube.needed_ul for tube in plan_of(ADULT).tubes] == [True, True]
    assert reserve_ul(plan_of(ADULT, site_of(reserve_percent=0))) == 0


def test_of_a_child_no_blood_is_kept_for_a_repeat() -> None:
    assert reserve_ul(plan_of(CHILD)) == 0
    assert reserve_ul(plan_of(CHILD, objective="liked-kinds")) == 0


def test_an_adult_near_the_limit_keeps_a_reserve_until_the_limit_itself_has_no_room_for_it() -> None:
    limit_ul = plan_of(ADULT).totals.limit_ul
    assert limit_ul is not None
    asks = ("thyrotropin", "cortisol", "ferritin", "vitamin-b12", "cbc")
    kept = plan_of(replace(ADULT, drawn_ul=limit_ul // 2), SHIPPED, *asks)
    assert kept.objective == "fewest-tubes"
    assert reserve_ul(kept) > 0
    last_ul = limit_ul - kept.totals.all_blood_ul
    assert reserve_ul(plan_of(replace(ADULT, drawn_ul=last_ul), SHIPPED, *asks)) > 0
    given_up = plan_of(replace(ADULT, drawn_ul=last_ul + 1), SHIPPED, *asks)
    assert (reserve_ul(given_up), given_up.volumes, given_up.unplaced) == (0, "typical", ())


def test_the_least_blood_keeps_no_reserve() -> None:
    assert reserve_ul(plan_of(ADULT, objective="least-blood")) == 0


@pytest.mark.parametrize("patient", [ADULT, CHILD])
def test_by_skin_puncture_no_drop_is_pressed_out_for_a_reserve(patient: Patient) -> None:
    plan = plan_of(patient, SHIPPED, "cbc", access="skin-puncture")
    assert [(tube.kind, tube.draw_ul, tube.reserve_ul) for tube in plan.tubes] == [("edta-micro", 250, 0)]


def test_a_reserve_never_costs_a_tube() -> None:
    asks = ("sodium", "calcium", "thyrotropin", "ferritin", "cbc", "prothrombin-time", "lactate", "hemoglobin-a1c")
    order = Order(asks=order_of(*asks).asks, patient=ADULT)
    for percent in (50, 100, 300):
        kept, bare = (verified(order, site_of("fewest-tubes", reserve_percent=share)) for share in (percent, 0))
        assert kept.totals.tubes == bare.totals.tubes
        assert reserve_ul(kept) > 0
