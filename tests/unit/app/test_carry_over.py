"""Carry-over at a site: what is measured where, what was taken as typical, and what is refused."""

from __future__ import annotations

import json

import pytest

from cubital.app.carry_over import Blood, bias_curves, carry_over, carry_over_document, measured_in
from cubital.app.derived_order import derive_order
from cubital.app.wiring import open_site
from cubital.errors import OrderError, UnitError

SITE = open_site()


def test_only_what_the_second_tube_is_used_for_is_predicted() -> None:
    assert "potassium" in measured_in("serum-gel", "clot-activator", SITE)
    assert measured_in("fluoride-oxalate", "fluoride-oxalate", SITE) == ("glucose",)
    assert "lithium" not in measured_in("heparin", "lithium-heparin", SITE)


def test_an_additive_stands_for_every_kind_that_holds_it() -> None:
    by_kind = set(measured_in("heparin", "lithium-heparin", SITE))
    assert by_kind <= set(measured_in("lithium-heparin", "lithium-heparin", SITE))


def test_what_is_taken_as_typical_is_said_and_what_is_given_is_used() -> None:
    bare = carry_over("edta", "serum-gel", SITE, carried_ul=20)
    assert any("1.1 mL, the smallest" in text for text in bare.taken)
    assert any("0.45" in text for text in bare.taken)
    blood = Blood(hematocrit=0.30, values={"potassium": 6.1})
    full = carry_over("edta", "serum-gel", SITE, carried_ul=20, blood_ul=3500, blood=blood)
    assert not any("smallest" in text or "0.45" in text for text in full.taken)
    (potassium,) = (change for change in full.changes if change.analyte == "potassium")
    assert potassium.before == 6.1


def test_without_a_volume_no_change_is_predicted_but_the_volumes_at_the_limits_are() -> None:
    found = carry_over("edta", "serum-gel", SITE)
    assert found.changes == ()
    assert found.limits[0].analyte == "potassium"
    assert found.limits[0].carried_ul == pytest.approx(20.8, abs=0.1)
    volumes = [limit.carried_ul for limit in found.limits if limit.carried_ul is not None]
    assert volumes == sorted(volumes)


def test_a_higher_hematocrit_leaves_less_plasma_and_more_potassium_in_it() -> None:
    changes = []
    for hematocrit in (0.25, 0.65):
        found = carry_over("edta", "serum-gel", SITE, carried_ul=20, blood=Blood(hematocrit=hematocrit))
        changes.append(next(c.amount for c in found.changes if c.analyte == "potassium"))
    assert changes[0] < changes[1]


def test_effects_known_in_kind_have_a_source_and_no_number() -> None:
    found = carry_over("serum", "citrate", SITE, carried_ul=20)
    assert found.changes == ()
    assert [claim.text for claim in found.claims] == ["silica starts clotting: PT and aPTT can come out short"]
    document = carry_over_document(found)
    assert document["in_kind"][0]["rests_on"] == "from memory"
    assert not any(isinstance(value, float) for value in document["in_kind"][0].values())


def test_a_sedimentation_tube_is_not_taken_for_a_coagulation_tube() -> None:
    assert carry_over("serum", "citrate-sedimentation", SITE).claims == ()


def test_an_amount_that_is_not_known_is_withheld() -> None:
    found = carry_over("fluoride-edta", "heparin", SITE, carried_ul=20)
    assert found.withheld == ("potassium", "sodium")
    assert not {"potassium", "sodium"} & {change.analyte for change in found.changes}
    assert not {"potassium", "sodium"} & {limit.analyte for limit in found.limits}


def test_another_scheme_sets_other_limits_and_one_that_names_no_analyte_none() -> None:
    strict = carry_over("edta", "serum-gel", SITE, blood=Blood(scheme="rcpaqap")).limits
    lax = carry_over("edta", "serum-gel", SITE, blood=Blood(scheme="clia-1992")).limits
    assert strict[0].analyte == lax[0].analyte == "potassium"
    assert (strict[0].carried_ul or 0) < (lax[0].carried_ul or 0)
    assert "magnesium" not in {limit.analyte for limit in strict}


def test_the_curves_of_a_picture_pass_through_the_limit_at_the_volume_that_is_told() -> None:
    found = carry_over("edta", "serum-gel", SITE)
    at_ul = found.limits[0].carried_ul
    assert at_ul is not None
    (name, shares), *_ = bias_curves(found, SITE, Blood(), [0.0, at_ul])
    assert name.startswith("potassium")
    assert shares == [0.0, pytest.approx(1.0, abs=0.002)]


def test_the_document_is_json_and_says_the_same() -> None:
    found = carry_over("edta", "serum-gel", SITE, carried_ul=50)
    document = json.loads(json.dumps(carry_over_document(found), allow_nan=False))
    assert document["format"] == "cubital.carryover/1"
    (potassium,) = (row for row in document["changes"] if row["analyte"] == "potassium")
    assert potassium["share_of_allowable"] == pytest.approx(potassium["amount"] / 0.3)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"from_": "edtaa"}, "found 'edtaa'; expected a tube kind of this site or an additive"),
        ({"way": "thrown"}, "expected one of closed, syringe, poured"),
        ({"blood": Blood(scheme="clia")}, "expected one of clia-1992, clia-2025, rcpaqap"),
        ({"blood": Blood(values={"kryptonite": 1})}, "found kryptonite; expected one of potassium"),
        ({"blood": Blood(principles={"sodium": "flame"})}, "found an assay of sodium"),
    ],
)
def test_a_word_that_nobody_knows_is_refused(arguments: dict[str, object], said: str) -> None:
    with pytest.raises(OrderError, match=said):
        carry_over(**{"from_": "edta", "into": "serum-gel", "site": SITE, **arguments})  # type: ignore[arg-type]


def test_more_than_the_tube_holds_is_refused() -> None:
    with pytest.raises(UnitError, match="name the tubes the other way round"):
        carry_over("edta", "serum-gel", SITE, carried_ul=2000, blood_ul=1000)


@pytest.mark.parametrize(
    ("kinds", "said"),
    [(["edta"], "two tubes at least"), (["edta", "edta"], "each named once"), (["edta", "tea"], "found 'tea'")],
)
def test_an_order_of_one_tube_of_a_repeated_or_an_unknown_one_is_refused(kinds: list[str], said: str) -> None:
    with pytest.raises(OrderError, match=said):
        derive_order(kinds, SITE)
