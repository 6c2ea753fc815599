"""The best two tubes, against trying everything."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from cubital.planning.choices import Size, Way, Ways
from cubital.planning.pairs import Pair, best_liked_pair, best_pair

SIZES = st.lists(st.tuples(st.integers(1, 6), st.integers(1, 12)), min_size=1, max_size=3)


@st.composite
def questions(draw: st.DrawFn) -> tuple[list[Way], list[Ways]]:
    shelf = []
    for number in range(draw(st.integers(1, 4))):
        sizes = sorted(draw(SIZES))
        items = tuple(Size(10 * number + i, 1000 * ul, 100 * cap) for i, (ul, cap) in enumerate(sizes))
        shelf.append(Way(f"kind-{number}", "plasma", items, max(size.cap_ul for size in items)))
    way = st.integers(0, len(shelf) - 1)
    # Half of the needs are whole hundreds, as every capacity is: a tube is often filled to the last.
    need = st.one_of(st.integers(1, 700), st.integers(1, 7).map(lambda hundreds: 100 * hundreds))
    need_place = st.tuples(need, st.integers(0, 4))
    tests = draw(st.lists(st.dictionaries(way, need_place, min_size=1, max_size=4), min_size=2, max_size=6))
    return shelf, tests


def by_trying_everything(shelf: list[Way], tests: list[Ways]) -> set[tuple[int, int]]:
    """Every (blood, preference) of any two tubes and any share of the tests between them, none empty."""
    tubes = [(number, size) for number, way in enumerate(shelf) for size in way.sizes]
    found = set()
    for (one, a), (two, b) in product(tubes, tubes):
        for sides in product((0, 1), repeat=len(tests)):
            ways = [(one, two)[side] for side in sides]
            if len(set(sides)) < 2 or any(way not in test for way, test in zip(ways, tests, strict=True)):
                continue
            load = [0, 0]
            for side, way, test in zip(sides, ways, tests, strict=True):
                load[side] += test[way][0]
            if load[0] <= a.cap_ul and load[1] <= b.cap_ul:
                found.add(
                    (a.draw_ul + b.draw_ul, sum(test[way][1] for way, test in zip(ways, tests, strict=True)))
                )
    return found


def is_held_by_one(shelf: list[Way], tests: list[Ways]) -> bool:
    return any(
        all(number in test for test in tests) and sum(test[number][0] for test in tests) <= way.most_ul
        for number, way in enumerate(shelf)
    )


@settings(max_examples=400, deadline=None)
@given(questions())
def test_no_two_tubes_do_better_where_one_cannot(question: tuple[list[Way], list[Ways]]) -> None:
    shelf, tests = question
    if is_held_by_one(shelf, tests):
        return
    every = by_trying_everything(shelf, tests)
    pair, liked = best_pair(tests, shelf), best_liked_pair(tests, shelf)
    assert (None if pair is None else (pair.blood_ul, pair.preference)) == min(every, default=None)
    turned = min(((preference, blood_ul) for blood_ul, preference in every), default=None)
    assert (None if liked is None else (liked.preference, liked.blood_ul)) == turned


@settings(max_examples=200, deadline=None)
@given(questions(), st.sampled_from((best_pair, best_liked_pair)))
def test_a_pair_holds_each_test_once_within_its_sizes(
    question: tuple[list[Way], list[Ways]], choose: Callable[[Sequence[Ways], Sequence[Way]], Pair | None]
) -> None:
    shelf, tests = question
    pair = choose(tests, shelf)
    if pair is None:
        return
    assert sorted(n for tube in pair.tubes for n in tube.members) == list(range(len(tests)))
    assert sum(tube.size.draw_ul for tube in pair.tubes) == pair.blood_ul
    assert sum(tests[n][tube.way][1] for tube in pair.tubes for n in tube.members) == pair.preference
    for tube in pair.tubes:
        assert sum(tests[n][tube.way][0] for n in tube.members) <= tube.size.cap_ul
        assert tube.size in shelf[tube.way].sizes
