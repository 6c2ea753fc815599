"""International Council for Standardization in Haematology. Recommendations for ethylenediaminetetraacetic acid
anticoagulation of blood for blood cell counting and sizing. Am J Clin Pathol 1993;100:371-372 (abstract read).

K2 EDTA, 1.5 to 2.2 mg/mL of blood, given there also as 3.7 to 5.4 umol/mL. Checks C01 and C02 of our collection.
"""

from __future__ import annotations

from decimal import Decimal

from cubital import facts
from cubital.chemistry.concentration import amount_range, millimoles_per_litre
from tests.published.shipped import within

READ = next(c for c in facts.additives()["k2-edta"].concentrations if c.mark.source == "icsh-1993")


def test_the_range_by_mass_is_the_range_by_amount_of_the_dihydrate() -> None:
    found = amount_range(READ)
    assert found is not None
    assert within(found[0], 3.71, 0.01)
    assert within(found[1], 5.44, 0.01)
    assert within(found[0], 3.7, 0.05)
    assert within(found[1], 5.4, 0.05)


def test_the_anhydrous_mass_does_not_give_the_published_amounts() -> None:
    anhydrous = next(
        c.molar_mass_g_per_mol
        for c in facts.additives()["k2-edta"].concentrations
        if c.salt == "dipotassium EDTA anhydrous"
    )
    assert anhydrous is not None
    low = millimoles_per_litre(Decimal("1.5"), anhydrous)
    high = millimoles_per_litre(Decimal("2.2"), anhydrous)
    assert within(low, 4.07, 0.02)
    assert within(high, 5.97, 0.02)
    assert not within(low, 3.7, 0.05)
    assert not within(high, 5.4, 0.05)
