"""A continuing-education page on line draws after CLSI (secondary): discard twice the dead space; six times when the
lumen carried anticoagulant and coagulation is tested. A laboratory page on cultures (read): from a line suspected of
infection the first blood is used, with no discard. Checks C33 and C34.
"""

from __future__ import annotations

import pytest

from cubital.model import Line
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
    assert discarded_ul("culture", dead_space_ul=1000) == [2000, 2000]
    assert discarded_ul("serum-gel", **suspected) == [2000]


def test_an_unknown_dead_space_is_said_to_be_unknown_and_no_volume_is_guessed() -> None:
    assert discarded_ul("citrate") == []
    plan = verified(order_of("citrate", access="line"), SITE)
    assert any(c.level == "stop" and "dead space" in c.text for c in plan.cautions)
