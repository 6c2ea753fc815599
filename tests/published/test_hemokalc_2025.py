"""Hemokalc project. Clin Chem Lab Med 2025;63:2198-2208 (abstract read): potassium rises by 0.33 mmol/L for each g/L of
free hemoglobin, between persons by 0.23 to 0.39. Check 21. Cells hold about 100 mmol of potassium a litre and 330 g of
hemoglobin (memory), which makes 0.30; red cells hold over 150 times the LD of serum (secondary)."""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.chemistry.hemolysis import released_by_hemolysis, without_hemolysis


def test_a_potassium_of_5_8_with_3_grams_was_4_8_and_lies_between_4_6_and_5_1() -> None:
    low, typical, high = without_hemolysis(5.8, 3.0)
    assert [low, typical, high] == pytest.approx([4.63, 4.81, 5.11])


def test_the_slope_is_that_of_a_cell_within_the_range_between_persons() -> None:
    slope = facts.interference().hemolysis.potassium_mmol_per_g
    assert slope.low < 100 / facts.interference().hemolysis.cell_hemoglobin_g_per_l < slope.high


def test_potassium_ld_ast_and_magnesium_rise_and_chloride_and_calcium_do_not() -> None:
    native = {"potassium": 4.2, "lactate-dehydrogenase": 170.0, "aspartate-aminotransferase": 24.0, "magnesium": 0.85,
              "chloride": 102.0, "calcium": 2.35}  # fmt: skip
    rises = released_by_hemolysis(native, 1.0)
    assert set(rises) == {"potassium", "lactate-dehydrogenase", "aspartate-aminotransferase", "magnesium"}
    assert all(rise > 0 for rise in rises.values())
    assert rises["lactate-dehydrogenase"] / 170 == pytest.approx(149 / 330)


def test_no_hemoglobin_sets_nothing_free() -> None:
    assert set(released_by_hemolysis({"potassium": 4.2, "magnesium": 0.85}, 0.0).values()) == {0.0}
