"""Cadamuro and others. Clin Chem Lab Med 2015, doi 10.1515/cclm-2014-0944 (abstract read).

No carry-over of K3 EDTA in closed draws; more than 10 uL of EDTA blood is needed to change results; 1 uL of the pure
liquid already shifts magnesium, calcium and potassium. The abstract does not say into how much blood: a tube of 4 mL is
taken here, and 15 % (w/v) for the liquid, both from memory.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.additives import salt_mmol_per_l
from cubital.chemistry.carryover import Spill, predicted_changes, typical_values, volume_at_limit_ul

INTO_4_ML = Spill(additive="k3-edta", carried_ul=10, blood_ul=4000, hematocrit=0.45)


def test_ten_microlitres_of_edta_blood_change_no_result_beyond_its_allowable_error() -> None:
    shares = [change.share_of_allowable or 0 for change in predicted_changes(INTO_4_ML, native=typical_values())]
    assert 0 < max(shares) < 1
    assert max(shares) == pytest.approx(0.20, abs=0.01)


def test_it_takes_fifty_microlitres_to_use_up_the_error_of_potassium_in_such_a_tube() -> None:
    assert volume_at_limit_ul(INTO_4_ML, "potassium", native={"potassium": 4.3}) == pytest.approx(50, abs=1)


def test_a_microlitre_of_the_pure_liquid_weighs_more_than_ten_of_edta_blood() -> None:
    mmol_per_l = salt_mmol_per_l("k3-edta", 150, weighed_as="anhydrous")
    potassium = 3 * mmol_per_l * 1 / (4000 * 0.55)
    blood = predicted_changes(INTO_4_ML, native={"potassium": 4.3})[0].amount
    assert potassium == pytest.approx(0.50, abs=0.01)
    assert potassium > 8 * blood
