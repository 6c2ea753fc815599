"""Tubes out of the order of draw, and discards and bottles that are missing or misplaced, are found."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.facts import OrderPolicy, Place, Step, cultures, order_policies
from cubital.model import (
    Ask,
    Draw,
    Order,
    Placing,
    Tube,
    TubeKind,
)
from cubital.planning.verify import verify
from cubital.planning.verify.sequence import rank_of
from tests.unit.planning.verify.sound_plan import (
    CULTURE_ORDER,
    DAY,
    ORDER,
    SITE,
    SOUND,
    accept,
    bottles,
    expect,
    laboratory_test,
    plan_of,
    settled,
    swapped,
    tube_of,
    with_kind,
    with_planning,
    with_tube,
)

# Order of draw


@pytest.mark.parametrize("first", [1, 2, 3])
def test_two_neighbours_out_of_order_are_found(first: int) -> None:
    findings = verify(swapped(SOUND, first, first + 1), ORDER, SITE)
    assert len(findings) == 1
    assert f"which stand at {first + 1} and {first}" in findings[0]


def test_tubes_of_one_kind_may_stand_either_way() -> None:
    assert verify(swapped(SOUND, 4, 5), ORDER, SITE) == ()


def test_positions_with_a_gap_are_found() -> None:
    plan = replace(
        SOUND, tubes=tuple(replace(t, position=t.position + (t.position == 5)) for t in SOUND.tubes)
    )
    expect("positions do not run from 1 to 5", plan)


def test_rows_not_listed_in_the_order_they_are_drawn_are_found() -> None:
    expect("not listed in the order", replace(SOUND, tubes=SOUND.tubes[::-1]))


def test_a_plan_that_names_another_policy_is_found() -> None:
    expect("names the policy 'who-2010'", replace(SOUND, policy="who-2010"))


def test_a_policy_nobody_knows_is_found() -> None:
    expect("there is no order of draw 'house'", SOUND, ORDER, with_planning(order_of_draw="house"))


def test_policies_differ_where_their_sources_differ() -> None:
    order = Order(asks=(Ask(test="antibody"), Ask(test="prothrombin")), on=DAY)
    plain_first = plan_of(
        tube_of(1, "plain", "antibody", "serum"), tube_of(2, "citrate", "prothrombin", "plasma"),
        preference=1, policy="who-2010",
    )  # fmt: skip
    assert verify(plain_first, order, with_planning(order_of_draw="who-2010")) == ()
    plan = replace(plain_first, policy="clsi-gp41")
    expect("clsi-gp41 wants citrate before plain", plan, order, with_planning(order_of_draw="clsi-gp41"))


TRACE_ORDER = Order(asks=(Ask(test="count"), Ask(test="zinc")))
TRACE = plan_of(tube_of(1, "edta", "count", "whole-blood"), tube_of(2, "royal", "zinc", "whole-blood"))


def test_a_trace_element_tube_is_placed_only_by_its_use() -> None:
    assert verify(TRACE, TRACE_ORDER, SITE) == ()
    expect("common-practice wants edta before royal", swapped(TRACE, 1, 2), TRACE_ORDER)


def test_a_kind_nobody_places_is_found() -> None:
    site, plan = with_planning(order_of_draw="clsi-gp41"), replace(TRACE, policy="clsi-gp41")
    expect("clsi-gp41 does not place royal, nor does the site", plan, TRACE_ORDER, site)


@pytest.mark.parametrize(
    ("placing", "royal_first"),
    [
        (Placing(kind="royal", before="edta"), True),
        (Placing(kind="royal", after="edta"), False),
        (Placing(kind="royal", after="heparin-gel"), True),
    ],
)
def test_the_sites_own_placing_rules_a_kind_its_policy_leaves_out(
    placing: Placing, royal_first: bool
) -> None:
    site = with_planning(order_of_draw="clsi-gp41", placings=(placing,))
    plan = replace(TRACE, policy="clsi-gp41")
    right, wrong = (swapped(plan, 1, 2), plan) if royal_first else (plan, swapped(plan, 1, 2))
    assert verify(right, TRACE_ORDER, site) == ()
    expect("clsi-gp41 wants", wrong, TRACE_ORDER, site)


def test_a_kind_placed_with_another_may_stand_either_side_of_it() -> None:
    site = with_planning(order_of_draw="clsi-gp41", placings=(Placing(kind="royal", with_kind="edta"),))
    plan = replace(TRACE, policy="clsi-gp41")
    assert verify(plan, TRACE_ORDER, site) == ()
    assert verify(swapped(plan, 1, 2), TRACE_ORDER, site) == ()


def test_a_placing_may_lean_on_a_later_placing() -> None:
    site = with_planning(
        order_of_draw="clsi-gp41",
        placings=(Placing(kind="royal", before="lead"), Placing(kind="lead", before="edta")),
    )
    lead = TubeKind(key="lead", name="lead", additive="k3-edta", use="lead", sizes=(Tube(draw_ul=3000),))
    site = replace(site, kinds={**site.kinds, "lead": lead})
    plan = replace(TRACE, policy="clsi-gp41")
    assert verify(swapped(plan, 1, 2), TRACE_ORDER, site) == ()
    expect("wants royal before edta", plan, TRACE_ORDER, site)


def test_a_placing_does_not_move_a_kind_the_policy_places() -> None:
    site = with_planning(placings=(Placing(kind="edta", before="citrate"),))
    assert verify(SOUND, ORDER, site) == ()


# Skin puncture


def test_a_skin_puncture_follows_its_own_policy() -> None:
    tests = {
        **SITE.tests,
        "count": laboratory_test("count", "hematology", accept("whole-blood", "micro", 100, 50)),
    }
    site = replace(SITE, tests=tests)
    order = Order(asks=(Ask(test="count"), Ask(test="antibody")), access="skin-puncture")
    plan = plan_of(
        tube_of(1, "micro", "count", "whole-blood"), tube_of(2, "serum-gel", "antibody", "serum"),
        policy="skin-puncture", access="skin-puncture",
    )  # fmt: skip
    assert verify(plan, order, site) == ()
    expect("skin-puncture wants micro before serum-gel", swapped(plan, 1, 2), order, site)
    expect("this draw is ruled by 'skin-puncture'", replace(plan, policy="common-practice"), order, site)


def test_what_cannot_be_taken_by_skin_puncture_is_found() -> None:
    order = Order(asks=(Ask(test="prothrombin"),), access="skin-puncture", on=DAY)
    plan = plan_of(
        tube_of(1, "citrate", "prothrombin", "plasma"), policy="skin-puncture", access="skin-puncture"
    )
    findings = verify(plan, order, SITE)
    assert any("a citrate tube is not filled from a skin puncture" in f for f in findings)


def test_a_trace_element_tube_is_refused_by_skin_puncture() -> None:
    order = Order(asks=(Ask(test="zinc"),), access="skin-puncture")
    plan = plan_of(tube_of(1, "royal", "zinc", "whole-blood"), policy="skin-puncture", access="skin-puncture")
    assert any("skin contaminates trace elements" in f for f in verify(plan, order, SITE))


# Cultures


def test_a_culture_set_of_two_bottles_serves_its_test_once() -> None:
    assert verify(bottles("aerobic", "anaerobic"), CULTURE_ORDER, SITE) == ()


def test_the_anaerobic_bottle_first_behind_a_winged_set_is_found() -> None:
    findings = verify(bottles("anaerobic", "aerobic"), CULTURE_ORDER, SITE)
    assert any("an anaerobic bottle stands first behind a winged set" in f for f in findings)


def test_the_anaerobic_bottle_first_behind_a_needle_is_no_fault() -> None:
    order = replace(CULTURE_ORDER, access="straight-needle")
    assert verify(bottles("anaerobic", "aerobic", access="straight-needle"), order, SITE) == ()


def test_a_culture_bottle_that_serves_another_test_is_found() -> None:
    plan = with_tube(bottles("aerobic", "anaerobic"), 2, tests=("culture", "count"))
    order = replace(CULTURE_ORDER, asks=(*CULTURE_ORDER.asks, Ask(test="count")))
    expect("a culture bottle serves blood cultures only", plan, order)


def test_a_bottle_filled_above_its_size_is_found() -> None:
    plan = plan_of(
        tube_of(1, "aerobic", "culture", None, purpose="culture", draw_ul=10001), access="winged-set"
    )
    expect("aerobic of 10001 uL: the site stocks no such size", plan, CULTURE_ORDER)


def test_bottles_count_against_the_stock() -> None:
    site = with_kind("aerobic", sizes=(Tube(draw_ul=10000, in_stock=1),))
    further = cultures().rule("new-puncture").text
    plan = bottles(
        "aerobic", "aerobic",
        draws=(Draw(number=1, at_min=0, label="now"), Draw(number=2, at_min=0, label="set 2", steps=(further,))),
    )  # fmt: skip
    plan = settled(replace(plan, tubes=(plan.tubes[0], replace(plan.tubes[1], draw=2, position=1))))
    assert verify(plan, CULTURE_ORDER, SITE) == ()
    expect("aerobic of 10000 uL: 2 are used and 1 are in stock", plan, CULTURE_ORDER, site)


# How closely a place names a kind


def policy_of(*places: Place) -> OrderPolicy:
    """An invented policy of one step a place."""
    mark = order_policies()["common-practice"].marks[0]
    steps = tuple(Step(name=str(n), places=(place,), mark=mark) for n, place in enumerate(places))
    return OrderPolicy(key="invented", name="invented", scope="tests", marks=(mark,), steps=steps)


def test_a_place_that_names_the_use_wins_over_material_and_gel_together() -> None:
    kind = TubeKind(
        key="k", name="k", additive="k2-edta", gel=False, material="glass", use="blood-bank", sizes=()
    )
    plain, gel = Place(additive="k2-edta"), Place(additive="k2-edta", gel=False)
    material = Place(additive="k2-edta", material="glass")
    both = Place(additive="k2-edta", material="glass", gel=False)
    use = Place(additive="k2-edta", use="blood-bank")
    assert rank_of(kind, policy_of(plain, gel, material, both, use)) == (4, 0)
    assert rank_of(kind, policy_of(use, both, material, gel, plain)) == (0, 0)
    assert rank_of(kind, policy_of(plain, both, material, gel)) == (1, 0)
    assert rank_of(kind, policy_of(gel, material, plain)) == (1, 0)
    assert rank_of(kind, policy_of(plain, gel)) == (1, 0)
    assert rank_of(kind, policy_of(gel, plain)) == (0, 0)
    assert rank_of(kind, policy_of(Place(additive="k2-edta", gel=True), plain)) == (1, 0)
    assert rank_of(kind, policy_of(Place(additive="k2-edta", use="counts"))) is None
    assert rank_of(kind, policy_of(Place(additive="k3-edta"))) is None


@pytest.mark.parametrize("use", ["trace-element", "lead"])
def test_a_kind_kept_for_metals_falls_back_to_no_general_place(use: str) -> None:
    kind = TubeKind(key="k", name="k", additive="k2-edta", use=use, sizes=())
    assert rank_of(kind, policy_of(Place(additive="k2-edta"))) is None
    named = Place(additive="k2-edta", use=use)  # type: ignore[arg-type]
    assert rank_of(kind, policy_of(Place(additive="k2-edta"), named)) == (1, 0)


def test_edta_for_the_blood_bank_follows_edta_for_counts() -> None:
    bank = replace(SITE.kinds["edta"], key="bank", name="bank", use="blood-bank")
    site = replace(SITE, kinds={**SITE.kinds, "bank": bank})
    group = laboratory_test("group", "blood bank", accept("whole-blood", "bank", 1000, 500))
    site = replace(site, tests={**site.tests, "group": group})
    order = Order(asks=(Ask(test="count"), Ask(test="group")))
    rows = tube_of(1, "edta", "count", "whole-blood"), tube_of(2, "edta", "group", "whole-blood")
    plan = plan_of(rows[0], replace(rows[1], kind="bank", name="bank"))
    assert verify(plan, order, site) == ()
    expect("draw 1: common-practice wants edta before bank", swapped(plan, 1, 2), order, site)
