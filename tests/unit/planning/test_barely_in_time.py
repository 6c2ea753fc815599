"""A tube in time by wider windows than the site's says so; one in time by the site's says nothing."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.model import Ask, Order, Site
from cubital.model.vocabulary import WindowsKey
from cubital.planning import Planner
from tests.published.shipped import SHIPPED


def site(windows: WindowsKey, travel_min: int) -> Site:
    return replace(SHIPPED, planning=replace(SHIPPED.planning, windows=windows, usual_travel_min=travel_min))


def said(windows: WindowsKey, travel_min: int) -> list[tuple[str, str]]:
    """Level and words of what the plan says of glucose."""
    plan = Planner(site(windows, travel_min)).plan(Order(asks=(Ask(test="glucose"),)))
    return [(c.level, c.text) for c in plan.cautions if c.about == "glucose" and "on the way" in c.text]


@pytest.mark.parametrize(("windows", "travel_min"), [("strict", 15), ("extended", 45), ("extended", 15)])
def test_in_time_by_the_windows_of_the_site_nothing_is_said(windows: WindowsKey, travel_min: int) -> None:
    assert said(windows, travel_min) == []


def test_in_time_by_the_extended_windows_of_a_strict_site_is_a_warning() -> None:
    # Glucose 45 min from the bench: lost in every tube but fluoride, and in that by the strict windows.
    ((level, text),) = said("strict", 45)
    assert level == "warn"
    assert "in time by the extended windows only" in text
