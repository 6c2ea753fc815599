"""CLSI GP42, Collection of Capillary Blood Specimens, 7th edition 2020: the order as a continuing-education page
quotes it (secondary). Blood gas, EDTA, other additives, serum; citrate micro tubes are not filled. Check C38.
"""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.errors import NoTube
from cubital.planning import plan_draw
from tests.published.shipped import SHIPPED, kinds_drawn, order_of, site_of_kinds, verified

SITE = site_of_kinds("clsi-gp41", blood_limit=None)
CAPILLARY = ["gas-capillary", "edta-micro", "heparin-micro", "serum-micro"]


def test_gas_then_edta_then_heparin_then_serum_whatever_the_policy_of_the_vein() -> None:
    for policy in ("clsi-gp41", "who-2010", "common-practice"):
        site = site_of_kinds(policy, blood_limit=None)
        assert kinds_drawn(order_of(*reversed(CAPILLARY), access="skin-puncture"), site) == CAPILLARY


def test_the_venous_order_is_the_reverse_for_serum_and_edta() -> None:
    assert kinds_drawn(order_of("serum-gel", "edta"), SITE) == ["serum-gel", "edta"]
    assert kinds_drawn(order_of("serum-micro", "edta-micro", access="skin-puncture"), SITE) == [
        "edta-micro", "serum-micro",
    ]  # fmt: skip


def test_fluoride_goes_with_the_other_additives_before_serum() -> None:
    order = order_of("serum-micro", "fluoride-micro", "edta-micro", access="skin-puncture")
    assert kinds_drawn(order, SITE) == ["edta-micro", "fluoride-micro", "serum-micro"]


@pytest.mark.parametrize("test", ["prothrombin-time", "activated-partial-thromboplastin-time", "fibrinogen"])
def test_a_coagulation_test_is_refused_by_skin_puncture(test: str) -> None:
    with pytest.raises(NoTube, match="skin-puncture"):
        plan_draw(order_of(test, access="skin-puncture"), SHIPPED)


def test_even_a_citrate_tube_that_the_site_says_it_fills_so_is_refused_with_the_reason() -> None:
    open_kind = replace(SITE.kinds["citrate"], accesses=None)
    with pytest.raises(NoTube, match="tissue fluid"):
        plan_draw(
            order_of("citrate", access="skin-puncture"),
            replace(SITE, kinds={**SITE.kinds, "citrate": open_kind}),
        )


def test_a_blood_count_by_skin_puncture_goes_into_a_micro_tube() -> None:
    plan = verified(order_of("cbc", access="skin-puncture"), SHIPPED)
    assert [(tube.kind, tube.draw_ul) for tube in plan.tubes] == [("edta-micro", 250)]
