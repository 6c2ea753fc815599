"""Citrate of a catheter's lock in serum, as published cases had it. All were seen as abstracts only.

Milliere, Corriveau, Parmar. Pseudohypernatremia secondary to trisodium citrate. Biochem Med 2016;26:260-263: sodium 183
and 182 mmol/L on two analysers, 139 to 140 two hours later. The lock's strength is not in the abstract.
Srivastava, Murphy, Card, Severn, Fraser. The case of the floating gel. J Clin Pathol 2004;57:1333-1334: sodium 744
mmol/L, from a lock of 46.7 % trisodium citrate.
A congress abstract of 2017 (Brzosko and others, TH-PO1134) has 30 %, another study (Nephrol Dial Transplant
2012;27:2953-2957) 4 to 46.7 %.
Chlorides are not in the abstracts: those here are of the forward chemistry, from a native 102.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.additives import fluid, mixed
from tests.published.weighed import PANEL, adult, holds, tainted, weigh

NATIVE = adult(sodium=140.0, potassium=4.2, chloride=102.0, calcium=2.35)


def test_a_lock_of_467_g_per_l_holds_1588_mmol_of_citrate_and_three_times_the_sodium() -> None:
    """467 / 294.10 g/mol. A letter (Nephrol Dial Transplant 2006) counts 1.8 mol/L: that of the anhydrous salt."""
    brings = fluid("citrate-lock-47").added_mmol_per_l
    assert brings["citrate"] == pytest.approx(467 / 0.29410, rel=0.001)
    assert brings["sodium"] == pytest.approx(3 * brings["citrate"])
    assert pytest.approx(1800, rel=0.01) == 467 / 0.25807


def test_the_744_of_the_floating_gel_is_an_eighth_of_such_a_lock_and_is_suspected() -> None:
    share = 0.1306
    values = tainted(NATIVE, fluid("citrate-lock-47"), share)
    assert values["sodium"] == pytest.approx(744, abs=1)
    found = weigh(values, *PANEL)
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.probability("sodium-citrate") > 0.99
    assert "sodium" not in found.trusted


@pytest.mark.parametrize("lock", ["citrate-lock-4", "citrate-lock-30", "citrate-lock-47"])
@pytest.mark.parametrize("keys", [("sodium", "chloride", "potassium"), PANEL], ids=["three", "panel"])
def test_the_183_of_a_dialysis_patient_is_suspected_of_a_lock_of_any_strength(lock: str, keys: tuple[str, ...]) -> None:
    share = (183 - 140) / (fluid(lock).added_mmol_per_l["sodium"] - 140)
    values = tainted(NATIVE, fluid(lock), share)
    assert values["sodium"] == pytest.approx(183)
    found = weigh(values, *keys)
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.probability("sodium-citrate") > 0.7
    assert "sodium" not in found.trusted


def test_the_repeat_two_hours_later_is_not_suspected() -> None:
    found = weigh(NATIVE | {"sodium": 139.5}, *PANEL)
    assert found.verdict == "nothing found"
    assert found.probability("sodium-citrate") < 0.001


def test_one_part_in_two_hundred_of_the_strongest_lock_moves_sodium_by_23_and_chloride_by_half_a_millimole() -> None:
    found = mixed({"sodium": 140.0, "chloride": 102.0}, fluid("citrate-lock-47"), 0.005)
    assert found["sodium"] == pytest.approx(163.1, abs=0.05)
    assert found["chloride"] == pytest.approx(101.5, abs=0.05)


def test_its_share_is_told_within_the_strengths_that_it_may_have() -> None:
    values = tainted(NATIVE, fluid("citrate-lock-4"), 0.2)
    found = weigh(values, *PANEL)
    assert found.verdict == "suspect"
    assert holds(found, 0.2)
