"""The best two tubes for tests that one tube cannot hold: the choice that most orders need.

Two ways are looked at when together they take every test. A test that only one of them takes is
forced there; every other would rather be where its place is better. Where two sizes hold them all
as they would rather be, no assignment to these ways has a smaller preference. Sizes of less blood
that do not are doubtful. They are settled exactly, cheapest first, until the best pair known costs
no more than the least that any doubtful one could: then it is the best of all pairs.

Where liked kinds come before blood, the largest two sizes of two ways say what preference can be had
there; of the ways with the least, the sizes of less blood that still reach it are settled.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from cubital.planning.assignment import ANY, Placed, assign
from cubital.planning.choices import Size, Way, Ways


class Filled(NamedTuple):
    """One tube: its size, its way and the indices of the tests in it."""

    size: Size
    way: int
    members: tuple[int, ...]


class Pair(NamedTuple):
    """Two tubes that hold every test, their blood and the sum of places."""

    blood_ul: int
    preference: int
    tubes: tuple[Filled, Filled]


class _Offer(NamedTuple):
    """Two sizes: their blood, a preference that they do not undercut, and their ways."""

    blood_ul: int
    preference: int
    one: int
    two: int
    first: Size
    second: Size


def best_pair(tests: Sequence[Ways], ways: Sequence[Way]) -> Pair | None:
    """Of all pairs of tubes that hold these tests, the least blood and then preference; None without any.

    Stock is not counted: every pair that a stock allows is among those looked at.
    """
    best: _Offer | None = None
    doubtful: list[_Offer] = []
    for one, two in _couples(tests):
        if one == two:
            doubtful += _alike(tests, one, ways[one].sizes)
            continue
        sure = _apart(_load(tests, one, two), one, two, ways[one].sizes, ways[two].sizes, doubtful)
        if sure is not None and (best is None or sure < best):
            best = sure
    tube_of = None
    doubtful.sort()
    for offer in doubtful:
        if best is not None and offer[:2] >= best[:2]:
            break
        placed = _settle(tests, offer, ANY if best is None or offer.blood_ul < best.blood_ul else best.preference)
        if placed is not None:
            best, tube_of = offer._replace(preference=placed.preference), placed.tube_of
    if best is None:
        return None
    return _filled(best, tube_of or [_rather(test, best.one, best.two) for test in tests])


def best_liked_pair(tests: Sequence[Ways], ways: Sequence[Way]) -> Pair | None:
    """Of all pairs of tubes that hold these tests, the least preference and then blood; None without any."""
    couples = sorted((_floor(tests, one, two), one, two) for one, two in _couples(tests))
    best: tuple[_Offer, Sequence[int]] | None = None
    for floor, one, two in couples:
        # Invariant: every couple of a smaller floor is settled.
        if best is not None and floor > best[0].preference:
            break
        best = _best_sizes(tests, one, two, ways[one].sizes, ways[two].sizes, best)
    return None if best is None else _filled(*best)


def _best_sizes(
    tests: Sequence[Ways], one: int, two: int, firsts: Sequence[Size], seconds: Sequence[Size],
    best: tuple[_Offer, Sequence[int]] | None,
) -> tuple[_Offer, Sequence[int]] | None:  # fmt: skip
    """The better of the best known and of two sizes of these ways: least preference, then blood."""
    offers = _alike(tests, one, firsts) if one == two else []
    if one != two:
        load = _load(tests, one, two)
        sure = _apart(load, one, two, firsts, seconds, offers)
        if sure is not None and (best is None or (sure.preference, sure.blood_ul) < _liking(best[0])):
            best = sure, [_rather(test, one, two) for test in tests]
    if not offers:
        return best
    if best is None or best[0].preference > offers[0].preference:
        widest = max(offers, key=lambda offer: (offer.first.cap_ul + offer.second.cap_ul, -offer.blood_ul))
        placed = _settle(tests, widest, ANY if best is None else best[0].preference + 1)
        if placed is None:
            return best
        met = widest._replace(preference=placed.preference)
        if best is None or _liking(met) < _liking(best[0]):
            best = met, placed.tube_of
    for offer in sorted(offers):
        if offer.blood_ul >= best[0].blood_ul:
            break
        placed = _settle(tests, offer, best[0].preference + 1)
        if placed is not None:
            return offer._replace(preference=placed.preference), placed.tube_of
    return best


def _liking(offer: _Offer) -> tuple[int, int]:
    return offer.preference, offer.blood_ul


def _couples(tests: Sequence[Ways]) -> Iterator[tuple[int, int]]:
    """Two ways, or one twice, that together take every test."""
    masks: dict[int, int] = {}
    bit = 1
    for test in tests:
        for way in test:
            masks[way] = masks.get(way, 0) | bit
        bit <<= 1
    scarce = min(tests, key=len)
    for one in scarce:
        rest = bit - 1 & ~masks[one]
        for two, mask in masks.items():
            if not rest & ~mask and (two >= one or two not in scarce):
                yield one, two


def _floor(tests: Sequence[Ways], one: int, two: int) -> int:
    """No packing into these ways has a smaller preference."""
    return sum([min([test[way][1] for way in (one, two) if way in test]) for test in tests])


class _Load(NamedTuple):
    """What must go into the first and the second way, what would rather, their places, and the least need of all."""

    forced_one: int
    forced_two: int
    rather_one: int
    rather_two: int
    preference: int
    least: int


def _load(tests: Sequence[Ways], one: int, two: int) -> _Load:
    forced_one = forced_two = rather_one = rather_two = preference = least = 0
    for test in tests:
        here, there = test.get(one), test.get(two)
        if here is None or there is None:
            need, place = here or there or (0, 0)
            if here is None:
                forced_two += need
            else:
                forced_one += need
            preference += place
            continue
        least += min(here[0], there[0])
        if here[1] < there[1]:
            rather_one += here[0]
            preference += here[1]
        else:
            rather_two += there[0]
            preference += there[1]
    return _Load(forced_one, forced_two, rather_one, rather_two, preference, least + forced_one + forced_two)


def _apart(
    load: _Load, one: int, two: int, firsts: Sequence[Size], seconds: Sequence[Size], doubtful: list[_Offer]
) -> _Offer | None:
    """The least sizes that hold every test where it would rather be; smaller ones go to `doubtful`."""
    forced_one, forced_two, rather_one, rather_two, preference, least = load
    first = _smallest(firsts, forced_one + rather_one)
    second = _smallest(seconds, forced_two + rather_two)
    sure = None
    if first is not None and second is not None:
        sure = _Offer(first.draw_ul + second.draw_ul, preference, one, two, first, second)
    if rather_one or rather_two:
        for first in firsts:
            if first.cap_ul < forced_one:
                continue
            for second in seconds:
                blood_ul = first.draw_ul + second.draw_ul
                if sure is not None and blood_ul >= sure.blood_ul:
                    break
                if second.cap_ul >= forced_two and first.cap_ul + second.cap_ul >= least:
                    doubtful.append(_Offer(blood_ul, preference, one, two, first, second))
    return sure


def _alike(tests: Sequence[Ways], way: int, sizes: Sequence[Size]) -> list[_Offer]:
    """Two sizes of one way: every test has the same place in both."""
    need_ul = sum([test[way][0] for test in tests])
    preference = sum([test[way][1] for test in tests])
    return [
        _Offer(first.draw_ul + second.draw_ul, preference, way, way, first, second)
        for number, first in enumerate(sizes)
        for second in sizes[: number + 1]
        if first.cap_ul + second.cap_ul >= need_ul
    ]


def _smallest(sizes: Sequence[Size], load_ul: int) -> Size | None:
    for size in sizes:
        if size.cap_ul >= load_ul:
            return size
    return None


def _rather(test: Ways, one: int, two: int) -> int:
    """Which of two ways this test would rather take: 0 or 1."""
    here, there = test.get(one), test.get(two)
    return int(here is None or (there is not None and there[1] <= here[1]))


def _settle(tests: Sequence[Ways], offer: _Offer, below: int) -> Placed | None:
    """The best assignment to these two sizes with a preference under `below`, or None."""
    options = [
        [(tube, *test[way]) for tube, way in enumerate((offer.one, offer.two)) if way in test] for test in tests
    ]
    placed = assign(options, (offer.first.cap_ul, offer.second.cap_ul), (offer.one, offer.two), below=below)
    return placed if isinstance(placed, Placed) else None


def _filled(best: _Offer, tube_of: Sequence[int]) -> Pair:
    members: tuple[list[int], list[int]] = [], []
    for number, tube in enumerate(tube_of):
        members[tube].append(number)
    first = Filled(best.first, best.one, tuple(members[0]))
    return Pair(best.blood_ul, best.preference, (first, Filled(best.second, best.two, tuple(members[1]))))
