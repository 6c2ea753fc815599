"""Australian Prescriber on drug monitoring (read): digoxin is never drawn within 6 h of a dose. Check 35."""

from __future__ import annotations

from datetime import timedelta

import pytest
from msgspec.structs import replace

from cubital.handling.receipt_checks import judge
from cubital.handling.record import state_of
from tests.contract.events import collected
from tests.published.shipped import SHIPPED
from tests.unit.handling.test_receipt import GOOD


@pytest.mark.parametrize(("hours", "outcome"), [(5, "refuse"), (6, "accept"), (7, "accept")])
def test_digoxin_drawn_5_hours_after_the_dose_is_at_the_wrong_time(hours: float, outcome: str) -> None:
    tube = state_of([collected("a", tests=("digoxin",))])
    (found,) = judge(tube, SHIPPED, replace(GOOD, after_min=round(60 * hours)))
    assert found.outcome == outcome
    assert [reason.about for reason in found.reasons] == ([] if outcome == "accept" else ["timing"])


def test_where_nobody_says_when_the_dose_was_it_is_not_taken_for_right() -> None:
    tube = state_of([collected("a", tests=("digoxin",))])
    (found,) = judge(tube, SHIPPED, replace(GOOD, after_min=None, at=GOOD.at + timedelta(minutes=1)))
    assert found.outcome == "comment"
    assert found.untold == ("how long after the dose it was drawn",)


@pytest.mark.parametrize("hours", [1, 5, 7])
def test_digoxin_in_poisoning_is_drawn_at_once_and_never_refused_for_it(hours: int) -> None:
    tube = state_of([collected("a", tests=("digoxin-in-poisoning",))])
    (found,) = judge(tube, SHIPPED, replace(GOOD, after_min=60 * hours))
    assert found.outcome != "refuse"
