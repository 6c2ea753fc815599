"""What to give up where blood is short: each cluster's best packing for every amount of blood.

Clusters of tests share no tube, so only the blood they take together joins them. For one cluster the
best packing as a function of its blood is a staircase: it changes only where a little less blood rules
out the last packing found. Costs are compared level by level and add up level by level, so exchanging
a cluster's packing for the one on its stair of the same blood or less never makes the whole worse: the
best whole is made of stairs. Stairs do not depend on the patient, and are kept with the shelf.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Generic, NamedTuple, TypeVar

_LEVEL = 24  # bits a level of a cost may take: tests, tubes, preferences and microlitres all fit


P = TypeVar("P")


class Step(NamedTuple, Generic[P]):
    """One packing of a cluster: its blood, its cost in one number, and the packing itself.

    Costs of clusters add up; the smaller number is the better cost, level by level.
    """

    blood_ul: int
    cost: int
    packing: P


class Stairs(Generic[P]):
    """The steps of one cluster, found when they are first needed.

    `descend` gives the best packing with at most so much blood, or None when there is none.
    """

    def __init__(self, descend: Callable[[int], Step[P] | None]) -> None:
        self._descend = descend
        # The best packing for any budget from its own blood up to the budget it was found for:
        # less room rules out other packings, never this one.
        self._known: list[tuple[int, int, Step[P]]] = []
        self._nothing_to = -1

    def steps(self, budget_ul: int) -> list[Step[P]]:
        """The steps from this budget down, each with less blood than the one before."""
        found = []
        while (step := self._at(budget_ul)) is not None:
            found.append(step)
            budget_ul = step.blood_ul - 1
        return found

    def _at(self, budget_ul: int) -> Step[P] | None:
        if budget_ul <= self._nothing_to:
            return None
        for least_ul, most_ul, step in self._known:
            if least_ul <= budget_ul <= most_ul:
                return step
        new = self._descend(budget_ul)
        if new is None:
            self._nothing_to = budget_ul
        else:
            self._known.append((new.blood_ul, budget_ul, new))
        return new


def one_number(levels: Sequence[int]) -> int:
    """These levels of a cost as one number that compares and adds like them.

    >>> one_number((0, 1, 500)) < one_number((0, 2, 0)) < one_number((1, 0, 0))
    True
    """
    number = 0
    for level in levels:
        number = number << _LEVEL | level
    return number


def best_within(flights: Sequence[Stairs[P]], budget_ul: int) -> list[Step[P]] | None:
    """One step of each staircase, of least cost in all, whose blood is at most the budget; None: none fits."""
    # Blood and cost of what the first clusters can take together: more blood only for a better cost.
    front: list[tuple[int, int, tuple[Step[P], ...]]] = [(0, 0, ())]
    for flight in flights:
        sums: list[tuple[int, int, tuple[Step[P], ...]]] = []
        steps = flight.steps(budget_ul)
        for spent_ul, cost, chosen in front:
            for step in steps:
                if spent_ul + step.blood_ul <= budget_ul:
                    sums.append((spent_ul + step.blood_ul, cost + step.cost, (*chosen, step)))
        sums.sort(key=lambda state: state[:2])
        front = []
        for state in sums:
            if not front or state[1] < front[-1][1]:
                front.append(state)
    return list(front[-1][2]) if front else None
