"""What a plan takes of a patient: worked out once for like patients, and never for unlike ones."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest

from cubital import facts
from cubital.model import Patient
from cubital.model.vocabulary import SexKey
from cubital.planning.bedside import Bedside
from cubital.planning.patient import age_class, planning_hematocrit, sampling_limit
from tests.published.shipped import SHIPPED

SEXES: tuple[SexKey | None, ...] = ("female", "male", None)
BANDS = [(band.age_min_d, band.age_max_d) for band in facts.hematocrits()]
BANDS += [(band.age_min_d, band.age_max_d) for band in facts.blood_volumes().bands]
BANDS.append((0, facts.blood_volumes().linderkamp.age_max_d))
TURNS_H = sorted({24 * day for band in BANDS for day in band if day})


def some_patient(random: Random) -> Patient:
    near_h = random.choice(TURNS_H) + random.choice((-1, 0, 1))
    return Patient(
        age_h=random.choice((None, near_h, random.randrange(100 * 8766))),
        sex=random.choice(SEXES),
        weight_g=random.choice((None, 900, 3500, 12_000, 70_000, 140_000)),
        height_mm=random.choice((None, 600, 1500, 1800)),
        hematocrit=random.choice((None, None, Fraction(45, 100), Fraction(9, 20), Fraction(1, 3))),
        flags=random.choice(((), ("preterm",), ("latex-allergy",))),
    )


def test_a_bedside_that_has_seen_others_says_of_each_patient_what_is_worked_out_for_this_one() -> None:
    random, bedside = Random(3), Bedside(SHIPPED)
    for _ in range(3000):
        patient = some_patient(random)
        taken = bedside.hematocrit(patient)
        assert taken.value == planning_hematocrit(patient, SHIPPED)
        assert taken.is_measured == (patient.hematocrit is not None)
        assert bedside.limit(patient) == sampling_limit(patient, SHIPPED)


def test_the_same_hematocrit_measured_and_taken_for_planning_are_told_apart() -> None:
    bedside = Bedside(SHIPPED)
    planned = bedside.hematocrit(Patient(age_h=8766 * 40, sex="male"))
    measured = bedside.hematocrit(Patient(hematocrit=planned.value))
    assert measured.value == planned.value
    assert measured != planned
    assert "not measured" in planned.reason.text
    assert "not measured" not in measured.reason.text


@pytest.mark.parametrize("turn_h", TURNS_H)
def test_an_age_class_ends_where_a_fact_about_blood_begins(turn_h: int) -> None:
    assert age_class(turn_h - 1) < age_class(turn_h)
    assert age_class(turn_h) == age_class(turn_h + 1)


def test_an_age_not_known_is_a_class_of_its_own() -> None:
    assert age_class(None) < age_class(0)
