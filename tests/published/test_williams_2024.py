"""Williams, Jankute, Ifrahim, Cordle, Hepburn. Clin Chem Lab Med 2024, PMID 39609111 (abstract read): in serum tubes
unspun at room temperature LD is out of its limits after 7 h; to be spun within 7 h. Henriksen 2014 (read) had held it
10 h.
"""

from __future__ import annotations

import pytest

from cubital.handling.keeping import POLICIES
from cubital.handling.stability import Life, Phase, keep
from tests.published.shipped import SHIPPED

UNSPUN = Life((Phase("ambient", 0, None),))


@pytest.mark.parametrize(("additive", "matrix"), [("clot-activator", "serum"), ("lithium-heparin", "plasma")])
def test_ld_on_its_cells_is_not_taken_for_seven_hours_whatever_another_study_held(additive: str, matrix: str) -> None:
    strict, extended = (
        keep(SHIPPED.tests["lactate-dehydrogenase"], additive, matrix, UNSPUN, policy=policy) for policy in POLICIES
    )
    assert strict.ends_s == 2 * 3600
    assert extended.ends_s == 7 * 3600 - 60
    assert extended.standing(7 * 3600) == "past"
    assert extended.limit is not None
    assert "williams-2024" in extended.limit.sources
