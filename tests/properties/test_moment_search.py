"""The search for draws against every partition: as few, each may be shared, each may follow the one before it.

The rules of two demands are the search's own here; `test_moments_optimum` writes them anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import combinations, permutations

from hypothesis import given, settings
from hypothesis import strategies as st

from cubital.planning.moment_search import Search, Timed, due_of, may_share
from cubital.planning.moment_windows import FIRST_DRAW, Axis, Demand, Window

MORNING = datetime(2026, 11, 25, 8, tzinfo=UTC)
AXES: tuple[Axis, ...] = (
    ("next-dose", "vancomycin"), ("infusion-end", "vancomycin"), ("dose", "digoxin"), ("next-dose", "tacrolimus"),
    ("drink", "glucose-75-g"),
)  # fmt: skip
NAMES = "abcdefg"


@st.composite
def windows(draw: st.DrawFn) -> Window:
    axis = draw(st.sampled_from(AXES))
    lo = draw(st.integers(-6, 9)) * 10
    hi = -lo if axis[0] == "next-dose" else lo + draw(st.sampled_from((0, 10, 30)))
    if axis[0] == "next-dose":
        lo, hi = -abs(lo) - 10, 0
    return Window(axis, lo, hi, draw(st.booleans()) and hi > 0)


@st.composite
def demands(draw: st.DrawFn, place: int) -> Demand:
    found = {window.axis: window for window in draw(st.lists(windows(), max_size=2))}
    minute = draw(st.sampled_from((None, None, None, 0, 30, 60)))
    if minute is not None or not found:
        at_min = minute or 0
        found[FIRST_DRAW] = Window(FIRST_DRAW, at_min, at_min, at_min > 0)
    excludes = draw(st.frozensets(st.sampled_from(NAMES), max_size=1)) - {NAMES[place]}
    steps = draw(st.frozensets(st.tuples(st.just("panel"), st.sampled_from((0, 30))), max_size=1))
    return Demand(
        tuple(found.values()), steps, frozenset(NAMES[place]), frozenset(NAMES[place]), excludes, (place,),
        is_anywhen=not any(not window.is_first for window in found.values()) and not excludes, is_first=minute == 0,
    )  # fmt: skip


@st.composite
def questions(draw: st.DrawFn) -> tuple[list[Timed], dict[Axis, datetime]]:
    wanted = [draw(demands(place)) for place in range(draw(st.integers(1, 6)))]
    known = dict.fromkeys(draw(st.sets(st.sampled_from((*AXES, FIRST_DRAW)), max_size=3)), MORNING)
    return [Timed(demand, due_of(demand, known)) for demand in wanted], known


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


def can_be_ordered(parts: list[list[int]], precedes: set[tuple[int, int]]) -> bool:
    """Whether the parts can follow each other so that nothing comes before what must precede it."""
    left = list(parts)
    while left:
        free = [
            part
            for part in left
            if not any((i, j) in precedes for other in left if other is not part for i in other for j in part)
        ]
        if not free:
            return False
        left = [part for part in left if part not in free]
    return True


@settings(max_examples=250, deadline=None)
@given(questions())
def test_the_search_finds_the_least_number_of_draws_in_an_order_that_can_be(
    question: tuple[list[Timed], dict[Axis, datetime]],
) -> None:
    timed, known = question
    search = Search(timed, known, None)
    share = {(a, b) for a, b in combinations(range(len(timed)), 2) if may_share(timed[a], timed[b])}
    precedes = {(a, b) for a, b in permutations(range(len(timed)), 2) if search.must_precede(timed[a], timed[b])}
    fine = [
        parts
        for parts in partitions(list(range(len(timed))))
        if all(pair in share for part in parts for pair in combinations(sorted(part), 2))
        and can_be_ordered(parts, precedes)
    ]
    found = search.find()
    if not fine:
        assert found is None
        return
    assert found is not None
    assert len(found) == min(map(len, fine))
    places = [sorted(one.demand.places[0] for one in draw) for draw in found]
    assert sorted(place for draw in places for place in draw) == list(range(len(timed)))
    assert all(pair in share for draw in places for pair in combinations(draw, 2))
    for earlier, later in combinations(places, 2):
        assert not any((b, a) in precedes for a in earlier for b in later)
