"""Slopes of potassium side by side, mmol/L for each g/L of free hemoglobin: Mansour, Azzazy, Kazmierczak. Arch Pathol
Lab Med 2009;133:960 (abstract read), 0.51 of 132 pairs and 0.40 of 142,784 samples, correction not recommended;
Dimeski, Clague, Hickman. Ann Clin Biochem 2005;42:119 (abstract read), 0.36 (0.29 to 0.53 between persons), a range
in words instead of a corrected result; PMID 33267671 (abstract read), 0.40; Hemokalc 2025 (abstract read), 0.33.
"""

from __future__ import annotations

from decimal import Decimal

from cubital import facts
from cubital.chemistry.hemolysis import rises_of
from cubital.facts.hemolysis import hemolysis_facts
from tests.published.hemolyzed import BAND, faults_of


def test_every_slope_stands_with_its_source() -> None:
    found = [(str(rise.per_g), rise.source) for rise in rises_of("potassium")]
    assert found == [
        ("0.33", "hemokalc-2025"), ("0.36", "dimeski-2005"), ("0.40", "potassium-index-2020"), ("0.40", "mansour-2009"),
        ("0.51", "mansour-2009"),
    ]  # fmt: skip


def test_the_slope_of_the_model_is_one_of_them() -> None:
    model = facts.interference().hemolysis.potassium_mmol_per_g
    assert model.typical in {slope.rise_per_g for slope in hemolysis_facts().slopes_of("potassium")}


def test_the_steepest_decides_and_the_range_of_all_is_said() -> None:
    (found,) = faults_of("potassium", "2", site=BAND)
    assert "0.33 to 0.51 mmol/L for each g/L" in found.text
    assert "about 0.7 to 1.0 mmol/L too high" in found.text
    assert set(found.sources) == {"hemokalc-2025", "dimeski-2005", "potassium-index-2020", "mansour-2009"}


def test_ld_rises_by_what_cells_hold_and_by_what_678_pairs_showed() -> None:
    # Ann Clin Biochem 2025, doi 10.1177/00045632251356827 (abstract read): 51 % for each 1 g/L. Cells hold over 150
    # times as much as serum (secondary): 149/330 or 45 %.
    low, high = rises_of("lactate-dehydrogenase")
    typical = facts.analytes()["lactate-dehydrogenase"].typical
    assert (round(100 * low.per_g / typical), 100 * high.per_g / typical) == (45, Decimal(51))
    # 15 % is allowed: 42 CFR 493.931.
    assert [found.outcome for found in faults_of("lactate-dehydrogenase", "0.29")] == ["comment"]
    assert [found.outcome for found in faults_of("lactate-dehydrogenase", "0.30")] == ["refuse"]
