"""What must hold of carried blood whatever the additive, the volume and the blood."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cubital import facts
from cubital.chemistry.additives import fluid, load_of, mixed, tube_plasma
from cubital.chemistry.carryover import Spill, predicted_changes, typical_values, volume_at_limit_ul
from cubital.chemistry.chelation import free_calcium, measured, precipitated_by_oxalate, response_of
from cubital.chemistry.hemolysis import released_by_hemolysis

ADDITIVES = sorted(facts.contaminants().dose)
EDTAS = ("k2-edta", "k3-edta", "fluoride-edta")
additives = st.sampled_from(ADDITIVES)
hematocrits = st.floats(0.2, 0.7)
shares = st.floats(0, 1)
concentrations = st.floats(0, 30)


@given(additives, hematocrits)
def test_no_contaminant_changes_nothing(additive: str, hematocrit: float) -> None:
    native = typical_values()
    untouched = measured(mixed(native, tube_plasma(load_of(additive), hematocrit), 0.0))
    assert {key: untouched[key] for key in native} == pytest.approx(dict(native))
    spill = Spill(additive=additive, carried_ul=0, blood_ul=1000, hematocrit=hematocrit)
    assert all(change.amount == 0 for change in predicted_changes(spill, native=native))


@given(st.sampled_from(("k2-edta", "k3-edta")), hematocrits, st.lists(shares, min_size=2, max_size=6))
def test_more_contaminant_never_lowers_the_potassium_of_an_edta_mixture(
    additive: str, hematocrit: float, at: list[float]
) -> None:
    plasma = tube_plasma(load_of(additive), hematocrit)
    found = [measured(mixed(typical_values(), plasma, share))["potassium"] for share in sorted(at)]
    assert all(more >= less for less, more in pairwise(found))


@given(st.sampled_from(EDTAS), hematocrits, st.lists(shares, min_size=2, max_size=6))
def test_more_edta_never_raises_a_metal_nor_the_enzyme(additive: str, hematocrit: float, at: list[float]) -> None:
    plasma = tube_plasma(load_of(additive), hematocrit)
    native = typical_values()
    for analyte in ("calcium", "free-calcium", "magnesium", "zinc", "iron", "alkaline-phosphatase"):
        found = [measured(mixed(native, plasma, share))[analyte] for share in sorted(at)]
        assert all(more <= less + 1e-12 for less, more in pairwise(found)), analyte


@given(additives, hematocrits, shares)
def test_nothing_that_is_measured_falls_below_zero(additive: str, hematocrit: float, share: float) -> None:
    found = measured(mixed(typical_values(), tube_plasma(load_of(additive), hematocrit), share))
    assert all(value >= -1e-12 for value in found.values())


@given(concentrations)
def test_edta_never_hides_more_calcium_and_magnesium_than_there_is_edta(edta: float) -> None:
    native = {"calcium": 2.35, "magnesium": 0.85, "edta": edta}
    found = measured(native)
    for key in ("calcium", "magnesium"):
        assert native[key] - found[key] <= edta + 1e-12


@given(st.floats(0, 5), concentrations, concentrations, concentrations)
def test_free_calcium_stays_between_nothing_and_what_it_was(
    total: float, edta: float, citrate: float, oxalate: float
) -> None:
    found = free_calcium(total, edta=edta, citrate=citrate, oxalate=oxalate)
    assert -1e-9 <= found <= free_calcium(total) + 1e-9


@given(st.floats(0, 5), concentrations)
def test_no_more_falls_out_than_there_is_of_either(calcium: float, oxalate: float) -> None:
    assert 0 <= precipitated_by_oxalate(calcium, oxalate) <= min(calcium, oxalate) + 1e-9


@given(st.sampled_from(sorted(facts.contaminants().fluid)), shares)
def test_a_fluid_thins_what_it_does_not_hold_by_its_share(key: str, share: float) -> None:
    found = mixed({"albumin": 43.0, "zinc": 14.0}, fluid(key), share)
    assert found["albumin"] == pytest.approx(43.0 * (1 - share))
    assert found["zinc"] == pytest.approx(14.0 * (1 - share))


@given(additives, hematocrits, shares, st.permutations(list(typical_values())))
def test_the_order_of_the_analytes_does_not_matter(
    additive: str, hematocrit: float, share: float, keys: list[str]
) -> None:
    plasma = tube_plasma(load_of(additive), hematocrit)
    native = typical_values()
    one, other = (measured(mixed({k: native[k] for k in ks}, plasma, share)) for ks in (list(native), keys))
    assert {key: one[key] for key in native} == {key: other[key] for key in native}


@given(additives, hematocrits, st.floats(1, 2000), st.floats(2000, 10_000))
def test_the_typical_change_lies_between_the_ends_that_are_given(
    additive: str, hematocrit: float, carried_ul: float, blood_ul: float
) -> None:
    spill = Spill(additive=additive, carried_ul=carried_ul, blood_ul=blood_ul, hematocrit=hematocrit)
    for change in predicted_changes(spill, native=typical_values()):
        assert change.low <= change.after <= change.high


@given(st.sampled_from(("k2-edta", "citrate-9-1", "fluoride-oxalate")), hematocrits, st.floats(500, 10_000))
def test_the_volume_at_the_limit_is_where_the_limit_is_passed(
    additive: str, hematocrit: float, blood_ul: float
) -> None:
    spill = Spill(additive=additive, carried_ul=0, blood_ul=blood_ul, hematocrit=hematocrit)
    for analyte in ("potassium", "sodium", "calcium"):
        native = {analyte: typical_values()[analyte]}
        at_ul = volume_at_limit_ul(spill, analyte, native=native)
        if at_ul is None:
            continue
        under, over = (
            predicted_changes(
                Spill(additive=additive, carried_ul=factor * at_ul, blood_ul=blood_ul, hematocrit=hematocrit),
                native=native,
            )[0].share_of_allowable or 0.0
            for factor in (0.99, 1.0)
        )  # fmt: skip
        assert under < 1 <= over + 1e-9


@given(st.floats(0, 20), st.floats(0, 20))
def test_more_hemolysis_sets_more_free(less: float, more: float) -> None:
    low, high = sorted((less, more))
    native = {"potassium": 4.2, "lactate-dehydrogenase": 170.0}
    one, other = released_by_hemolysis(native, low), released_by_hemolysis(native, high)
    assert all(one[key] <= other[key] for key in native)


@given(st.floats(0, 20), st.floats(0, 20))
def test_every_assay_answers_with_a_share_that_falls(one: float, other: float) -> None:
    from cubital.chemistry.chelation import measured_share

    low, high = sorted((one, other))
    for response in facts.interference().edta:
        if response.answer != "one-to-one":
            assert 1 >= measured_share(response, low) >= measured_share(response, high) >= 0
            assert response_of(response.analyte, response.principle) == response
