"""The exact packing: every test into one tube, at the least cost in the objective's order.

Three steps, each cheaper than the next and each with a proof:

1. Tests that may share (one draw, one group of benches) are packed apart from the rest. One tube for
   all of them is optimal whenever it exists (no packing has fewer tubes), or, for the least blood,
   whenever two of the smallest tubes already take as much.
2. What one tube cannot hold is split where no kind is shared. The best pair of tubes (`pairs`) is
   optimal by the same argument one step on; what two cannot hold is searched exactly (`search`).
3. If the parts together take more of a counted size than the stock holds, the parts that can use it
   are searched together. Parts apart are a relaxation, so when they fit the stock they are optimal.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from cubital.errors import PlanError
from cubital.planning.choices import Shelf, Size, Wanted, Ways
from cubital.planning.pairs import best_pair
from cubital.planning.search import ENDLESS, Entry, Question, search

NODE_LIMIT = 200_000


class Packed(NamedTuple):
    """One tube of a packing: its stock item, its way, and the numbers of the tests in it."""

    item: int
    way: int
    members: tuple[int, ...]


class Packing(NamedTuple):
    """The tubes, the tests left out, and what was proved; costs as (tubes, blood, preference).

    `bound` is never above the optimum in the objective's order; `finished` says that it was reached.
    """

    tubes: tuple[Packed, ...]
    dropped: tuple[int, ...]
    cost: tuple[int, int, int]
    bound: tuple[int, int, int]
    nodes: int
    finished: bool


class _Part(NamedTuple):
    """Some of the tests, packed: what `Packing` holds, and which tests these are."""

    members: tuple[int, ...]
    tubes: list[Packed]
    cost: tuple[int, int, int]
    bound: tuple[int, int, int]
    nodes: int
    finished: bool


def pack(
    shelf: Shelf,
    wanted: Sequence[Wanted],
    *,
    least_blood: bool,
    budget_ul: int | None = None,
    may_drop: bool = False,
    node_limit: int = NODE_LIMIT,
) -> Packing | None:
    """The optimal packing of these tests, or None when stock or budget cannot hold them all.

    `budget_ul` is the most blood the tubes may take. With `may_drop` tests are left out, the least
    urgent first and as few as possible, and the answer is never None.
    """
    parts = [
        part
        for members in _lots(wanted).values()
        for part in _pack_lot(shelf, wanted, members, least_blood, node_limit)
    ]
    total_ul = sum(part.cost[1] for part in parts)
    is_sound = all(part.tubes or not part.members for part in parts)
    if is_sound and _fits_stock(shelf, parts) and (budget_ul is None or total_ul <= budget_ul):
        return _joined(parts)
    if budget_ul is None and not may_drop and is_sound:
        return _share_stock(shelf, wanted, parts, least_blood, node_limit)
    everything = tuple(range(len(wanted)))
    return _search_part(shelf, wanted, everything, least_blood, node_limit, budget_ul=budget_ul, may_drop=may_drop)


def _lots(wanted: Sequence[Wanted]) -> dict[object, list[int]]:
    """The tests by what may share a tube at all."""
    lots: dict[object, list[int]] = {}
    for number, test in enumerate(wanted):
        lots.setdefault((number,) if test.own_tube else test.lot, []).append(number)
    return lots


def _pack_lot(
    shelf: Shelf, wanted: Sequence[Wanted], members: list[int], least_blood: bool, node_limit: int
) -> list[_Part]:
    """The parts of one lot, each optimal on its own under its own stock."""
    single = _one_tube(shelf, wanted, members, least_blood)
    if single is not None:
        return [single]
    parts = []
    for cluster in _clusters(wanted, members):
        part = _one_tube(shelf, wanted, cluster, least_blood) if len(cluster) < len(members) else None
        if part is None and len(cluster) > 1:
            part = _two_tubes(shelf, wanted, cluster, least_blood)
        if part is None:
            packing = _search_part(shelf, wanted, tuple(cluster), least_blood, node_limit)
            nothing = (0, 0, 0)
            part = (
                _Part(tuple(cluster), [], nothing, nothing, 0, True)
                if packing is None
                else _Part(
                    tuple(cluster),
                    list(packing.tubes),
                    packing.cost,
                    packing.bound,
                    packing.nodes,
                    packing.finished,
                )
            )
        parts.append(part)
    return parts


def _one_tube(shelf: Shelf, wanted: Sequence[Wanted], members: list[int], least_blood: bool) -> _Part | None:
    """All these tests in one tube, when that is optimal; None when it is not, or not known to be."""
    best = _cheapest_single(shelf, wanted, members)
    is_doubtful = best is not None and least_blood and len(members) > 1
    if is_doubtful and best is not None and best.cost[1] > 2 * _smallest_draw(shelf, wanted, members):
        return None
    return best


def _cheapest_single(shelf: Shelf, wanted: Sequence[Wanted], members: list[int]) -> _Part | None:
    """The one tube of least blood, then preference, that holds all these tests; None without any."""
    first = wanted[members[0]].ways
    best: tuple[int, int, int, int] | None = None
    for way, (need, place) in first.items():
        total, preference = need, place
        for number in members[1:]:
            more = wanted[number].ways.get(way)
            if more is None:
                break
            total += more[0]
            preference += more[1]
        else:
            for size in shelf.ways[way].sizes:
                if size.cap_ul >= total:
                    if best is None or (size.draw_ul, preference) < best[:2]:
                        best = (size.draw_ul, preference, size.item, way)
                    break
    if best is None:
        return None
    cost = (1, best[0], best[1])
    return _Part(tuple(members), [Packed(best[2], best[3], tuple(members))], cost, cost, 0, True)


def _two_tubes(shelf: Shelf, wanted: Sequence[Wanted], members: list[int], least_blood: bool) -> _Part | None:
    """All these tests in two tubes, when one tube is known not to be optimal and two are; else None.

    For the least blood, one tube competes with two, and more must be known to take no less.
    """
    pair = best_pair([wanted[number].ways for number in members], shelf.ways)
    best = _cheapest_single(shelf, wanted, members) if least_blood else None
    if pair is not None and (best is None or pair.blood_ul < best.cost[1]):
        cost = (2, pair.blood_ul, pair.preference)
        tubes = [Packed(tube.size.item, tube.way, tuple(members[n] for n in tube.members)) for tube in pair.tubes]
        best = _Part(tuple(members), tubes, cost, cost, 0, True)
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


def _smallest_draw(shelf: Shelf, wanted: Sequence[Wanted], members: Iterable[int]) -> int:
    return min(shelf.ways[way].sizes[0].draw_ul for number in members for way in wanted[number].ways)


def _clusters(wanted: Sequence[Wanted], members: Sequence[int]) -> list[list[int]]:
    """The tests split where no way is shared."""
    clusters: list[tuple[set[int], list[int]]] = []
    for number in members:
        ways, group = set(wanted[number].ways), [number]
        apart = []
        for other_ways, others in clusters:
            if ways.isdisjoint(other_ways):
                apart.append((other_ways, others))
            else:
                ways |= other_ways
                group = others + group
        clusters = [*apart, (ways, group)]
    return [sorted(group) for _, group in clusters]


def _fits_stock(shelf: Shelf, parts: Iterable[_Part]) -> bool:
    return not (shelf.stock and _overdrawn(shelf, parts))


def _overdrawn(shelf: Shelf, parts: Iterable[_Part]) -> set[int]:
    """The stock items that these parts together use up and more."""
    used: dict[int, int] = {}
    for part in parts:
        for tube in part.tubes:
            used[tube.item] = used.get(tube.item, 0) + 1
    return {item for item, count in used.items() if count > shelf.stock.get(item, ENDLESS)}


def _share_stock(
    shelf: Shelf, wanted: Sequence[Wanted], parts: list[_Part], least_blood: bool, node_limit: int
) -> Packing | None:
    """The parts that compete for an overdrawn size, searched together until the stock is kept."""
    while over := _overdrawn(shelf, parts):
        # Whatever could use an overdrawn size joins, until no part outside competes.
        joined = [part for part in parts if _may_use(shelf, wanted, part) & over]
        apart = [part for part in parts if part not in joined]
        members = tuple(sorted(number for part in joined for number in part.members))
        packing = _search_part(shelf, wanted, members, least_blood, node_limit)
        if packing is None:
            return None
        parts = [
            *apart,
            _Part(members, list(packing.tubes), packing.cost, packing.bound, packing.nodes, packing.finished),
        ]
    return _joined(parts)


def _may_use(shelf: Shelf, wanted: Sequence[Wanted], part: _Part) -> set[int]:
    return {size.item for number in part.members for way in wanted[number].ways for size in shelf.ways[way].sizes}


def _joined(parts: Sequence[_Part]) -> Packing:
    cost = tuple(map(sum, zip((0, 0, 0), *(part.cost for part in parts), strict=True)))
    bound = tuple(map(sum, zip((0, 0, 0), *(part.bound for part in parts), strict=True)))
    return Packing(
        tuple(tube for part in parts for tube in part.tubes),
        (),
        (cost[0], cost[1], cost[2]),
        (bound[0], bound[1], bound[2]),
        sum(part.nodes for part in parts),
        all(part.finished for part in parts),
    )


def _search_part(
    shelf: Shelf,
    wanted: Sequence[Wanted],
    members: tuple[int, ...],
    least_blood: bool,
    node_limit: int,
    *,
    budget_ul: int | None = None,
    may_drop: bool = False,
) -> Packing | None:
    """These tests searched together, over lanes: one lane for each way of each lot."""
    lanes: dict[tuple[object, int], int] = {}
    tests: list[Ways] = []
    totals: list[int] = []
    owns: list[bool] = []
    ways: list[int] = []
    for number in members:
        test = wanted[number]
        lot: object = (number,) if test.own_tube else test.lot
        by_lane: Ways = {}
        for way, (need, place) in test.ways.items():
            lane = lanes.setdefault((lot, way), len(lanes))
            if lane == len(totals):
                totals.append(0)
                owns.append(test.own_tube)
                ways.append(way)
            totals[lane] += need
            by_lane[lane] = (need, place)
        tests.append(by_lane)
    entries = [
        Entry(lane, size.draw_ul, size.cap_ul, size.item, 1 if owns[lane] else ENDLESS)
        for lane, way in enumerate(ways)
        for size in _useful_sizes(shelf, way, totals[lane])
    ]
    question = Question(
        tuple(tests), tuple(entries), shelf.stock, least_blood,
        tuple(wanted[number].priority for number in members), may_drop,
        ENDLESS if budget_ul is None else budget_ul,
    )  # fmt: skip
    found = search(question, node_limit=node_limit)
    if found.tube_of is None and not found.finished:
        raise PlanError(
            f"the exact search was cut off after {found.nodes} steps without a packing; "
            "split the order, or restock so that the choice is less tight"
        )
    if found.tube_of is None:
        return None
    held: list[list[int]] = [[] for _ in found.taken]
    for number, tube in zip(members, found.tube_of, strict=True):
        if tube >= 0:
            held[tube].append(number)
    filled = [(e, inside) for e, inside in zip(found.taken, held, strict=True) if inside]
    tubes = [Packed(entries[e].item, ways[entries[e].lane], tuple(inside)) for e, inside in filled]
    dropped = tuple(n for n, tube in zip(members, found.tube_of, strict=True) if tube < 0)
    # A cut search may have taken a tube that it then left empty: it is not drawn.
    cost = (len(filled), sum(entries[e].draw_ul for e, _ in filled), found.cost[5])
    return Packing(
        tuple(tubes), dropped, cost, _plain(found.bound, least_blood),
        found.nodes, found.finished,
    )  # fmt: skip


def _plain(cost: tuple[int, ...], least_blood: bool) -> tuple[int, int, int]:
    return (cost[4], cost[3], cost[5]) if least_blood else (cost[3], cost[4], cost[5])


def _useful_sizes(shelf: Shelf, way: int, total_ul: int) -> list[Size]:
    """The sizes worth trying: none larger than the smallest uncounted one that holds everything."""
    useful = []
    for size in shelf.ways[way].sizes:
        useful.append(size)
        if size.cap_ul >= total_ul and size.item not in shelf.stock:
            break
    return useful
