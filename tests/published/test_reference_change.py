"""How far a result changes by itself, and which interval holds.

The reference change value is 1.96 sqrt(2) sqrt(CVA^2 + CVI^2) (from memory; standard). Check 36: potassium of healthy
persons, 1.5 and 4.1 %, comes to 12.10 %. Tate and others 2016 (read): a sodium of 134 mmol/L is inside the harmonized
interval of the United Kingdom (133 to 146), below that of Australasia (135 to 145) and of the Nordic countries (137 to
145). Check 47.
"""

from __future__ import annotations

from math import log, sqrt

import pytest

from cubital.facts.population import population
from cubital.inference.population import spread
from cubital.inference.table import batch_of
from cubital.model.results import Result, ResultSet
from tests.published.weighed import PANEL, adult, weigh


def test_patients_are_taken_to_vary_more_than_the_healthy_persons_of_the_reference_change() -> None:
    healthy = 1.96 * sqrt(2) * sqrt(1.5**2 + 4.1**2)
    assert healthy == pytest.approx(12.10, abs=0.02)
    potassium = population().analytes["potassium"]
    within, analytic = float(potassium.within_cv_percent), float(potassium.analytic_cv_percent)
    assert 1.96 * sqrt(2) * sqrt(within**2 + analytic**2) >= healthy - 0.02


# The model takes illness to widen a person's own variation, so a change that the healthy one calls real is still usual.
@pytest.mark.parametrize("percent", [-12.0, 12.0])
def test_a_potassium_that_changed_by_so_much_alone_is_nothing_found(percent: float) -> None:
    before = adult(potassium=4.2)
    after = before | {"potassium": 4.2 * (1 + percent / 100)}
    found = weigh(after, *PANEL, earlier={key: before[key] for key in PANEL})
    assert found.verdict in ("nothing found", "cannot tell")
    assert found.probability("none") > 0.8
    assert not found.redraw


@pytest.mark.parametrize(
    ("low", "high", "is_inside"), [(133.0, 146.0, True), (135.0, 145.0, False), (137.0, 145.0, False)]
)
def test_the_interval_that_was_sent_decides_of_a_sodium_of_134(low: float, high: float, is_inside: bool) -> None:
    batch = batch_of([ResultSet(results=(Result(analyte="sodium", value=134.0, low=low, high=high),))])
    column = spread().columns()["sodium"]
    distance = (log(134.0) - batch.middle[0, column]) / batch.deviation[0, column]
    assert (distance > -1.959964) == is_inside


def test_without_one_the_australasian_interval_holds() -> None:
    shipped = population().analytes["sodium"].interval
    assert (float(shipped.low), float(shipped.high)) == (135.0, 145.0)
