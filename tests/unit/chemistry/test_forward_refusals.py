"""What the forward chemistry refuses, on both sides of its edge."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest

from cubital import facts
from cubital.chemistry.additives import fluid, load_of, mixed, salt_mmol_per_l, tube_plasma, water_shift
from cubital.chemistry.carryover import Spill, predicted_changes, withheld
from cubital.chemistry.centrifuge import force_g, radius_of_cm, speed_rpm
from cubital.chemistry.chelation import measured, measured_share, precipitated_by_oxalate, response_of
from cubital.chemistry.citrate import adjustments, plasma_citrate
from cubital.chemistry.hemolysis import released_by_hemolysis, without_hemolysis
from cubital.chemistry.least_harm import least_harm
from cubital.chemistry.vacuum import altitude_at_fill_m, least_gas_share
from cubital.errors import UnitError


def spill_of(carried_ul: float, blood_ul: float) -> Spill:
    """EDTA blood in a tube."""
    return Spill(additive="k2-edta", carried_ul=carried_ul, blood_ul=blood_ul, hematocrit=0.4)


ELECTRODE = facts.interference().responses("free-calcium")[0]
REFUSED: list[tuple[str, Callable[[], object]]] = [
    ("no way of weighing for dipotassium EDTA", lambda: salt_mmol_per_l("k2-edta", 2)),
    ("dihydrate .404.45 g/mol., anhydrous", lambda: salt_mmol_per_l("k2-edta", 2, weighed_as="wet")),
    ("'sodium-fluoride'|expected one of", lambda: salt_mmol_per_l("k4-edta", 2, weighed_as="anhydrous")),
    ("found 'ricin'", lambda: load_of("ricin")),
    ("found 'gelatin'", lambda: fluid("gelatin")),
    ("expected 0 to 1", lambda: mixed({}, fluid("saline"), 1.0001)),
    ("expected 0 to 1", lambda: mixed({}, fluid("saline"), -0.0001)),
    ("expected 0 to 1", lambda: mixed({}, fluid("saline"), float("nan"))),
    ("such as 0.45", lambda: tube_plasma(load_of("k2-edta"), 45)),
    ("such as 0.45", lambda: tube_plasma(load_of("k2-edta"), 0)),
    ("such as 0.45", lambda: tube_plasma(load_of("k2-edta"), float("nan"))),
    ("expected 0 or more", lambda: measured_share(response_of("zinc"), -0.1)),  # type: ignore[arg-type]
    ("found an electrode", lambda: measured_share(ELECTRODE, 0.1)),
    ("expected xylidyl-blue, isocitrate", lambda: response_of("magnesium", "guessing")),
    ("no assay of it is known", lambda: response_of("chloride", "guessing")),
    ("expected 0 or more", lambda: precipitated_by_oxalate(1, -1)),
    ("expected 0 or more", lambda: released_by_hemolysis({}, -0.1)),
    ("expected 0 or more", lambda: without_hemolysis(4, -0.1)),
    ("expected less carried than the tube holds", lambda: spill_of(2, 1)),
    ("more than 0", lambda: spill_of(0, 0)),
    ("0 or more", lambda: spill_of(float("nan"), 1)),
    ("above 0 and at most 50 cm", lambda: force_g(rpm=3000, radius_cm=0)),
    ("above 0 and at most 50 cm", lambda: force_g(rpm=3000, radius_cm=160)),
    ("above 0 and at most 100,000 rpm", lambda: force_g(rpm=-3000, radius_cm=16)),
    ("above 0 and at most 1,000,000 g", lambda: speed_rpm(g=0, radius_cm=16)),
    ("above 0 and at most 1,000,000 g", lambda: speed_rpm(g=float("inf"), radius_cm=16)),
    ("above 0 and at most 100,000 rpm", lambda: radius_of_cm(g=100, rpm=0)),
    ("at most 16", lambda: least_harm([[0] * 17 for _ in range(17)])),
]
REFUSED_AS_VALUES: list[tuple[str, Callable[[], object]]] = [
    ("above 0 and below 1", lambda: least_gas_share(1.0)),
    ("above 0 and below 1", lambda: least_gas_share(0.0)),
    ("gas share", lambda: altitude_at_fill_m(0.0, 0.9)),
    ("both above 0", lambda: adjustments(0, Fraction(1, 2))),
    ("below 1", lambda: plasma_citrate(Fraction(109), Fraction(1))),
]


@pytest.mark.parametrize(("said", "ask"), REFUSED_AS_VALUES)
def test_a_fill_or_a_hematocrit_that_cannot_be_is_refused(said: str, ask: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=said):
        ask()


@pytest.mark.parametrize(("said", "ask"), REFUSED)
def test_what_cannot_be_is_refused_with_what_was_expected(said: str, ask: Callable[[], object]) -> None:
    with pytest.raises(UnitError, match=said):
        ask()


def test_an_analyte_that_nobody_knows_is_refused_by_its_name() -> None:
    spill = Spill(additive="k2-edta", carried_ul=1, blood_ul=100, hematocrit=0.45)
    with pytest.raises(UnitError, match="'phlogiston'"):
        predicted_changes(spill, native={"phlogiston": 1.0})


def test_what_an_additive_adds_without_a_known_amount_is_withheld_and_not_taken_as_nothing() -> None:
    spill = Spill(additive="fluoride-edta", carried_ul=20, blood_ul=1000, hematocrit=0.45)
    native = {"potassium": 4.3, "sodium": 140.0, "calcium": 2.35}
    assert withheld(spill, native) == ("potassium", "sodium")
    assert [change.analyte for change in predicted_changes(spill, native=native)] == ["calcium"]


@pytest.mark.parametrize("liquid", ["citrate-9-1", "citrate-4-1", "acd-a", "acd-b"])
def test_a_solution_draws_no_water_out_of_the_cells_and_a_dry_salt_does(liquid: str) -> None:
    assert load_of(liquid).liquid_per_blood > 0
    assert water_shift(load_of(liquid), 0.45) == 1.0
    assert water_shift(load_of("k2-edta"), 0.45) > 1.02


def test_nothing_is_withheld_of_a_tube_that_nothing_reached() -> None:
    spill = Spill(additive="fluoride-edta", carried_ul=0, blood_ul=1000, hematocrit=0.45)
    assert withheld(spill, {"potassium": 4.3}) == ()


def test_a_percentage_of_nothing_is_not_said_and_an_error_that_no_scheme_names_neither() -> None:
    spill = Spill(additive="lithium-heparin", carried_ul=20, blood_ul=1000, hematocrit=0.45)
    lithium, zinc = predicted_changes(spill, native={"lithium": 0.0, "zinc": 14.0})
    assert lithium.percent is None
    assert lithium.amount > 0
    assert zinc.share_of_allowable is None


def test_an_assay_that_withstands_edta_is_taken_where_it_is_named() -> None:
    mixture = {"magnesium": 0.85, "edta": 1.0}
    assert measured(mixture)["magnesium"] < 0.5
    assert measured(mixture, principles={"magnesium": "isocitrate-dehydrogenase"})["magnesium"] == 0.85


def test_liquid_of_the_second_tube_thins_what_is_carried_into_it() -> None:
    plain, citrate = (
        Spill(additive="k2-edta", carried_ul=50, blood_ul=950, hematocrit=0.45, into_additive=into).plasma_share()
        for into in ("none", "citrate-9-1")
    )
    assert citrate < plain == pytest.approx(0.05)
