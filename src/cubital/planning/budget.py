"""The packing within a budget of blood: every cluster down its stairs, and the best of each together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import TypeVar

from cubital.errors import PlanError
from cubital.planning.choices import Shelf, Wanted
from cubital.planning.clusters import clusters, lots
from cubital.planning.cost import PackObjective, levels_of, loss_of
from cubital.planning.few_tubes import liked_single, smallest_draw, smallest_tube
from cubital.planning.lanes import search_together
from cubital.planning.parts import Packed, Packing, Part, joined, overdrawn, part_of
from cubital.planning.question import ENDLESS
from cubital.planning.stairs import Stairs, Step, best_within, one_number

MOST_IN_A_CLUSTER = 24
_MOST_KEPT = 30_000
P = TypeVar("P")


class TooLarge(Exception):
    """The whole is better searched at once: one cluster, a large one, a scarce size, or a search that was cut."""


def pack_within(
    shelf: Shelf, wanted: Sequence[Wanted], budget_ul: int, objective: PackObjective, may_drop: bool, node_limit: int
) -> list[Part] | None:
    """The parts of the optimal packing within this blood, stock counted in each cluster alone.

    None when no packing is within it. Raises `TooLarge` where this is not the way to find out.
    """
    groups = [cluster for members in lots(wanted).values() for cluster in clusters(wanted, members)]
    tests = [[wanted[n] for n in group] for group in groups]
    if len(groups) <= 1 or max(map(len, groups)) > MOST_IN_A_CLUSTER or any(_is_scarce(shelf, each) for each in tests):
        raise TooLarge
    flights = [_stairs(shelf, each, objective, may_drop, node_limit) for each in tests]
    chosen = best_within(flights, budget_ul)
    if chosen is None:
        return None
    parts = [_placed(step, group) for step, group in zip(chosen, groups, strict=True)]
    # Clusters that each keep to the stock are a relaxation of the whole: optimal unless they overdraw it together.
    if shelf.stock and overdrawn(shelf, parts):
        raise TooLarge
    return parts


def least_blood_ul(shelf: Shelf, wanted: Sequence[Wanted]) -> int:
    """No packing of all these tests takes less blood.

    Each lot takes at least the smallest tube of its most demanding test, and at least what its tests take
    of the blood of a tube by their shares of its room. Endless where a test fits no tube.
    """
    total_ul = 0
    for members in lots(wanted).values():
        shares_ul = most_ul = 0
        for number in members:
            fitting = [
                (size.draw_ul, need_ul * size.draw_ul // size.cap_ul)
                for way, (need_ul, _) in wanted[number].ways.items()
                for size in shelf.ways[way].sizes
                if size.cap_ul >= need_ul
            ]
            shares_ul += min([share for _, share in fitting], default=ENDLESS)
            most_ul = max(most_ul, min([draw for draw, _ in fitting], default=ENDLESS))
        total_ul += max(shares_ul, most_ul)
    return total_ul


def _is_scarce(shelf: Shelf, wanted: Sequence[Wanted]) -> bool:
    """Whether some counted size could run out within these tests, which makes each step slow.

    Tests take at most as many of a size as there are of them that it may serve.
    """
    scarce = {item for item, count in shelf.stock.items() if count < len(wanted)}
    if not scarce:
        return False
    served = Counter(
        item for test in wanted for item in {size.item for way in test.ways for size in shelf.ways[way].sizes} & scarce
    )
    return any(count > shelf.stock[item] for item, count in served.items())


def _stairs(
    shelf: Shelf, tests: list[Wanted], objective: PackObjective, may_drop: bool, node_limit: int
) -> Stairs[Packing]:
    """The stairs of these tests, from the shelf when they were walked before."""
    key = (tuple((test.rank, tuple(test.ways.items())) for test in tests), objective, may_drop, node_limit)

    def descend(budget_ul: int) -> Step[Packing] | None:
        return _descend(shelf, tests, objective, may_drop, node_limit, budget_ul)

    return kept_stairs(shelf, key, descend)


def kept_stairs(shelf: Shelf, key: object, descend: Callable[[int], Step[P] | None]) -> Stairs[P]:
    """The stairs of this key, from the shelf when they were walked before; all are forgotten when they are too many."""
    found: Stairs[P] | None = shelf.stairs.get(key)
    if found is None:
        if len(shelf.stairs) >= _MOST_KEPT:
            shelf.stairs.clear()
        found = shelf.stairs[key] = Stairs(descend)
    return found


def _descend(
    shelf: Shelf, tests: list[Wanted], objective: PackObjective, may_drop: bool, node_limit: int, budget_ul: int
) -> Step[Packing] | None:
    """The best packing of these tests with at most this blood."""
    members = tuple(range(len(tests)))
    packing: Packing | None
    if may_drop and budget_ul < smallest_draw(shelf, tests, members):
        nothing = (0, 0, 0)
        packing = Packing((), members, nothing, nothing, 0, True)
        return _step(tests, packing, objective)
    single = (
        liked_single(shelf, tests, members, budget_ul)
        if objective == "liked-kinds"
        else smallest_tube(shelf, tests, members)
    )
    if single is not None and single.cost[1] <= budget_ul:
        return _step(tests, joined([single]), objective)
    try:
        packing = search_together(
            shelf, tests, members, objective, node_limit, budget_ul=budget_ul, may_drop=may_drop
        )
    except PlanError as cut:
        raise TooLarge from cut
    if packing is None:
        return None
    if not packing.finished:
        raise TooLarge
    return _step(tests, packing, objective)


def _step(tests: list[Wanted], packing: Packing, objective: PackObjective) -> Step[Packing]:
    left = sum(loss_of(tests[number].rank) for number in packing.dropped)
    return Step(packing.cost[1], one_number((left, *levels_of(objective, *packing.cost))), packing)


def _placed(step: Step[Packing], group: list[int]) -> Part:
    """This step's packing with the tests numbered as in the order."""
    packing = step.packing
    return part_of(
        packing._replace(
            tubes=tuple(Packed(t.item, t.way, tuple(group[n] for n in t.members)) for t in packing.tubes),
            dropped=tuple(group[n] for n in packing.dropped),
        ),
        tuple(group),
    )
