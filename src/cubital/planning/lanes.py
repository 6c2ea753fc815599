"""Tests that are searched together: one lane for each way that a group of them may share."""

from __future__ import annotations

from collections.abc import Sequence

from cubital.errors import PlanError
from cubital.planning.choices import Shelf, Size, Wanted, Ways
from cubital.planning.cost import PackObjective, plain_of
from cubital.planning.liked import search_liked
from cubital.planning.parts import Packed, Packing
from cubital.planning.question import ENDLESS, Entry, Question
from cubital.planning.search import search


def search_together(
    shelf: Shelf,
    wanted: Sequence[Wanted],
    members: tuple[int, ...],
    objective: PackObjective,
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
        tuple(tests), tuple(entries), shelf.stock, objective,
        tuple(wanted[number].rank for number in members), may_drop,
        ENDLESS if budget_ul is None else budget_ul,
    )  # fmt: skip
    # Where blood is limited the largest sizes may not be had, so all levels are searched at once.
    run = search_liked if objective == "liked-kinds" and budget_ul is None else search
    found = run(question, node_limit=node_limit)
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
    preference = plain_of(objective, found.cost)[2]
    cost = (len(filled), sum(entries[e].draw_ul for e, _ in filled), preference)
    return Packing(tuple(tubes), dropped, cost, plain_of(objective, found.bound), found.nodes, found.finished)


def _useful_sizes(shelf: Shelf, way: int, total_ul: int) -> list[Size]:
    """The sizes worth trying: none larger than the smallest uncounted one that holds everything."""
    useful = []
    for size in shelf.ways[way].sizes:
        useful.append(size)
        if size.cap_ul >= total_ul and size.item not in shelf.stock:
            break
    return useful
