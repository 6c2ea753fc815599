"""The loss of blood that brings the hematocrit from one value to another, by three formulas.

Linear: a teaching page (read) works 60 kg x 65 mL/kg = 3900 mL from 45 to 30 % through to 1300 mL. Gross,
Anesthesiology 1983;58:277, as a letter to the journal (2000;92:902, read) gives it: V (Hi - Hf) over the average of
both. Bourke and Smith, Anesthesiology 1974;41:609, as a page of formulas gives it: V ln (Hi / Hf). Neither paper was
read.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from cubital import facts
from cubital.app.blood_loss import blood_report
from cubital.chemistry.blood_loss import allowable_losses
from cubital.errors import OrderError
from cubital.model import Patient
from tests.published.shipped import SHIPPED, within

FROM, TO = Fraction(45, 100), Fraction(30, 100)
WOMAN = Patient(age_h=40 * 8766, weight_g=60_000, hematocrit=FROM)


def test_the_worked_example_of_the_page() -> None:
    assert allowable_losses(3_900_000, initial=FROM, final=TO)["linear"] == 1_300_000


def test_the_other_two_by_hand() -> None:
    """3900 x 0.15 / 0.375 = 1560; ln 1.5 = 0.405465, x 3900 = 1581.3."""
    found = allowable_losses(3_900_000, initial=FROM, final=TO)
    assert found["average"] == 1_560_000
    assert within(found["logarithmic"] / 1000, 1581.3, 0.05)


@pytest.mark.parametrize(("initial", "final"), [(45, 44), (45, 30), (60, 20), (84, 5)])
def test_the_linear_formula_allows_least_and_the_logarithm_most(initial: int, final: int) -> None:
    found = allowable_losses(5_000_000, initial=Fraction(initial, 100), final=Fraction(final, 100))
    assert found["linear"] < found["average"] < found["logarithmic"]
    assert within(found["logarithmic"], 5_000_000 * math.log(initial / final), 1)


def test_the_average_nears_the_logarithm_within_half_a_percent_where_the_fall_is_small() -> None:
    found = allowable_losses(5_000_000, initial=Fraction(40, 100), final=Fraction(32, 100))
    assert found["logarithmic"] / found["average"] - 1 < 0.005


def test_no_fall_of_the_hematocrit_allows_no_loss() -> None:
    assert set(allowable_losses(5_000_000, initial=FROM, final=FROM).values()) == {0}


@pytest.mark.parametrize(("initial", "final"), [("0.30", "0.45"), ("45", "30"), ("1", "0.3"), ("0.45", "0")])
def test_what_is_no_fall_between_two_shares_is_refused(initial: str, final: str) -> None:
    with pytest.raises(ValueError, match="expected shares above 0 and below 1"):
        allowable_losses(5_000_000, initial=Fraction(initial), final=Fraction(final))
    with pytest.raises(ValueError, match="expected above 0"):
        allowable_losses(0, initial=FROM, final=TO)


def test_the_report_takes_the_lowest_blood_volume_and_names_each_formula_s_source() -> None:
    found = blood_report(WOMAN, SHIPPED, lowest_hematocrit=TO).losses
    assert [(row.key, row.volume_ul) for row in found[:2]] == [("linear", 1_400_000), ("average", 1_680_000)]
    assert "gross-1983 (read second-hand)" in found[1].rests_on
    assert [row.key for row in found] == [one.key for one in facts.loss_formulas()]


def test_a_report_without_weight_or_without_the_question_allows_no_loss() -> None:
    assert blood_report(Patient(hematocrit=FROM), SHIPPED, lowest_hematocrit=TO).losses == ()
    assert blood_report(WOMAN, SHIPPED).losses == ()


@pytest.mark.parametrize(
    ("patient", "lowest", "said"),
    [
        (WOMAN, Fraction(46, 100), "above the patient's 0.45"),
        (WOMAN, Fraction(30), "a share from 0.05 to 0.85"),
        (WOMAN, Fraction(4, 100), "a share from 0.05 to 0.85"),
        (Patient(weight_g=60_000), TO, "without the patient's hematocrit"),
    ],
)
def test_a_lowest_hematocrit_that_cannot_be_is_refused(patient: Patient, lowest: Fraction, said: str) -> None:
    with pytest.raises(OrderError, match=said):
        blood_report(patient, SHIPPED, lowest_hematocrit=lowest)
