"""The centrifuge's three numbers and its settings; the citrate of a high hematocrit."""

from __future__ import annotations

import json
from fractions import Fraction

import pytest

from cubital.app.citrate_adjustment import citrate_advice, citrate_document
from cubital.app.spinning import spinning, spinning_document
from cubital.app.wiring import open_site
from cubital.errors import OrderError, UnitError

SITE = open_site()


def test_any_two_of_the_three_give_the_third() -> None:
    assert spinning(SITE, rpm=3000, radius_cm=16).g == pytest.approx(1609.9, abs=0.1)
    assert spinning(SITE, g=1500, radius_cm=16).rpm == pytest.approx(2895.8, abs=0.1)
    assert spinning(SITE, g=1609.92, rpm=3000).radius_cm == pytest.approx(16)


def test_a_force_names_the_settings_that_it_meets() -> None:
    purposes = {setting.purpose for setting in spinning(SITE, rpm=2895.8, radius_cm=16).settings}
    assert "platelet-poor citrate plasma" in purposes
    assert "serum" not in purposes


def test_a_tube_kind_or_a_word_chooses_the_settings_and_a_radius_gives_their_speeds() -> None:
    (serum,) = spinning(SITE, purpose="serum-gel", radius_cm=16).settings
    assert (serum.g, serum.minutes, serum.fixed_angle_minutes) == ((1000, 2000), 10, 15)
    assert list(serum.rpm or ()) == pytest.approx([2364, 3344], abs=1)
    assert {s.purpose for s in spinning(SITE, purpose="dna").settings} == {"cell-free DNA, first spin"}


@pytest.mark.parametrize(("most_g", "most_rpm", "count"), [(1610, 3000, 0), (1609, 3000, 1), (1609, 2999, 2)])
def test_a_rotor_that_may_not_run_so_is_said_on_both_its_limits(most_g: float, most_rpm: float, count: int) -> None:
    found = spinning(SITE, rpm=3000, radius_cm=16, most_g=most_g, most_rpm=most_rpm)
    assert len(found.over) == count
    assert all("must not be run so" in text for text in found.over)


@pytest.mark.parametrize(
    "asked", [{}, {"rpm": 3000}, {"g": 1500, "rpm": 3000, "radius_cm": 16}, {"rpm": 3000, "purpose": "serum"}, {"g": 1}]
)
def test_a_speed_without_a_radius_is_no_specification(asked: dict[str, float]) -> None:
    with pytest.raises(OrderError, match="without a radius"):
        spinning(SITE, **asked)  # type: ignore[arg-type]


def test_a_purpose_that_nobody_recommends_for_is_refused_and_a_limit_of_zero_too() -> None:
    with pytest.raises(OrderError, match="expected a tube kind or one of: serum"):
        spinning(SITE, purpose="soup")
    with pytest.raises(UnitError, match="expected a limit above 0"):
        spinning(SITE, rpm=3000, radius_cm=16, most_g=0)


def test_the_spinning_document_is_json() -> None:
    document = json.loads(json.dumps(spinning_document(spinning(SITE, rpm=3000, radius_cm=16))))
    assert document["format"] == "cubital.rcf/1"


# C11 and the worked examples of section 6: 2.7 mL of blood at 0.60.
def test_both_formulas_stand_with_what_their_v_means_and_the_trap_is_called_one() -> None:
    found = citrate_advice(Fraction("0.60"), 2700)
    by_a, by_b, by_mark, trap = found.formulas
    assert [float(row.citrate_ul) for row in found.formulas] == [
        pytest.approx(ul, abs=0.5) for ul in (200, 218, 224, 202)
    ]
    assert by_a.v_means == "the blood alone"
    assert all(row.v_means.startswith("blood and citrate together") for row in (by_b, by_mark))
    assert [row.is_trap for row in found.formulas] == [False, False, False, True]
    assert float(trap.remove_ul) == pytest.approx(98, abs=0.5)
    assert found.remove_ul == by_a.remove_ul == 100


def test_each_formula_says_to_where_it_fills_the_tube() -> None:
    """2.7 mL on 0.3 at 0.60. A: 2.7 + 0.2 = 2.9. B to the mark: 3 x 40 / 535 = 0.224, so 2.776 of blood to 3."""
    by_a, by_b, by_mark, _ = citrate_advice(Fraction("0.60"), 2700).formulas
    assert by_a.filled_ul == 2900
    assert by_a.under_mark_ul == 100
    assert by_b.filled_ul == by_b.citrate_ul + 2700
    assert by_mark.filled_ul == 3000
    assert by_mark.under_mark_ul == 0
    assert float(by_mark.citrate_ul) == pytest.approx(224.3, abs=0.05)
    assert float(by_mark.remove_ul) == pytest.approx(75.7, abs=0.05)


def test_the_words_say_which_formula_is_for_measured_blood_and_which_for_the_mark() -> None:
    said = " ".join(citrate_advice(Fraction("0.60"), 2700).words)
    assert "2.7 mL of measured blood goes in, and ends 0.1 mL under the mark" in said
    assert "to fill to the mark, 3 mL, take out 0.076 mL" in said
    assert "under 3 mL" not in said


@pytest.mark.parametrize(("blood_ul", "is_discouraged"), [(2699, True), (2700, False)])
def test_a_source_discourages_adjusting_a_tube_under_three_millilitres(blood_ul: int, is_discouraged: bool) -> None:
    words = citrate_advice(Fraction("0.60"), blood_ul, tube_citrate_ul=Fraction(300)).words
    assert any("discourages" in text for text in words) is is_discouraged


@pytest.mark.parametrize("hematocrit", ["0.55", "0.60", "0.65"])
def test_the_trap_agrees_with_the_first_formula_within_two_percent(hematocrit: str) -> None:
    by_a, *_, trap = citrate_advice(Fraction(hematocrit), 2700).formulas
    assert abs(trap.citrate_ul / by_a.citrate_ul - 1) < Fraction(2, 100)


# C14: over 0.55 and not at it.
@pytest.mark.parametrize(("hematocrit", "is_adjusted"), [("0.55", False), ("0.551", True)])
def test_only_a_hematocrit_over_the_threshold_is_adjusted(hematocrit: str, is_adjusted: bool) -> None:
    found = citrate_advice(Fraction(hematocrit), 2700)
    assert found.is_adjusted == is_adjusted
    assert (found.remove_ul is None) == (not is_adjusted)


@pytest.mark.parametrize(
    ("hematocrit", "mmol"), [("0.40", 17.0), ("0.45", 18.3), ("0.55", 21.6), ("0.60", 23.7), ("0.65", 26.3)]
)
def test_the_plasma_left_alone_holds_more_citrate_the_fewer_plasma_there_is(hematocrit: str, mmol: float) -> None:
    found = citrate_advice(Fraction(hematocrit), 2700).plasma_citrate_mmol_per_l
    assert float(found) == pytest.approx(mmol, abs=0.05)


@pytest.mark.parametrize(
    ("hematocrit", "blood_ul", "citrate_ul", "said"),
    [
        (Fraction(60), 2700, None, "a share from 0.05 to 0.85"),
        (Fraction(0), 2700, None, "a share from 0.05 to 0.85"),
        (Fraction("0.6"), 0, None, "above 0 and at most 20 mL"),
        (Fraction("0.6"), 27_000, None, "above 0 and at most 20 mL"),
        (Fraction("0.6"), 2700, Fraction(600), "expected a ninth, 0.3 mL"),
        (Fraction("0.6"), 2700, Fraction(0), "expected a ninth"),
    ],
)
def test_what_is_no_citrate_tube_is_refused(
    hematocrit: Fraction, blood_ul: int, citrate_ul: Fraction | None, said: str
) -> None:
    with pytest.raises(UnitError, match=said):
        citrate_advice(hematocrit, blood_ul, tube_citrate_ul=citrate_ul)


def test_the_citrate_document_is_json() -> None:
    document = json.loads(json.dumps(citrate_document(citrate_advice(Fraction("0.6"), 2700))))
    assert document["format"] == "cubital.citrate/1"
    assert document["remove_ul"] == 100
    assert document["adjust"] is True
