"""The order that chemistry gives against the guidelines: WHO 2010, CLSI GP41, EFLM 2018 and common practice, as far as
each was read (marks at the policies). What all agree on: culture first; citrate before clot-activator and gel serum;
serum before heparin; heparin before EDTA; EDTA before fluoride/oxalate. Where the chemistry differs it is said by how
much, with 10 uL carried into the smallest stock size of each kind."""

from __future__ import annotations

import pytest

from cubital.app.derived_order import Beside, derive_order
from cubital.app.wiring import open_site

SITE = open_site()
KINDS = (
    "culture-aerobic", "citrate", "serum-glass", "serum", "serum-gel", "thrombin", "heparin", "heparin-gel", "edta",
    "acd-a", "fluoride-oxalate",
)  # fmt: skip
FOUND = derive_order(KINDS, SITE)
GUIDELINES = {guideline.policy: guideline for guideline in FOUND.guidelines}
AGREED = [
    ("culture-aerobic", "citrate"), ("citrate", "serum"), ("citrate", "serum-gel"), ("serum", "heparin"),
    ("serum-gel", "heparin"), ("heparin", "edta"), ("edta", "fluoride-oxalate"),
]  # fmt: skip


@pytest.mark.parametrize(("first", "then"), AGREED)
def test_what_every_guideline_agrees_on_the_chemistry_would_mind_the_other_way_round(first: str, then: str) -> None:
    assert FOUND.order.index(first) < FOUND.order.index(then)
    harms = {(harm.from_, harm.into): harm.rank for harm in FOUND.harms}
    assert harms[first, then] < harms[then, first]


@pytest.mark.parametrize("carried_ul", [1.0, 100.0, 500.0])
def test_the_agreed_pairs_hold_at_any_volume_that_is_carried(carried_ul: float) -> None:
    order = derive_order(KINDS, SITE, carried_ul=carried_ul).order
    assert all(order.index(first) < order.index(then) for first, then in AGREED)


@pytest.mark.parametrize("hematocrit", [0.25, 0.65])
def test_the_agreed_pairs_hold_at_any_hematocrit(hematocrit: float) -> None:
    from cubital.app.carry_over import Blood

    order = derive_order(KINDS, SITE, blood=Blood(hematocrit=hematocrit)).order
    assert all(order.index(first) < order.index(then) for first, then in AGREED)


def differences(guideline: Beside) -> set[tuple[str, str]]:
    """The pairs that a guideline draws the other way round than the chemistry."""
    return {(difference.first, difference.then) for difference in guideline.differences}


def test_the_plain_tube_parts_the_guidelines_and_the_chemistry_sides_with_who() -> None:
    assert ("serum-glass", "citrate") not in differences(GUIDELINES["who-2010"])
    for policy in ("clsi-gp41", "eflm-2018", "common-practice"):
        assert ("citrate", "serum-glass") in differences(GUIDELINES[policy]), policy
    (found,) = (d for d in GUIDELINES["clsi-gp41"].differences if d.first == "citrate")
    assert found.as_drawn.worst == "sodium"
    assert found.as_drawn.share == pytest.approx(0.042, abs=0.001)
    assert found.other_way.rank == 0


def test_acd_before_fluoride_is_minded_for_its_dextrose_by_four_fifths_of_the_error_of_glucose() -> None:
    for policy in ("who-2010", "common-practice"):
        (found,) = (d for d in GUIDELINES[policy].differences if d.first == "acd-a")
        assert (found.then, found.as_drawn.worst) == ("fluoride-oxalate", "glucose")
        assert found.as_drawn.share == pytest.approx(0.80, abs=0.01)


def test_each_guideline_differs_in_no_other_pair() -> None:
    assert differences(GUIDELINES["who-2010"]) == {("acd-a", "fluoride-oxalate")}
    assert differences(GUIDELINES["clsi-gp41"]) == {("citrate", "serum-glass")}
    assert differences(GUIDELINES["eflm-2018"]) == {("citrate", "serum-glass")}
    both = {("citrate", "serum-glass"), ("acd-a", "fluoride-oxalate")}
    assert differences(GUIDELINES["common-practice"]) == both


def test_what_a_guideline_leaves_unsaid_is_named_and_not_ranked_for_it() -> None:
    assert set(GUIDELINES["who-2010"].unsaid) == {"thrombin", "heparin"}
    assert GUIDELINES["clsi-gp41"].unsaid == ("acd-a",)


def test_without_the_two_that_are_disputed_every_guideline_harms_as_little_as_any_order() -> None:
    kinds = [kind for kind in KINDS if kind not in ("serum-glass", "acd-a")]
    for guideline in derive_order(kinds, SITE).guidelines:
        assert guideline.is_least, guideline.policy
        assert not guideline.differences


def test_the_chemistry_is_indifferent_among_serum_tubes_and_between_edta_and_acd() -> None:
    alike = {frozenset(pair) for pair in FOUND.indifferent}
    assert frozenset(("serum", "serum-gel")) in alike
    assert frozenset(("heparin", "heparin-gel")) in alike
    assert frozenset(("edta", "acd-a")) in alike
    assert FOUND.orders > 1
