"""What stands before the tubes of a draw, and the few words by which its labels tell it from the others."""

from __future__ import annotations

import datetime

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.app.draw_words import before_words, due_words, short_words, tags_of
from cubital.app.draws import plan_order
from cubital.app.wiring import open_site
from cubital.model import Ask, Draw, Order, Plan, Site

DEMO = open_site(demo=True)
DAY = datetime.date(2026, 11, 25)
SERIES = sorted(key for key, panel in DEMO.panels.items() if panel.series)


def plan_of(*tests: str) -> Plan:
    return plan_order(Order(asks=tuple(Ask(test=test) for test in tests), on=DAY), DEMO)


def at(hour: int, minute: int = 0, *, day: int = 25, month: int = 11) -> datetime.datetime:
    return datetime.datetime(2026, month, day, hour, minute, tzinfo=datetime.UTC)


def berlin() -> Site:
    return replace(DEMO, time_zone="Europe/Berlin")


@pytest.mark.parametrize(
    ("early", "late", "said"),
    [
        (at(11, 30), at(12), "2026-11-25, 12:30 to 13:00"),
        (at(11, 30), None, "from 2026-11-25 12:30"),
        (None, at(12), "by 2026-11-25 13:00"),
        (at(22), at(23, 30), "2026-11-25 23:00 to 2026-11-26 00:30"),
        (at(11), at(11), "2026-11-25 12:00"),
        (None, None, ""),
        # The hour that the clocks show twice, when summer time ends: which of the two is said.
        (at(0, 30, day=25, month=10), at(1, 30, day=25, month=10), "2026-10-25, 02:30+02:00 to 02:30+01:00"),
    ],
)
def test_between_which_times_a_draw_is_due_is_said_by_the_clocks_of_the_site(
    early: datetime.datetime | None, late: datetime.datetime | None, said: str
) -> None:
    assert due_words(Draw(number=1, at_min=0, label="x", due_from=early, due_to=late), berlin()) == said


def test_a_draw_of_no_moment_has_nothing_before_it() -> None:
    (draw,) = plan_of("CBC").draws
    assert before_words(draw, DEMO) == ()
    assert tags_of(plan_of("CBC"), DEMO) == ("",)


@pytest.mark.parametrize("panel", SERIES)
def test_no_two_draws_of_a_series_have_labels_alike_and_each_carries_its_minute(panel: str) -> None:
    plan = plan_of(panel)
    tags = tags_of(plan, DEMO)
    draws: dict[str, set[int]] = {}
    for tube, tag in zip(plan.tubes, tags, strict=True):
        draws.setdefault(tag, set()).add(tube.draw)
        minutes = {step.at_min for step in DEMO.panels[panel].series if set(step.tests) & set(tube.tests)}
        assert any(f"{minute} min" in tag for minute in minutes), (tag, minutes)
    assert all(len(numbers) == 1 for numbers in draws.values()), draws


def test_moments_that_exclude_each_other_have_other_words_on_their_labels() -> None:
    moments = facts.moments()
    pairs = [(key, other) for key, one in moments.items() for other in one.excludes if other in moments]
    assert len(pairs) > 10
    for key, other in pairs:
        one, two = moments[key], moments[other]
        if one.of == two.of and not (one.draws or two.draws):
            assert short_words(one.label) != short_words(two.label), (key, other)


def test_the_words_of_no_moment_are_taken_for_two() -> None:
    assert not [key for key, moment in facts.moments().items() if "; " in moment.label]


def test_two_draws_of_the_same_moment_of_two_drugs_are_told_apart_by_their_number() -> None:
    plan = plan_of("vancomycin-peak", "gentamicin-peak")
    assert [draw.number for draw in plan.draws] == [1, 2]
    assert sorted(tags_of(plan, DEMO)) == ["draw 1, peak", "draw 2, peak"]
