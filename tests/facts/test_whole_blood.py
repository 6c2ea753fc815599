"""What a gas analyzer measures beside the gases: each a test of the directory, none better than its sources say."""

from __future__ import annotations

from cubital import facts

GASES = ("arterial-blood-gas", "venous-blood-gas")


def test_each_is_a_test_of_the_directory_and_the_gases_themselves_are_not_among_them() -> None:
    assert set(facts.whole_blood()) <= set(facts.tests_table())
    assert not set(GASES) & set(facts.whole_blood())
    assert {"potassium", "sodium", "glucose", "lactate", "ionized-calcium", "hemoglobin"} <= set(facts.whole_blood())


# Kemperman 2016, Agana 2024; Buno 2021 and the preterm sodium of 2016 (abstracts, second-hand).
def test_glucose_and_lactate_come_first_and_sodium_is_for_its_course_alone() -> None:
    standing = {key: each.standing for key, each in facts.whole_blood().items()}
    assert standing["glucose"] == standing["lactate"] == "first-choice"
    assert standing["potassium"] == standing["hemoglobin"] == "with-warning"
    assert standing["sodium"] == standing["hematocrit"] == "trend-only"
    assert "hemolysis is not seen" in facts.whole_blood()["potassium"].caution


# A newborn unit's guideline (read): 95 uL with electrolytes, glucose, bilirubin, hemoglobin and lactate.
def test_six_tests_beside_the_gases_fit_the_capillary_of_a_newborn_unit() -> None:
    gas = facts.tests_table()["venous-blood-gas"]["accepts"][0]
    beside = ("sodium", "potassium", "glucose", "total-bilirubin", "hemoglobin", "lactate")
    assert gas["minimum_ul"] + sum(facts.whole_blood()[key].volume_ul for key in beside) == 95
