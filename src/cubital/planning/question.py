"""What the exact search is asked and what it answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from cubital.planning.cost import Cost, Levels, PackObjective

ENDLESS = 1 << 40


class Entry(NamedTuple):
    """A tube that may be taken: the lane of tests it serves, its draw and capacity, and its stock item.

    `most` is how many the lane can use: one where a test stands alone.
    """

    lane: int
    draw_ul: int
    cap_ul: int
    item: int
    most: int


class Question(NamedTuple):
    """A packing question: each test's need and place by lane, and the tubes that may be taken.

    `stock` limits the items it names. With `may_drop` a test may be left out, at a cost above every
    other by its rank (none given: all of the least); `budget_ul` is the most blood that may be drawn.
    `ceiling` (left out, tubes, preference) is what some packing reaches; with it the objective is
    `fewest-tubes`, and of packings that leave out as much and take as many tubes only those count that have
    no larger a preference.
    """

    tests: tuple[dict[int, tuple[int, int]], ...]
    entries: tuple[Entry, ...]
    stock: dict[int, int]
    objective: PackObjective
    ranks: tuple[int, ...] = ()
    may_drop: bool = False
    budget_ul: int = ENDLESS
    ceiling: Levels | None = None


class Found(NamedTuple):
    """An answer: the tubes taken (entry numbers), the tube of each test (-1: left out), what is proved.

    `tube_of` None with `finished` true means that no packing exists; `bound` is never above the
    optimum, and equals `cost` when `finished`. Costs are what is left out, then the objective's levels.
    """

    taken: tuple[int, ...]
    tube_of: tuple[int, ...] | None
    cost: Cost
    bound: Cost
    nodes: int
    finished: bool


def with_drops(cost: Cost, must: int, droppable: int, losses: Sequence[int]) -> Cost:
    """This cost with `must` more tests left out, of the least rank that may be."""
    if not must:
        return cost
    least = sorted([losses[number] for number in bits(droppable)])[:must]
    return cost[0] + sum(least), cost[1], cost[2], cost[3]


def bits(mask: int) -> list[int]:
    """The positions of the set bits, lowest first.

    >>> bits(0b1011)
    [0, 1, 3]
    """
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found
