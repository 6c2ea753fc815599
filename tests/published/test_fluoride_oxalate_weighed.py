"""Sodium fluoride and potassium oxalate in another tube, as the whole program answers it: doses from handbooks, from
memory; the mixtures are computed. Check 15: 5 % of its plasma brings sodium 5.4 and potassium 2.0 mmol/L together. From
memory: calcium, phosphatase, amylase and urea by urease fall beside them, and EDTA of potassium leaves sodium alone.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.additives import load_of, tube_plasma
from tests.published.weighed import PANEL, adult, holds, of_edta, tainted, weigh

PLASMA = tube_plasma(load_of("fluoride-oxalate"), 0.45)


@pytest.mark.parametrize("share", [0.05, 0.10, 0.30])
def test_sodium_and_potassium_up_together_are_laid_to_fluoride_and_oxalate(share: float) -> None:
    found = weigh(tainted(adult(), PLASMA, share), *PANEL)
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.probability("fluoride-oxalate") > 0.85
    assert of_edta(found) < 0.11
    assert {"sodium", "potassium", "calcium", "urea", "alkaline-phosphatase"}.isdisjoint(found.trusted)


@pytest.mark.parametrize("share", [0.05, 0.10, 0.30])
def test_the_share_is_in_its_interval(share: float) -> None:
    assert holds(weigh(tainted(adult(), PLASMA, share), *PANEL), share)


# Missed: 2 % brings sodium 2.2 and potassium 0.8, which a patient may have.
def test_two_percent_cannot_be_told() -> None:
    found = weigh(tainted(adult(), PLASMA, 0.02), *PANEL)
    assert (found.verdict, found.redraw) == ("cannot tell", False)
    assert found.probability("none") > 0.9
