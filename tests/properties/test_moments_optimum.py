"""Draws of moments, against every way to put the tests together: none has fewer that keeps the rules, and all do."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from cubital import facts
from cubital.errors import OrderError
from cubital.model import Ask, Event, Order
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.directory import Directory
from cubital.planning.moments import Arrangement, arrange
from tests.published.shipped import SHIPPED

DIRECTORY = Directory(SHIPPED)
MORNING = datetime(2026, 11, 25, 8, tzinfo=UTC)
TIMED = tuple(key for key, test in SHIPPED.tests.items() if test.moment is not None)
UNTIMED = ("potassium", "complete-blood-count", "type-and-screen", "abo-rh-group", "lactate")
ANCHORS = ("dose", "next-dose", "infusion-end", "ingestion", "drink", "last-food", "event")

tests = st.lists(st.sampled_from((*TIMED, *UNTIMED)), min_size=1, max_size=6, unique=True)


def asked_for(names: list[str]) -> tuple[Asked, ...]:
    return resolve_asks(Order(asks=tuple(Ask(test=name) for name in names)), SHIPPED, DIRECTORY)


def events_of(asked: tuple[Asked, ...], minutes: list[int]) -> list[Event]:
    """An event of each axis of these tests that has a minute, so that some are known and some are not."""
    axes = dict.fromkeys(
        (moment.anchor, moment.of)
        for one in asked
        if (moment := moment_of(one)) is not None and not moment.is_stated and moment.anchor in ANCHORS
    )
    said = [Event(what="first-draw", at=MORNING - timedelta(hours=9))]
    said += [
        Event(what=anchor, of=of, at=MORNING + timedelta(minutes=minute))
        for (anchor, of), minute in zip(axes, minutes, strict=False)
        if minute < 700
    ]
    return said


def moment_of(one: Asked) -> facts.Moment | None:
    key = SHIPPED.tests[one.test].moment
    return None if key is None else facts.moments()[key]


def named_by(one: Asked) -> set[str]:
    key = SHIPPED.tests[one.test].moment
    return {one.test} if key is None else {one.test, key}


def exclude(one: Asked, other: Asked) -> bool:
    """Whether the moments of two tests exclude each other, from the facts alone."""
    return any(
        moment is not None and not named_by(second).isdisjoint(moment.excludes)
        for first, second in ((one, other), (other, one))
        if (moment := moment_of(first)) is not None or True
    )


def window(one: Asked) -> tuple[tuple[str, str | None], int | None, int | None] | None:
    moment = moment_of(one)
    if moment is None or moment.is_stated or (moment.from_min is None and moment.to_min is None):
        return None
    return (moment.anchor, moment.of), moment.from_min, moment.to_min


def is_fixed(lo: int | None, hi: int | None) -> bool:
    return lo is not None and hi is not None and hi > 0 and hi - lo < 240


def span_of(one: Asked, asked: tuple[Asked, ...], known: dict[object, datetime]) -> tuple[datetime, datetime] | None:
    """The instants that a test may be drawn between, its own window and that of blood that needs it first."""
    spans = []
    found = window(one)
    if found is not None and found[0] in known:
        axis, lo, hi = found
        spans.append((lo, hi, known[axis]))
    for other in asked:
        moment = moment_of(other)
        if moment is not None and moment.needs in named_by(one) and (moment.anchor, moment.of) in known:
            spans.append((-10, 0, known[moment.anchor, moment.of]))
    if not spans:
        return None
    far = timedelta(days=400)
    begins = [at - far if lo is None else at + timedelta(minutes=lo) for lo, _, at in spans]
    ends = [at + far if hi is None else at + timedelta(minutes=hi) for _, hi, at in spans]
    return max(begins), min(ends)


def axes_of(one: Asked, asked: tuple[Asked, ...]) -> dict[object, tuple[int | None, int | None]]:
    found: dict[object, tuple[int | None, int | None]] = {}
    own = window(one)
    if own is not None:
        found[own[0]] = own[1:]
    for other in asked:
        moment = moment_of(other)
        if moment is not None and moment.needs in named_by(one):
            found[moment.anchor, moment.of] = (-10, 0)
    return found


def may_share(one: Asked, other: Asked, asked: tuple[Asked, ...], known: dict[object, datetime]) -> bool:
    """The rules of the brief, written anew: what two tests must fulfil to be drawn together."""
    if exclude(one, other):
        return False
    mine, theirs = axes_of(one, asked), axes_of(other, asked)
    for axis in mine.keys() & theirs.keys():
        (lo, hi), (low, high) = mine[axis], theirs[axis]
        if (hi is not None and low is not None and hi < low) or (high is not None and lo is not None and high < lo):
            return False
    spans = span_of(one, asked, known), span_of(other, asked, known)
    if spans[0] is not None and spans[1] is not None:
        return max(spans[0][0], spans[1][0]) <= min(spans[0][1], spans[1][1])
    if not mine or not theirs or mine.keys() & theirs.keys():
        return True
    return not any(is_fixed(lo, hi) for lo, hi in (*mine.values(), *theirs.values()))


def partitions(items: list[int]) -> Iterator[list[list[int]]]:
    """Every way to put items together."""
    if not items:
        yield []
        return
    first, *rest = items
    for parts in partitions(rest):
        yield [[first], *parts]
        for number in range(len(parts)):
            yield [*parts[:number], [first, *parts[number]], *parts[number + 1 :]]


def fewest(asked: tuple[Asked, ...], known: dict[object, datetime]) -> int:
    share = {
        pair: may_share(asked[pair[0]], asked[pair[1]], asked, known) for pair in combinations(range(len(asked)), 2)
    }
    return min(
        len(parts)
        for parts in partitions(list(range(len(asked))))
        if all(share[pair] for part in parts for pair in combinations(sorted(part), 2))
    )


def arranged(asked: tuple[Asked, ...], events: list[Event]) -> Arrangement | None:
    """The draws, None where the invented times cannot be together."""
    try:
        return arrange(asked, SHIPPED, now=None, events=events)
    except OrderError:
        return None


@settings(max_examples=300, deadline=None)
@given(tests, st.lists(st.integers(0, 1400), min_size=8, max_size=8))
def test_no_way_to_put_tests_together_takes_fewer_draws(names: list[str], minutes: list[int]) -> None:
    asked = asked_for(names)
    events = events_of(asked, minutes)
    found = arranged(asked, events)
    if found is None:
        return
    known: dict[object, datetime] = {(event.what, event.of): event.at for event in events}
    assert len(found.slots) == fewest(asked, known), found


@settings(max_examples=300, deadline=None)
@given(tests, st.lists(st.integers(0, 1400), min_size=8, max_size=8))
def test_no_two_tests_of_excluding_moments_share_a_draw(names: list[str], minutes: list[int]) -> None:
    asked = asked_for(names)
    events = events_of(asked, minutes)
    found = arranged(asked, events)
    if found is None:
        return
    known: dict[object, datetime] = {(event.what, event.of): event.at for event in events}
    for i, j in combinations(range(len(asked)), 2):
        if found.slot_of[i] == found.slot_of[j]:
            assert may_share(asked[i], asked[j], asked, known), (asked[i], asked[j])
    for one, slot in zip(asked, found.slot_of, strict=True):
        span = span_of(one, asked, known)
        begin, end = found.due[slot]
        assert span is None or ((begin is None or span[0] <= begin) and (end is None or end <= span[1]))


@settings(max_examples=200, deadline=None)
@given(tests, st.sampled_from(("potassium", "complete-blood-count", "sodium", "ferritin")))
def test_a_test_without_a_moment_never_adds_a_draw(names: list[str], more: str) -> None:
    if more in names:
        return
    plain, added = (arranged(asked_for(words), []) for words in (names, [*names, more]))
    assert plain is not None
    assert added is not None
    assert len(added.slots) == len(plain.slots)
    assert added.slot_of[-1] == 0


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(key for key, panel in SHIPPED.panels.items() if panel.series)), tests)
def test_two_draws_of_one_series_are_never_one(panel: str, names: list[str]) -> None:
    asked = asked_for([panel, *names])
    found = arrange(asked, SHIPPED, now=None, events=())
    places: dict[int, set[int]] = {}
    for one, slot in zip(asked, found.slot_of, strict=True):
        for place in one.series:
            places.setdefault(slot, set()).add(place.at_min)
    assert all(len(minutes) == 1 for minutes in places.values()), places
    in_order = [min(places[slot]) for slot in sorted(places)]
    assert in_order == [step.at_min for step in SHIPPED.panels[panel].series]
