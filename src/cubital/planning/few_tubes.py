"""One tube or two for all tests of a cluster, where that is known to be optimal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cubital.planning.choices import Shelf, Wanted
from cubital.planning.cost import PackObjective
from cubital.planning.pairs import best_liked_pair, best_pair
from cubital.planning.parts import Packed, Part
from cubital.planning.question import ENDLESS


def alone_part(wanted: Sequence[Wanted], members: Sequence[int], objective: PackObjective) -> Part:
    """These tests, each in the tube that it takes by itself: optimal where none may share."""
    tubes, blood_ul, preference = [], 0, 0
    for number in members:
        alone = wanted[number].alone
        if alone is not None:
            draw_ul, place, item, way = alone.liked if objective == "liked-kinds" else alone.cheapest
            tubes.append(Packed(item, way, (number,)))
            blood_ul += draw_ul
            preference += place
    cost = (len(tubes), blood_ul, preference)
    return Part(tuple(members), tubes, cost, cost, 0, True)


def one_tube(shelf: Shelf, wanted: Sequence[Wanted], members: list[int], objective: PackObjective) -> Part | None:
    """All these tests in one tube, when that is optimal; None when it is not, or not known to be."""
    if objective == "liked-kinds":
        return liked_single(shelf, wanted, members)
    best = _cheapest_single(shelf, wanted, members)
    is_doubtful = best is not None and objective == "least-blood" and len(members) > 1
    if is_doubtful and best is not None and best.cost[1] > 2 * smallest_draw(shelf, wanted, members):
        return None
    return best


def _cheapest_single(shelf: Shelf, wanted: Sequence[Wanted], members: Sequence[int]) -> Part | None:
    """The one tube of least blood, then preference, that holds all these tests; None without any."""
    others = [wanted[number].ways for number in members]
    first = others.pop(0)
    best: tuple[int, int, int, int] | None = None
    for way, (total, preference) in first.items():
        for ways in others:
            if way not in ways:
                break
            need, place = ways[way]
            total += need
            preference += place
        else:
            for size in shelf.ways[way].sizes:
                if size.cap_ul >= total:
                    if best is None or (size.draw_ul, preference) < best[:2]:
                        best = (size.draw_ul, preference, size.item, way)
                    break
    if best is None:
        return None
    cost = (1, best[0], best[1])
    return Part(tuple(members), [Packed(best[2], best[3], tuple(members))], cost, cost, 0, True)


def liked_single(
    shelf: Shelf, wanted: Sequence[Wanted], members: Sequence[int], budget_ul: int = ENDLESS
) -> Part | None:
    """The one tube within this blood of least preference, then blood, that holds all these tests."""
    best: tuple[int, int, int, int] | None = None
    others = [wanted[number].ways for number in members]
    first = others.pop(0)
    for way, (total, preference) in first.items():
        for ways in others:
            if way not in ways:
                break
            need, place = ways[way]
            total += need
            preference += place
        else:
            if best is not None and preference > best[0]:
                continue
            for size in shelf.ways[way].sizes:
                if total <= size.cap_ul and size.draw_ul <= budget_ul:
                    if best is None or (preference, size.draw_ul) < best[:2]:
                        best = (preference, size.draw_ul, size.item, way)
                    break
    if best is None:
        return None
    cost = (1, best[1], best[0])
    return Part(tuple(members), [Packed(best[2], best[3], tuple(members))], cost, cost, 0, True)


def two_tubes(shelf: Shelf, wanted: Sequence[Wanted], members: list[int], objective: PackObjective) -> Part | None:
    """All these tests in two tubes, when one tube is known not to be optimal and two are; else None.

    For the least blood, one tube competes with two, and more must be known to take no less.
    """
    least_blood = objective == "least-blood"
    choose = best_liked_pair if objective == "liked-kinds" else best_pair
    pair = choose([wanted[number].ways for number in members], shelf.ways)
    best = _cheapest_single(shelf, wanted, members) if least_blood else None
    if pair is not None and (best is None or pair.blood_ul < best.cost[1]):
        cost = (2, pair.blood_ul, pair.preference)
        tubes = [Packed(tube.size.item, tube.way, tuple(members[n] for n in tube.members)) for tube in pair.tubes]
        best = Part(tuple(members), tubes, cost, cost, 0, True)
    if best is None or (least_blood and _may_more_take_less(shelf, wanted, members, best.cost[1])):
        return None
    return best


def _may_more_take_less(shelf: Shelf, wanted: Sequence[Wanted], members: list[int], blood_ul: int) -> bool:
    """Whether three or more tubes might hold these tests with less blood: only False is certain.

    Four of the smallest take too much, or it might. Three might when any three together less in draw
    have room for what every test needs at least.
    """
    roomiest: dict[int, int] = {}
    for way in {way for number in members for way in wanted[number].ways}:
        for size in shelf.ways[way].sizes:
            if size.cap_ul > roomiest.get(size.draw_ul, 0):
                roomiest[size.draw_ul] = size.cap_ul
    sizes = sorted(roomiest.items())
    if 4 * sizes[0][0] < blood_ul:
        return True
    need_ul = sum(min(need for need, _ in wanted[number].ways.values()) for number in members)
    for i, (first_ul, first_cap_ul) in enumerate(sizes):
        for j, (second_ul, second_cap_ul) in enumerate(sizes[i:], start=i):
            left_ul = blood_ul - first_ul - second_ul
            if left_ul <= second_ul:
                break
            for third_ul, third_cap_ul in sizes[j:]:
                if third_ul >= left_ul:
                    break
                if first_cap_ul + second_cap_ul + third_cap_ul >= need_ul:
                    return True
    return False


def smallest_tube(shelf: Shelf, wanted: Sequence[Wanted], members: Sequence[int]) -> Part | None:
    """The one tube for all these tests that no packing of them betters by either objective; None without one.

    No tube that any of them accepts takes less blood, so neither fewer tubes nor less blood hold them all.
    """
    best = _cheapest_single(shelf, wanted, members)
    return best if best is not None and best.cost[1] == smallest_draw(shelf, wanted, members) else None


def smallest_draw(shelf: Shelf, wanted: Sequence[Wanted], members: Iterable[int]) -> int:
    """The least blood that a tube for any of these tests takes; endless where they accept none."""
    draws = [shelf.ways[way].sizes[0].draw_ul for number in members for way in wanted[number].ways]
    return min(draws, default=ENDLESS)
