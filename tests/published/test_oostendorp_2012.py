"""Oostendorp, van Solinge, Kemperman. Arch Pathol Lab Med 2012;136:1262 (abstract read): potassium rises by 0.38 mmol/L
for each step of the index in 2,620 capillary samples and by 0.17 in 332,760 venous ones; LD by the same in both.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

from cubital.facts.hemolysis import hemolysis_facts
from tests.published.hemolyzed import faults_of
from tests.published.shipped import SHIPPED


def test_the_factor_is_that_of_the_two_slopes() -> None:
    (found,) = hemolysis_facts().skin_punctures
    assert (found.analyte, round(Decimal("0.38") / Decimal("0.17"), 1)) == ("potassium", found.times)


@pytest.mark.parametrize(("grams_per_l", "outcomes"), [("0.26", []), ("0.27", ["refuse"])])
def test_potassium_of_a_skin_puncture_is_refused_at_less_than_half_the_index(
    grams_per_l: str, outcomes: list[str]
) -> None:
    # 2.2 x 0.51 x 0.267 = 0.3 mmol/L.
    assert [found.outcome for found in faults_of("potassium", grams_per_l, kind="heparin-micro")] == outcomes
    assert faults_of("potassium", grams_per_l) == []


def test_ld_of_a_skin_puncture_is_judged_as_that_of_a_vein() -> None:
    puncture, vein = (faults_of("lactate-dehydrogenase", "0.4", kind=kind) for kind in ("heparin-micro", "heparin-gel"))
    assert puncture == vein


def test_a_kind_that_more_than_a_puncture_fills_is_judged_as_if_it_were_one_and_says_so() -> None:
    kind = replace(SHIPPED.kinds["heparin-micro"], accesses=("skin-puncture", "syringe", "line"))
    site = replace(SHIPPED, kinds={**SHIPPED.kinds, "heparin-micro": kind})
    (found,) = faults_of("potassium", "0.27", kind="heparin-micro", site=site)
    assert found.outcome == "refuse"
    assert "0.33 to 1.1 mmol/L for each g/L, the most if it is of a skin puncture" in found.text
    assert "oostendorp-2012" in found.sources
