"""What a packing costs, level by level: what is left out by rank, then the objective's three levels."""

from __future__ import annotations

from typing import Literal

from cubital.errors import PlanError

# `fewest-tubes`: tubes, blood, preference; `least-blood`: blood, tubes, preference;
# `liked-kinds`: tubes, preference, blood.
PackObjective = Literal["fewest-tubes", "least-blood", "liked-kinds"]

# What is left out (the sum of losses), then three levels in the objective's order; or the three in plain order.
Cost = tuple[int, int, int, int]
Levels = tuple[int, int, int]

LEAST_RANK = 254
MOST_TESTS = 255  # so many of one rank never carry into the rank above
_BITS = 8


def loss_of(rank: int) -> int:
    """What it costs to leave out one test of this rank: more than all tests of every rank after it.

    Rank 0 is the most important. Raises `PlanError` for a number that is no rank, so that none can
    stand for "never" or for "first of all".

    >>> 255 * loss_of(1) < loss_of(0), 255 * loss_of(254), loss_of(253)
    (True, 255, 256)
    """
    if not 0 <= rank <= LEAST_RANK:
        raise PlanError(f"found rank {rank}; expected 0 (left out last) to {LEAST_RANK}; give each test one of these")
    return 1 << _BITS * (LEAST_RANK - rank)


def levels_of(objective: PackObjective, tubes: int, blood_ul: int, preference: int) -> Levels:
    """Tubes, blood and preference in the objective's order.

    >>> levels_of("least-blood", 2, 5000, 1), levels_of("liked-kinds", 2, 5000, 1)
    ((5000, 2, 1), (2, 1, 5000))
    """
    if objective == "fewest-tubes":
        return tubes, blood_ul, preference
    if objective == "least-blood":
        return blood_ul, tubes, preference
    return tubes, preference, blood_ul


def plain_of(objective: PackObjective, cost: Cost) -> Levels:
    """The three levels of a cost as (tubes, blood, preference).

    >>> plain_of("liked-kinds", (0, 2, 1, 5000))
    (2, 5000, 1)
    """
    _, first, second, third = cost
    if objective == "fewest-tubes":
        return first, second, third
    if objective == "least-blood":
        return second, first, third
    return first, third, second
