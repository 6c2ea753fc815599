"""Yang, Wen, McCudden, Tacker. Selection of single-analyte delta check rules with logistic regression for detection of
intravenous fluid contamination in a clinical chemistry laboratory. J Appl Lab Med 2024, doi:10.1093/jalm/jfae066
(abstract read).

The most predictive changes: calcium by -24 % (saline and a balanced fluid), potassium by +3.0 mmol/L (potassium),
glucose by +400 mg/dL, 22.2 mmol/L (dextrose); 0.60 % of 14,717 specimens alerted, 77 % of these contaminated. Checks 19
and 20. How old the earlier result may be is not in the abstract.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.additives import fluid
from tests.published.weighed import PANEL, adult, tainted, weigh

NATIVE = adult(glucose=5.5)
ALL = (*PANEL, "glucose")


def test_400_mg_per_dl_of_glucose_is_222_mmol_per_l() -> None:
    """At 180.156 g/mol."""
    assert pytest.approx(22.2, abs=0.01) == 400 / 180.156 * 10


@pytest.mark.parametrize(
    ("change", "means"),
    [
        ({"calcium": 0.76}, "saline or a balanced fluid"),
        ({"potassium": (NATIVE["potassium"] + 3.0) / NATIVE["potassium"]}, "an infusion of potassium"),
        ({"glucose": (5.5 + 22.2) / 5.5}, "dextrose"),
    ],
)
def test_each_change_alone_is_told_by_its_screen(change: dict[str, float], means: str) -> None:
    values = {key: NATIVE[key] * change.get(key, 1.0) for key in ALL}
    found = weigh(values, *ALL, earlier={key: NATIVE[key] for key in ALL})
    assert found.verdict != "nothing found"
    assert any(f"screen for {means} is met (Yang 2024)" in reason for reason in found.reasons)
    assert not set(change) & set(found.trusted)


@pytest.mark.parametrize(
    ("key", "share"), [("saline", 0.24), ("acetate-gluconate", 0.24), ("dextrose-anhydrous", 0.09)]
)
def test_a_mix_of_the_fluid_that_reaches_the_change_is_suspected_beside_it(key: str, share: float) -> None:
    values = tainted(NATIVE, fluid(key), share)
    found = weigh(values, *ALL, earlier={key: NATIVE[key] for key in ALL})
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert any("(Yang 2024)" in reason for reason in found.reasons)


def test_patients_as_they_were_the_day_before_meet_none() -> None:
    found = weigh(NATIVE, *ALL, earlier={key: NATIVE[key] for key in ALL})
    assert found.verdict == "nothing found"
