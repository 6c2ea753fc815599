"""CLSI GP41, Collection of Diagnostic Venous Blood Specimens, 7th edition 2017, and H3-A6 2007 before it: the order as
four secondary pages give it; the standard was not read. Checks C35, C36, C46.
"""

from __future__ import annotations

import pytest

from cubital.errors import UnplacedKind
from cubital.planning import plan_draw
from tests.published.shipped import kinds_drawn, order_of, site_of_kinds

SITE = site_of_kinds("clsi-gp41", blood_limit=None)


def test_the_six_steps_of_the_list() -> None:
    order = order_of("edta", "citrate", "serum-gel", "heparin", "fluoride-oxalate", "culture")
    drawn = [kind for kind in kinds_drawn(order, SITE) if not kind.startswith("culture")]
    assert drawn == ["citrate", "serum-gel", "heparin", "edta", "fluoride-oxalate"]
    assert kinds_drawn(order, SITE)[:2] == ["culture-aerobic", "culture-anaerobic"]


def test_sterile_sps_goes_with_the_cultures_before_citrate() -> None:
    assert kinds_drawn(order_of("citrate", "sps"), SITE) == ["sps", "citrate"]


def test_citrate_goes_before_a_tube_without_additive() -> None:
    assert kinds_drawn(order_of("serum-glass", "citrate"), SITE) == ["citrate", "serum-glass"]


def test_a_lead_tube_of_k2_edta_goes_with_edta() -> None:
    drawn = kinds_drawn(order_of("lead", "fluoride-oxalate", "heparin"), SITE)
    assert drawn == ["heparin", "lead", "fluoride-oxalate"]


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("trace-plain", "after ordinary serum"),
        ("trace-edta", "with EDTA"),
        ("trace-heparin", "a separate draw"),
        ("acd-a", "after EDTA, before fluoride"),
        ("acd-b", "last, after fluoride/oxalate"),
        ("citrate-sedimentation", "after coagulation citrate"),
        ("iodoacetate-heparin", "glycolysis inhibitor"),
    ],
)
def test_no_rank_is_claimed_for_what_the_list_leaves_out_and_the_choices_are_given(kind: str, said: str) -> None:
    with pytest.raises(UnplacedKind, match="expected a place in the order of draw") as caught:
        plan_draw(order_of(kind), SITE)
    assert caught.value.kind == kind
    assert caught.value.policy == "clsi-gp41"
    assert any(said in choice for choice in caught.value.choices)
    assert len(caught.value.choices) >= 2
