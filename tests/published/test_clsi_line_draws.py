"""A continuing-education page on line draws after CLSI (secondary): discard twice the dead space; six times when the
lumen carried anticoagulant and coagulation is tested. A laboratory page on cultures (read): from a line suspected of
infection the first blood is used, with no discard. Checks C33 and C34.
"""

from __future__ import annotations

import pytest

from cubital.model import Ask, Line, Order
from tests.published.shipped import order_of, site_of_kinds, verified

SITE = site_of_kinds("common-practice", blood_limit=None)


def discarded_ul(*tests: str, **line: object) -> list[int]:
    order = order_of(*tests, access="line", line=Line(**line))  # type: ignore[arg-type]
    return [tube.draw_ul for tube in verified(order, SITE).tubes if tube.purpose == "discard"]


@pytest.mark.parametrize(
    ("tests", "carried", "discard_ml"),
    [
        (("serum-gel",), True, 2),
        (("serum-gel",), False, 2),
        (("citrate",), True, 6),
        (("citrate", "serum-gel"), True, 6),
        (("citrate",), False, 2),
        (("citrate",), None, 6),  # not known: the larger, ours
    ],
)
def test_the_discard_for_a_dead_space_of_one_millilitre(
    tests: tuple[str, ...], carried: bool | None, discard_ml: int
) -> None:
    assert discarded_ul(*tests, dead_space_ul=1000, carried_anticoagulant=carried) == [discard_ml * 1000]


def test_the_first_blood_of_a_line_suspected_of_infection_is_used() -> None:
    suspected = {"dead_space_ul": 1000, "suspected_infection": True}
    assert discarded_ul("culture", **suspected) == []
    assert discarded_ul("culture", dead_space_ul=1000) == [2000]
    assert discarded_ul("serum-gel", **suspected) == [2000]


def test_a_line_cleared_for_the_first_culture_set_is_not_cleared_again_for_the_second() -> None:
    # No source says so of sets: a line is cleared of what stood in it, and between two sets nothing stands in it.
    order = order_of("culture", "citrate", access="line", line=Line(dead_space_ul=1000, carried_anticoagulant=True))
    plan = verified(order, SITE)
    assert [(t.draw, t.draw_ul) for t in plan.tubes if t.purpose == "discard"] == [(1, 6000)]
    assert any(c.level == "warn" and "From another lumen, clear that lumen first" in c.text for c in plan.cautions)


def test_a_line_that_stood_for_an_hour_is_cleared_again() -> None:
    asks = (Ask(test="culture"), Ask(test="culture", at_min=60))
    plan = verified(Order(asks=asks, access="line", line=Line(dead_space_ul=1000)), SITE)
    assert [(t.draw, t.draw_ul) for t in plan.tubes if t.purpose == "discard"] == [(1, 2000), (3, 2000)]


def test_how_much_most_lines_need_is_said_where_the_dead_space_is_not_known() -> None:
    for line, is_said in ((Line(), True), (Line(dead_space_ul=800), False)):
        plan = verified(order_of("serum-gel", access="line", line=line), SITE)
        assert any("About 5 mL of discard" in c.text for c in plan.cautions) is is_said


def test_an_unknown_dead_space_is_said_to_be_unknown_and_no_volume_is_guessed() -> None:
    assert discarded_ul("citrate") == []
    plan = verified(order_of("citrate", access="line"), SITE)
    assert any(c.level == "stop" and "dead space" in c.text for c in plan.cautions)
