"""Blood that stood on its cells, as the whole program answers it. Henriksen and others 2014 (read): 10 h at 21 C move
phosphate by -11.2 % and potassium by +1.2 %. Turchiano 2013 (abstract read): glucose falls by 5 to 7 % an hour. Dupuy
and others 2018 (abstract read): potassium of heparin blood out of its limits by 8 h, bicarbonate and LD by 12 h,
magnesium by 24 h. Checks 23, 26 and 27; from memory: a high potassium with a usual glucose and index is no late
separation.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.standing import after_standing
from tests.published.weighed import PANEL, adult, weigh

KEYS = (*PANEL, "glucose", "lactate", "lactate-dehydrogenase")
NATIVE = adult()


def stood(hours: float) -> dict[str, float]:
    return dict(after_standing(NATIVE, hours, temperature="room"))


def test_what_stood_10_hours_is_what_the_studies_measured() -> None:
    found = stood(10)
    assert 100 * (found["phosphate"] / NATIVE["phosphate"] - 1) == pytest.approx(-11.2, abs=0.6)
    assert 100 * (found["potassium"] / NATIVE["potassium"] - 1) == pytest.approx(1.2, abs=0.3)
    assert 0.93**10 < found["glucose"] / NATIVE["glucose"] < 0.95**10


@pytest.mark.parametrize("hours", [24, 48])
def test_a_day_on_the_cells_is_suspected_where_glucose_and_lactate_are_measured(hours: float) -> None:
    found = weigh(stood(hours), *KEYS)
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.probability("delayed-separation") > 0.9
    assert not {"potassium", "glucose", "phosphate", "bicarbonate", "magnesium"} & set(found.trusted)
    assert {"sodium", "creatinine", "albumin", "calcium"} <= set(found.trusted)


def test_two_hours_are_nothing_found() -> None:
    found = weigh(stood(2), *KEYS)
    assert found.verdict == "nothing found"


# Dupuy rejects potassium at 8 h. Doubted here at 8 h with glucose and lactate beside it; without them it is missed, for
# at 10 h potassium itself has moved by 1 % only.
def test_eight_hours_are_doubted_with_glucose_and_lactate_and_missed_without() -> None:
    found = weigh(stood(8), *KEYS)
    assert found.verdict in ("cannot tell", "suspect")
    assert "potassium" not in found.trusted
    assert weigh(stood(8), *PANEL).verdict == "nothing found"


def test_a_high_potassium_with_usual_glucose_lactate_and_index_is_not_laid_to_standing() -> None:
    found = weigh(NATIVE | {"potassium": 6.2}, *KEYS, hemolysis_g_l=0.05)
    assert found.probability("delayed-separation") < 0.1
