"""What a gel does to a test stands behind the kinds that the shipped directory lists, and their order."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from cubital import facts
from cubital.errors import NoTube
from cubital.model import Accept
from cubital.planning import plan_draw
from cubital.planning.gel import find_gels, why_no_gel
from cubital.planning.lint import lint
from tests.published.shipped import SHIPPED, order_of, patient_of, verified

CHILLED = sorted(key for key, test in SHIPPED.tests.items() if {"ice", "cold_spin"} & set(test.handling))


def gels_of(accept: dict[str, Any]) -> list[bool]:
    """For each kind of a way whether it has a gel."""
    return [facts.tube_table()[kind]["gel"] for kind in accept["tubes"]]


# Memory of handbooks: a cold gel flows badly; whether it seals is the tube's instructions to say.
@pytest.mark.parametrize("key", CHILLED)
def test_no_test_that_is_chilled_goes_onto_a_gel(key: str) -> None:
    assert not any(any(gels_of(accept)) for accept in facts.tests_table()[key].get("accepts", ()))
    assert why_no_gel(SHIPPED.tests[key]) is not None


def test_ammonia_and_lactate_are_among_the_chilled() -> None:
    assert {"ammonia", "lactate", "homocysteine", "calcitonin", "gastrin"} <= set(CHILLED)
    assert why_no_gel(SHIPPED.tests["potassium"]) is None


@pytest.mark.parametrize("key", facts.gels())
def test_the_kinds_of_a_test_are_listed_as_its_gel_limit_says(key: str) -> None:
    limit = facts.gels()[key]
    ways = [gels_of(accept) for accept in facts.tests_table()[key]["accepts"]]
    if limit.standing == "never":
        assert not any(any(way) for way in ways)
    elif limit.standing == "last":
        assert all(way == sorted(way) and not way[0] for way in ways)
    else:
        assert any(any(way) for way in ways) or key == "parathyrin"


# Dasgupta 1994 (abstract): phenytoin, phenobarbital and carbamazepine fell, theophylline and salicylate did not.
def test_the_drugs_that_a_gel_took_up_never_go_onto_one_and_the_others_may() -> None:
    standing = {key: limit.standing for key, limit in facts.gels().items()}
    assert {standing[key] for key in ("phenytoin", "phenobarbital", "carbamazepine")} == {"never"}
    assert {standing[key] for key in ("theophylline", "salicylate")} == {"alike"}


def test_a_lactate_of_an_adult_goes_into_fluoride_and_never_into_iced_gel() -> None:
    for objective in ("fewest-tubes", "least-blood"):
        order = order_of("lactate", patient=patient_of(70, 45), objective=objective)
        assert [tube.gel for tube in verified(order, SHIPPED).tubes] == [False]


def test_a_site_that_puts_a_chilled_test_onto_gel_is_told() -> None:
    assert list(find_gels(SHIPPED)) == []
    ammonia = SHIPPED.tests["ammonia"]
    way = Accept(matrix="plasma", tubes=("heparin", "heparin-gel"), volume_ul=20, minimum_ul=10)
    own = {**SHIPPED.tests, "ammonia": msgspec.structs.replace(ammonia, accepts=(way,))}
    found = [f for f in lint(msgspec.structs.replace(SHIPPED, tests=own)) if f.entry.startswith("[ammonia]")]
    assert [(f.level, f.entry) for f in found] == [("warning", "[ammonia] accepts[0].tubes[1]")]
    assert "whether a gel seals in the cold is not known" in found[0].found


# Anderson 2007 (abstract): 73 % of capillary results of 10 ug/dL or more were not confirmed.
def test_lead_of_the_skin_is_a_screen_that_a_vein_confirms() -> None:
    plan = verified(order_of("capillary lead", access="skin-puncture", patient=patient_of(12, 2)), SHIPPED)
    assert [tube.kind for tube in plan.tubes] == ["lead-micro"]
    assert any("confirmed from a vein" in caution.text for caution in plan.cautions)
    with pytest.raises(NoTube, match="lead-micro; none of these can be filled by straight-needle"):
        plan_draw(order_of("capillary lead"), SHIPPED)
