"""ISO 6710:2017, Single-use containers for human venous blood specimen collection. From memory: the text was not read.

EDTA 1.2 to 2.0 mg/mL stated as free acid; the same range as the salts is computed. Check C03.
Annex F (colours) is informative, annex E (concentrations) normative (catalogue contents list read). Check C45.
"""

from __future__ import annotations

from collections import defaultdict

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.chemistry.concentration import amount_range
from cubital.errors import OrderError
from cubital.planning import plan_draw
from tests.published.shipped import SHIPPED, order_of, verified, within

EDTA = [c for name in ("k2-edta", "k3-edta") for c in facts.additives()[name].concentrations]


def test_the_free_acid_range_is_4_11_to_6_84_mmol_per_litre() -> None:
    for concentration in EDTA:
        if concentration.salt == "EDTA free acid":
            found = amount_range(concentration)
            assert found is not None
            assert within(found[0], 4.11, 0.03)
            assert within(found[1], 6.84, 0.03)


@pytest.mark.parametrize(
    "salt", ["dipotassium EDTA dihydrate", "dipotassium EDTA anhydrous", "tripotassium EDTA dihydrate"]
)
def test_the_computed_range_of_a_salt_is_the_free_acid_range(salt: str) -> None:
    acid = amount_range(next(c for c in EDTA if c.salt == "EDTA free acid"))
    own = amount_range(next(c for c in EDTA if c.salt == salt and c.mark.basis == "computed"))
    assert acid is not None
    assert own is not None
    assert within(own[0], float(acid[0]), 0.02)
    assert within(own[1], float(acid[1]), 0.02)


@pytest.mark.parametrize("colour", ["red", "green", "yellow", "royal blue", "lavender"])
def test_a_colour_is_not_something_that_can_be_ordered(colour: str) -> None:
    with pytest.raises(OrderError):
        plan_draw(order_of(colour), SHIPPED)


def test_the_kinds_that_share_a_stopper_have_marks_of_their_own() -> None:
    by_stopper = defaultdict(list)
    for kind in SHIPPED.kinds.values():
        by_stopper[kind.stopper].append(kind)
    shared = {colour for colour, kinds in by_stopper.items() if len({kind.additive for kind in kinds}) > 1}
    assert {"yellow", "red", "green", "royal blue"} <= shared
    marks = [kind.mark for kind in SHIPPED.kinds.values()]
    assert all(marks)
    assert len(set(marks)) == len(marks)


def test_the_colours_of_another_region_change_no_plan() -> None:
    order = order_of("prothrombin-time", "potassium", "cbc", "glucose", "group-check")
    # One hospital's bottle table: red EDTA, green citrate, orange heparin, brown gel serum, yellow fluoride.
    other = {"edta": "red", "citrate": "green", "heparin-gel": "orange", "serum-gel": "brown"}
    other["fluoride-oxalate"] = "yellow"
    kinds = {key: replace(kind, stopper=other.get(key, "red")) for key, kind in SHIPPED.kinds.items()}
    recoloured = verified(order, replace(SHIPPED, kinds=kinds))
    plain = verified(order, SHIPPED)
    assert [replace(tube, stopper=None) for tube in recoloured.tubes] == [
        replace(tube, stopper=None) for tube in plain.tubes
    ]
