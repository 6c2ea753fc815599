"""Small tubes by syringe and line: where they stand in the order of draw, and what is said of them."""

from __future__ import annotations

import msgspec
import pytest

from cubital import facts
from cubital.errors import UnplacedKind
from cubital.model import Order
from cubital.planning.lint import lint
from cubital.planning.micro import is_open_micro
from cubital.planning.sequence import Sequence
from tests.published.shipped import SHIPPED, order_of, patient_of, verified

MICRO = ("edta-micro", "heparin-micro", "serum-micro", "fluoride-micro")
LIKE = {"edta-micro": "edta", "heparin-micro": "heparin", "serum-micro": "serum", "fluoride-micro": "fluoride-edta"}
VENOUS = [key for key in facts.order_policies() if key != "skin-puncture"]


def place_of(policy: str, access: str, kind: str) -> object:
    """Step and place of a kind, or that the policy leaves it unsaid."""
    planning = msgspec.structs.replace(SHIPPED.planning, order_of_draw=policy)
    try:
        return Sequence(msgspec.structs.replace(SHIPPED, planning=planning), access).rank(kind)
    except UnplacedKind:
        return "unsaid"


@pytest.mark.parametrize("policy", VENOUS)
@pytest.mark.parametrize("access", ["syringe", "line"])
@pytest.mark.parametrize("kind", MICRO)
def test_a_micro_tube_stands_where_its_additive_stands(policy: str, access: str, kind: str) -> None:
    """Memory of CLSI GP41 and GP42: the order of skin puncture is for skin puncture alone."""
    assert place_of(policy, access, kind) == place_of(policy, access, LIKE[kind])


def test_by_skin_puncture_its_own_order_holds_still() -> None:
    sequence = Sequence(SHIPPED, "skin-puncture")
    assert [sequence.rank(kind) for kind in MICRO[:3]] == sorted(sequence.rank(kind) for kind in MICRO[:3])
    assert sequence.rank("edta-micro") < sequence.rank("serum-micro")
    assert Sequence(SHIPPED, "line").rank("serum-micro") < Sequence(SHIPPED, "line").rank("edta-micro")


def test_only_what_drops_of_the_skin_fill_is_an_open_micro_tube() -> None:
    assert {key for key, kind in SHIPPED.kinds.items() if is_open_micro(kind)} == {
        *MICRO, "lead-micro", "spot-card", "bedside-drop",
    }  # fmt: skip
    assert not is_open_micro(msgspec.structs.replace(SHIPPED.kinds["edta-micro"], accesses=None))


def test_a_site_is_told_of_a_micro_tube_that_its_venous_order_leaves_unsaid() -> None:
    planning = msgspec.structs.replace(SHIPPED.planning, order_of_draw="who-2010")
    found = {f.entry for f in lint(msgspec.structs.replace(SHIPPED, planning=planning))}
    assert "[heparin-micro]" in found
    assert "[edta-micro]" not in found


def cautions(*tests: str, order: Order | None = None, access: str = "line", age_a: float = 0.003) -> dict[str, str]:
    """The level of each caution of a plan by its words."""
    order = order or order_of(*tests, access=access, patient=patient_of(3.4, age_a))
    order = msgspec.structs.replace(order, objective="least-blood")
    return {caution.text: caution.level for caution in verified(order, SHIPPED).cautions}


def test_filling_micro_tubes_from_a_syringe_or_line_says_how() -> None:
    text = facts.safety()["micro-transfer"].text
    assert "never a needle through a cap" in text
    assert cautions("CBC")[text] == "warn"
    assert cautions("CBC", access="syringe")[text] == "warn"
    assert text not in cautions("CBC", access="skin-puncture")
    assert text not in cautions("CBC", access="winged-set")


# A hospital transfusion list (nhs-crossmatch-list, read): 0.5 mL under four months, 2 mL for children.
@pytest.mark.parametrize(("age_a", "level"), [(0.003, "note"), (45.0, "warn")])
def test_a_group_and_screen_in_a_micro_tube_says_for_whom_it_is(age_a: float, level: str) -> None:
    text = facts.safety()["micro-group"].text
    assert "under 4 months" in text
    assert cautions("type and screen", access="syringe", age_a=age_a)[text] == level
    assert text not in cautions("type and screen", access="winged-set", age_a=age_a)
    assert text not in cautions("CBC", access="syringe", age_a=age_a)


def test_at_typical_volumes_a_group_and_screen_goes_into_the_tube_of_the_blood_bank() -> None:
    plan = verified(order_of("type and screen", access="syringe"), SHIPPED)
    assert [tube.kind for tube in plan.tubes] == ["edta-blood-bank"]
