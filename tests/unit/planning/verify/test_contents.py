"""What a tube may hold and what its row says of it."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.model import (
    Ask,
    Order,
    Patient,
)
from cubital.planning.verify import verify
from tests.unit.planning.verify.sound_plan import (
    DAY,
    ORDER,
    SITE,
    SOUND,
    accept,
    expect,
    plan_of,
    tube_of,
    with_kind,
    with_planning,
    with_test,
    with_tube,
)

# Contents


def test_a_tube_kind_the_test_does_not_accept_is_found() -> None:
    site = with_test("group", accepts=(accept("whole-blood", "royal", 1000, 500),))
    plan = with_tube(SOUND, 5, needed_ul=None)
    expect("group does not accept whole-blood from edta", plan, ORDER, site)


def test_a_matrix_the_test_does_not_accept_is_found() -> None:
    plan = with_tube(SOUND, 2, matrix="plasma", needed_ul=None, usable_ul=None)
    expect("antibody does not accept plasma from serum-gel", plan)


def test_a_collect_tube_without_a_matrix_is_found() -> None:
    plan = with_tube(SOUND, 2, matrix=None, needed_ul=None, usable_ul=None)
    expect("antibody does not accept None from serum-gel", plan)


def test_benches_that_do_not_share_are_found_and_benches_that_share_are_not() -> None:
    tubes = (
        tube_of(1, "citrate", "prothrombin", "plasma"),
        tube_of(2, "heparin-gel", "potassium antibody", "plasma"),
    )
    order = Order(asks=tuple(Ask(test=t) for t in ("prothrombin", "potassium", "antibody")), on=DAY)
    expect("benches chemistry, serology do not share a tube", plan_of(*tubes, preference=2), order)
    sharing = with_planning(share_benches=(("serology", "chemistry"),))
    assert verify(plan_of(*tubes, preference=2), order, sharing) == ()


def test_a_row_that_names_the_wrong_bench_is_found() -> None:
    expect("it names benches serology, not those", with_tube(SOUND, 4, benches=("serology",)))


def test_an_own_tube_test_in_company_is_found() -> None:
    expect("smear must stand alone in its tube", SOUND, ORDER, with_test("smear", own_tube=True))


def test_tests_of_one_tube_whose_handling_opposes_are_found() -> None:
    for chilled in ("ice", "warm"):
        site = with_test("glucose", handling=(chilled,))
        unchilled = replace(site.tests["potassium"], handling=("no_chill",))
        site = replace(site, tests={**site.tests, "potassium": unchilled})
        said = f"glucose ({chilled}) and potassium (no_chill) do not share a tube"
        assert any(said in finding for finding in verify(SOUND, ORDER, site))


@pytest.mark.parametrize(
    ("one", "other", "found"),
    [
        (("ice",), (), True),
        ((), ("warm",), True),
        (("cold_spin",), (), True),
        (("ice",), ("ice", "room_temperature_spin"), True),
        (("ice",), ("ice", "cold_spin"), False),
        (("no_chill",), (), False),
        (("room_temperature_spin",), ("no_chill",), False),
        (("warm",), ("warm",), False),
    ],
)
def test_a_test_that_says_nothing_of_temperature_is_held_to_the_room(
    one: tuple[str, ...], other: tuple[str, ...], found: bool
) -> None:
    site = with_test("glucose", handling=one)
    site = replace(site, tests={**site.tests, "potassium": replace(site.tests["potassium"], handling=other)})
    assert any("do not share a tube" in finding for finding in verify(SOUND, ORDER, site)) == found


def test_an_empty_tube_is_found() -> None:
    plan = plan_of(*SOUND.tubes, tube_of(6, "royal", "", "whole-blood"))
    expect("it holds no test", plan)


def test_a_blood_culture_packed_with_other_tests_is_found() -> None:
    order = replace(ORDER, asks=(*ORDER.asks, Ask(test="culture")))
    site = with_test("culture", bench="hematology", accepts=(accept("whole-blood", "edta", 10, 10),))
    plan = with_tube(SOUND, 4, tests=("count", "smear", "culture"), needed_ul=610)
    expect("a blood culture is not packed", plan, order, site)


def test_a_microlitre_too_much_is_found_and_an_exact_fit_is_not() -> None:
    site = with_test("glucose", accepts=(accept("plasma", "heparin-gel", 833, 200),))
    expect("need 1533 uL and it yields 1532 uL", with_tube(SOUND, 3, needed_ul=1533), ORDER, site)


def test_whole_blood_is_held_against_draw_less_dead_volume() -> None:
    exact = with_test("group", accepts=(accept("whole-blood", "edta", 2900, 500),))
    assert verify(with_tube(SOUND, 5, needed_ul=2900), ORDER, exact) == ()
    over = with_test("group", accepts=(accept("whole-blood", "edta", 2901, 500),))
    expect("need 2901 uL and it yields 2900 uL", with_tube(SOUND, 5, needed_ul=2901), ORDER, over)


def test_liquid_additive_counts_towards_plasma() -> None:
    site = with_test("prothrombin", accepts=(accept("plasma", "citrate", 1407, 500),))
    expect("need 1407 uL and it yields 1406 uL", with_tube(SOUND, 1, needed_ul=1407), ORDER, site)


def test_a_wrong_usable_volume_is_found() -> None:
    expect("it says 1533 uL usable, the formula gives 1532 uL", with_tube(SOUND, 3, usable_ul=1533))


def test_a_wrong_needed_volume_is_found() -> None:
    expect("it says 599 uL needed, its tests need 600 uL", with_tube(SOUND, 4, needed_ul=599))


def test_the_first_way_counts_where_a_kind_and_matrix_stand_twice() -> None:
    twice = (accept("serum", "serum-gel", 500, 250), accept("serum", "serum-gel", 10, 10))
    assert verify(SOUND, ORDER, with_test("antibody", accepts=twice)) == ()


def test_minimum_volumes_are_used_when_the_plan_says_so() -> None:
    site = with_planning(objective="least-blood")
    plan = replace(SOUND, objective="least-blood", volumes="minimum")
    tubes = tuple(replace(t, needed_ul=None) for t in plan.tubes)
    assert verify(replace(plan, tubes=tubes), ORDER, site) == ()
    tight = with_tube(replace(plan, tubes=tubes), 3, needed_ul=500)
    assert verify(tight, ORDER, site) == ()


def test_the_patients_own_hematocrit_comes_before_the_sites() -> None:
    order = replace(ORDER, patient=Patient(hematocrit=Fraction(46, 100)))
    findings = verify(SOUND, order, SITE)
    assert any("need 1532 uL and it yields 1501 uL" in f for f in findings)


@pytest.mark.parametrize(
    ("age_h", "sex", "usable_ul"),
    [
        (0, None, 839), (13 * 24 + 23, None, 839), (14 * 24, None, 965), (40 * 8766, "female", 1501),
        (40 * 8766, "male", 1375), (40 * 8766, None, 1375), (None, None, 1375), (None, "female", 1501),
        (3 * 8766, "male", 1627),
    ],
)  # fmt: skip
def test_without_a_hematocrit_the_shipped_one_for_age_and_sex_counts(
    age_h: int | None, sex: Any, usable_ul: int
) -> None:
    """floor(3500 x (1 - hematocrit) x 0.9) - 200 by hand: 0.67, 0.63, 0.46, 0.50 and 0.42."""
    site = with_planning(hematocrit=None, blood_limit=None)
    order = Order(asks=(Ask(test="potassium"),), patient=Patient(age_h=age_h, sex=sex))
    plan = plan_of(tube_of(1, "heparin-gel", "potassium", "plasma", usable_ul=usable_ul))
    assert verify(plan, order, site) == ()


# Labels


def test_a_row_with_another_additive_is_found() -> None:
    expect("its additive or gel is not what", with_tube(SOUND, 4, additive="k3-edta"))


def test_a_row_that_hides_a_gel_is_found() -> None:
    expect("its additive or gel is not what", with_tube(SOUND, 3, gel=False))


def test_a_row_with_another_name_is_found() -> None:
    expect("it is called 'royal', the site calls it 'EDTA'", with_tube(SOUND, 4, name="royal"))


def test_a_kind_this_access_cannot_fill_is_found() -> None:
    site = with_kind("serum-gel", accesses=("syringe",))
    expect("straight-needle cannot fill it", SOUND, ORDER, site)


def test_a_kind_the_site_does_not_have_is_found() -> None:
    findings = verify(with_tube(SOUND, 5, kind="ghost"), ORDER, SITE)
    assert "draw 1 tube 5: the site has no kind 'ghost'" in findings


def test_a_purpose_nobody_knows_is_found() -> None:
    findings = verify(with_tube(SOUND, 5, purpose="keep"), ORDER, SITE)
    assert any("a tube to 'keep' is nothing this plan may hold" in f for f in findings)
