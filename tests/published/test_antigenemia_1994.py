"""Antigen after the vaccine of hepatitis B, J Pediatr 1994 (abstract read): seen up to 8 days, gone on day 18."""

from __future__ import annotations

from cubital import facts

DAY_MIN = 24 * 60


def test_the_antigen_is_not_drawn_while_the_vaccine_s_own_is_there() -> None:
    moment = facts.moments()["hepatitis-b-antigen-after-vaccine"]
    assert moment.from_min is not None
    assert 8 * DAY_MIN < moment.from_min == 18 * DAY_MIN
    assert moment.early is not None
