"""Lima-Oliveira and others. K2 EDTA blood in lithium heparin blood. Biochem Med 2014;24:359-367, PMC4210256 (abstract).

0, 5, 13, 29 and 43 % of K2 EDTA blood, 15 volunteers. From 5 % significant: Ca, Cl, Fe, LD, Mg down and K up; phosphate
up from 13 %, Na up from 29 %; ALT, bilirubin, creatinine and lipase unchanged to 43 %. Beyond the desirable bias: Ca,
Cl, LD, Mg and K from 5 %; Na, phosphate and Fe from 29 %. Check 9. The abstract gives no amounts, so what is checked is
which analyte leaves its limit at which dose. The desirable biases are from memory of the biological variation tables
of 2014: Ca 0.8, Cl 0.5, K 1.8, Mg 1.8, Na 0.2, Fe 8.8 %. None of this was used to draw a curve.
"""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.chemistry.additives import load_of, mixed, tube_plasma, water_shift
from cubital.chemistry.chelation import measured

NATIVE = {key: float(analyte.typical) for key, analyte in facts.analytes().items() if analyte.typical > 0}
DOSES = (0.05, 0.13, 0.29, 0.43)
DESIRABLE_BIAS_PERCENT = {"calcium": 0.8, "potassium": 1.8, "magnesium": 1.8}
EDTA = tube_plasma(load_of("k2-edta"), 0.45)


def change_percent(analyte: str, dose: float) -> float:
    """The predicted change at this share of EDTA blood, both bloods of one hematocrit."""
    return 100 * (measured(mixed(NATIVE, EDTA, dose))[analyte] / NATIVE[analyte] - 1)


@pytest.mark.parametrize("analyte", DESIRABLE_BIAS_PERCENT)
def test_potassium_calcium_and_magnesium_leave_their_limit_from_the_least_dose(analyte: str) -> None:
    assert abs(change_percent(analyte, 0.0)) == 0
    assert abs(change_percent(analyte, 0.05)) > DESIRABLE_BIAS_PERCENT[analyte]


@pytest.mark.parametrize(("analyte", "sign"), [("potassium", 1), ("calcium", -1), ("magnesium", -1), ("iron", -1)])
def test_each_moves_the_way_it_was_seen_to_move_and_further_with_each_dose(analyte: str, sign: int) -> None:
    changes = [sign * change_percent(analyte, dose) for dose in DOSES]
    assert changes == sorted(changes)
    assert changes[0] > 0


@pytest.mark.parametrize("analyte", ["alanine-aminotransferase", "creatinine"])
def test_what_stayed_unchanged_to_the_highest_dose_stays_unchanged(analyte: str) -> None:
    assert change_percent(analyte, 0.43) == pytest.approx(0, abs=1e-9)


# Missed: iron passed its desirable 8.8 % from 29 %. By the curve of the ferrozine assay it loses 0.3 % there and 2.4 %
# at 43 %. The study names its instrument and not, in the abstract, its assay; a preprint finds iron moved by 4.7 to
# 5.5 mmol/L of EDTA only, and the highest dose here is 3.5.
def test_iron_is_missed_the_model_loses_under_three_percent_at_the_highest_dose() -> None:
    assert change_percent("iron", 0.29) == pytest.approx(-0.3, abs=0.1)
    assert change_percent("iron", 0.43) == pytest.approx(-2.4, abs=0.2)


# Missed: chloride and LD fell, phosphate and sodium rose. The mixing adds none of them. Water drawn out of the cells by
# the salt thins plasma of a full EDTA tube by 2.8 %, so chloride falls by 0.14 % at 5 % and 1.2 % at 43 %: the right
# way and a quarter of the 0.5 % that were passed. The rise of sodium and phosphate is not explained here.
def test_chloride_is_missed_water_from_the_cells_explains_a_quarter_of_it() -> None:
    assert change_percent("chloride", 0.43) == pytest.approx(0, abs=1e-9)
    thinning_percent = 100 * (1 - 1 / water_shift(load_of("k2-edta"), 0.45))
    assert 0.05 * thinning_percent == pytest.approx(0.14, abs=0.01)
    assert 0.43 * thinning_percent == pytest.approx(1.2, abs=0.05)
