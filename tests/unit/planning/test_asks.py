"""What an order asks for: words to tests, panels and series expanded, each once."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.errors import OrderError, UnknownTest
from cubital.model import Ask, Order, Panel, SeriesStep, Site
from cubital.planning.asks import resolve_asks
from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED


def asked_of(*asks: Ask, site: Site = SHIPPED) -> list[tuple[str, int, int]]:
    return [(a.test, a.at_min, a.priority) for a in resolve_asks(Order(asks=asks), site, Directory(site))]


def with_panels(*panels: Panel) -> Site:
    return replace(SHIPPED, panels={panel.key: panel for panel in panels}, ambiguous={})


def test_a_test_by_its_abbreviation_is_that_test_at_the_first_draw() -> None:
    assert asked_of(Ask(test="K")) == [("potassium", 0, 2)]


def test_an_order_of_nothing_is_refused() -> None:
    with pytest.raises(OrderError, match="at least one"):
        asked_of()


@pytest.mark.parametrize("second", ["potassium", "K", "2823-3"])
def test_one_test_under_two_names_is_refused(second: str) -> None:
    with pytest.raises(OrderError, match=r"^tests\[1\].*the same, potassium"):
        asked_of(Ask(test="potassium"), Ask(test=second))


def test_one_test_at_two_times_is_two_tests() -> None:
    assert asked_of(Ask(test="potassium"), Ask(test="K", at_min=60, priority="timed")) == [
        ("potassium", 0, 2), ("potassium", 60, 1),
    ]  # fmt: skip


def test_a_test_that_two_panels_share_is_drawn_once_at_the_more_urgent_priority() -> None:
    site = with_panels(
        Panel(key="one", name="one", tests=("potassium", "sodium")), Panel(key="two", name="two", tests=("potassium",))
    )
    found = resolve_asks(
        Order(asks=(Ask(test="one"), Ask(test="two", priority="stat"))), site, Directory(site)
    )
    assert [(a.test, a.priority, a.via) for a in found] == [
        ("potassium", 0, ("one", "two")), ("sodium", 2, ("one",)),
    ]  # fmt: skip


def test_a_panel_of_panels_is_expanded_to_its_tests_and_a_series_to_its_times() -> None:
    site = with_panels(
        Panel(key="inner", name="inner", tests=("sodium",)),
        Panel(key="outer", name="outer", tests=("inner", "potassium")),
        Panel(key="series", name="series", series=(
            SeriesStep(at_min=0, tests=("glucose",)), SeriesStep(at_min=120, tests=("outer",)),
        )),
    )  # fmt: skip
    assert asked_of(Ask(test="outer"), site=site) == [("sodium", 0, 2), ("potassium", 0, 2)]
    assert asked_of(Ask(test="series", at_min=10), site=site) == [
        ("glucose", 10, 2), ("sodium", 130, 2), ("potassium", 130, 2),
    ]  # fmt: skip


@pytest.mark.parametrize("inside", ["nothing-known", "outer", "other"])
def test_a_panel_that_names_nothing_known_or_runs_into_itself_is_refused(inside: str) -> None:
    site = with_panels(
        Panel(key="outer", name="outer", tests=(inside,)), Panel(key="other", name="other", tests=("outer",))
    )
    with pytest.raises(OrderError, match="does not define"):
        asked_of(Ask(test="outer"), site=site)


def test_a_word_that_nobody_defined_is_unknown_and_the_near_ones_are_named() -> None:
    with pytest.raises(UnknownTest) as caught:
        asked_of(Ask(test="potasium"))
    assert "potassium" in caught.value.near


def test_what_came_through_a_series_says_which_and_at_which_of_its_minutes() -> None:
    found = resolve_asks(
        Order(asks=(Ask(test="troponin-t-0-1-h", at_min=30), Ask(test="K"))), SHIPPED, Directory(SHIPPED)
    )
    assert [(a.test, a.at_min, a.series, a.is_said) for a in found] == [
        ("troponin-t", 30, (("troponin-t-0-1-h", 0),), True), ("troponin-t", 90, (("troponin-t-0-1-h", 60),), True),
        ("potassium", 0, (), False),
    ]  # fmt: skip


def test_two_series_share_a_test_where_they_count_from_one_event_and_not_from_two() -> None:
    def times(*panels: str) -> list[tuple[int, tuple[str, ...]]]:
        asks = tuple(Ask(test=panel) for panel in panels)
        return [(a.at_min, a.via) for a in resolve_asks(Order(asks=asks), SHIPPED, Directory(SHIPPED))]

    both = ("glucagon-growth-hormone", "glucagon-c-peptide")
    assert times(*both)[1] == (0, both)  # the glucose before one glucagon
    stimuli = ("corticotropin-stimulation", "corticotropin-stimulation-1-ug")
    assert [at_min for at_min, via in times(*stimuli) if len(via) > 1] == []
    assert len(times(*stimuli)) == 7
