"""WHO guidelines on drawing blood: best practices in phlebotomy, Geneva 2010, table 2.3. From memory, supported by a
training guide and two teaching lists of the same shape; the table itself was not read. Checks C36, C37, C46.
"""

from __future__ import annotations

import pytest

from cubital.errors import UnplacedKind
from cubital.planning import plan_draw
from tests.published.shipped import kinds_drawn, order_of, site_of_kinds

SITE = site_of_kinds("who-2010", blood_limit=None)


def test_a_tube_without_additive_goes_before_citrate() -> None:
    assert kinds_drawn(order_of("citrate", "serum-glass"), SITE) == ["serum-glass", "citrate"]


def test_edta_then_acd_then_fluoride() -> None:
    order = order_of("fluoride-oxalate", "acd-a", "edta")
    assert kinds_drawn(order, SITE) == ["edta", "acd-a", "fluoride-oxalate"]


def test_the_whole_list() -> None:
    listed = ["serum-glass", "citrate", "serum", "serum-gel", "sodium-heparin", "heparin-gel", "edta", "acd-a"]
    listed.append("fluoride-oxalate")
    drawn = kinds_drawn(order_of("culture", *reversed(listed)), SITE)
    assert [kind for kind in drawn if not kind.startswith("culture")] == listed
    assert drawn[0].startswith("culture")


@pytest.mark.parametrize(
    "kind",
    ["sps", "citrate-sedimentation", "thrombin", "heparin", "ammonium-heparin", "edta-gel", "trace-plain",
     "trace-edta", "trace-heparin", "lead", "fluoride-edta", "fluoride-heparin", "iodoacetate-heparin"],
)  # fmt: skip
def test_a_kind_that_the_list_does_not_name_is_asked_of_the_site(kind: str) -> None:
    with pytest.raises(UnplacedKind) as caught:
        plan_draw(order_of(kind), SITE)
    assert caught.value.kind == kind
    assert caught.value.choices
