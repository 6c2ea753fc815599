"""Simundic and others. Joint EFLM-COLABIOCLI Recommendation for venous blood sampling. Clin Chem Lab Med
2018;56:2015-2038. The scope was read in the abstract; the list of steps is from memory. Checks C36, C46.
"""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.errors import UnplacedKind
from cubital.planning import plan_draw
from tests.published.shipped import kinds_drawn, order_of, site_of_kinds

SITE = site_of_kinds("eflm-2018", blood_limit=None)


def test_citrate_goes_before_a_tube_without_additive() -> None:
    assert kinds_drawn(order_of("serum-glass", "citrate"), SITE) == ["citrate", "serum-glass"]


def test_the_list_from_cultures_to_other_additives() -> None:
    listed = ["citrate", "serum-gel", "heparin-gel", "edta", "fluoride-oxalate", "acd-a"]
    drawn = kinds_drawn(order_of("culture", *reversed(listed)), SITE)
    assert [kind for kind in drawn if not kind.startswith("culture")] == listed
    assert drawn[0].startswith("culture")


@pytest.mark.parametrize(
    "kind", ["sps", "citrate-sedimentation", "trace-plain", "trace-edta", "trace-heparin", "lead"]
)
def test_a_kind_that_the_list_does_not_name_is_asked_of_the_site(kind: str) -> None:
    with pytest.raises(UnplacedKind) as caught:
        plan_draw(order_of(kind), SITE)
    assert caught.value.choices


def test_syringes_catheters_and_skin_punctures_are_outside_its_scope() -> None:
    assert facts.order_policies()["eflm-2018"].accesses_in_scope == ("straight-needle", "winged-set")


def test_its_five_inversions_lie_inside_what_we_give_for_every_mixed_tube() -> None:
    ours = {}
    for additive in ("citrate-9-1", "clot-activator", "lithium-heparin", "k2-edta", "fluoride-oxalate"):
        found = facts.inversions(additive, False)
        assert found is not None
        assert found.low <= 5 <= found.high
        ours[additive] = found.chosen - 5
    assert ours == {"citrate-9-1": 0, "clot-activator": 0, "lithium-heparin": 3, "k2-edta": 3, "fluoride-oxalate": 3}
