"""Lima-Oliveira and others. An EDTA tube before a heparin syringe on one holder: a case. Biochem Med 2014, PMC3900060
(abstract read).

Potassium 4.8 to 8.5 mmol/L, total calcium 2.36 to 1.48, free calcium 0.15; drawn again without EDTA: potassium 4.7 and
4.5, total calcium 2.37 and 2.38, free calcium 1.21. Our notes call it a K3 EDTA tube; a later paper of the same group
(PMC4210256, introduction) calls it K2 EDTA. Total calcium was used to draw its curve; free calcium was not.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.chelation import free_calcium, measured

RISE = 8.5 - 4.8
EDTA_OF_K2, EDTA_OF_K3 = RISE / 2, RISE / 3


def test_total_calcium_with_the_edta_that_brought_the_potassium_is_what_was_measured() -> None:
    assert measured({"calcium": 2.36, "edta": EDTA_OF_K2})["calcium"] == pytest.approx(1.48, abs=0.02)


# One mole of EDTA hides one of calcium: 1.85 mmol/L of it leave 0.26 free, 0.11 over the 0.15 that was measured.
def test_free_calcium_comes_out_a_tenth_of_a_millimole_too_high() -> None:
    predicted = free_calcium(2.36, edta=EDTA_OF_K2)
    assert predicted == pytest.approx(0.26, abs=0.01)
    assert predicted - 0.15 == pytest.approx(0.11, abs=0.01)


# With three potassium to one EDTA there is too little EDTA for a free calcium of 0.15: the salt was likelier K2.
def test_a_tripotassium_salt_would_leave_far_more_free_calcium_than_was_found() -> None:
    assert free_calcium(2.36, edta=EDTA_OF_K3) == pytest.approx(0.57, abs=0.01)


def test_a_blood_without_edta_has_the_free_calcium_that_was_drawn_again() -> None:
    assert free_calcium(2.37) == pytest.approx(1.21, abs=0.01)
