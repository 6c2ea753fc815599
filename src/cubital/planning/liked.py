"""The search for fewest tubes, then the kinds that are liked, then blood: largest sizes first, then smaller ones.

A larger tube of the same kind never makes fewer tests fit, so what is left out, the number of tubes and the
preference are decided with the largest sizes alone. Of the packings that reach all three, the least
blood is then searched: as for fewest tubes, with these as the ceiling.
"""

from __future__ import annotations

from cubital.planning.assignment import ANY
from cubital.planning.cost import Cost
from cubital.planning.question import ENDLESS, Found, Question
from cubital.planning.search import search


def search_liked(question: Question, *, node_limit: int) -> Found:
    """The packing of fewest tubes, then least preference, then least blood; there is no limit of blood."""
    largest = _largest(question)
    first = search(question._replace(entries=tuple(question.entries[e] for e in largest)), node_limit=node_limit)
    if first.tube_of is None:
        return first
    first = first._replace(taken=tuple(largest[e] for e in first.taken))
    if len(largest) == len(question.entries):
        return first
    left, tubes, preference, _ = first.cost
    narrowed = question._replace(
        objective="fewest-tubes", ceiling=(left, tubes, preference), tests=_near(question, preference)
    )
    second = search(narrowed, node_limit=node_limit)
    nodes = first.nodes + second.nodes
    if second.tube_of is None:
        # It was cut before it met a packing again: the one with the largest sizes stands.
        return first._replace(bound=_lowered(first.bound), nodes=nodes, finished=False)
    is_proved = first.finished and second.finished
    bound = _liked(second.bound) if first.finished else _lowered(first.bound)
    return second._replace(cost=_liked(second.cost), bound=bound, nodes=nodes, finished=is_proved)


def _largest(question: Question) -> list[int]:
    """The entries that no uncounted entry of their lane has more room than: all that the first levels need."""
    best: dict[int, int] = {}
    for number, entry in enumerate(question.entries):
        known = best.get(entry.lane)
        is_free = question.stock.get(entry.item, ENDLESS) >= ENDLESS
        if is_free and (known is None or entry.cap_ul > question.entries[known].cap_ul):
            best[entry.lane] = number
    return [
        number
        for number, entry in enumerate(question.entries)
        if best.get(entry.lane, number) == number or entry.cap_ul > question.entries[best[entry.lane]].cap_ul
    ]


def _near(question: Question, preference: int) -> tuple[dict[int, tuple[int, int]], ...]:
    """The tests without the places that a packing of this preference cannot use."""
    if question.may_drop:
        return question.tests
    floors = [min((place for _, place in test.values()), default=ANY) for test in question.tests]
    spare = preference - sum(floors)
    return tuple(
        {lane: way for lane, way in test.items() if way[1] <= floor + spare}
        for test, floor in zip(question.tests, floors, strict=True)
    )


def _liked(cost: Cost) -> Cost:
    """A cost with its levels for fewest tubes as one with its levels for liked kinds."""
    return cost[0], cost[1], cost[3], cost[2]


def _lowered(bound: Cost) -> Cost:
    """This bound of the largest sizes as one of all sizes, which may take less blood."""
    return bound[0], bound[1], bound[2], 0
