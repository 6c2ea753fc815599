"""The packing of all draws of a plan with the blood that clears their way, proved.

Draws share only the blood and the stock. Each is packed apart (`clearing`), and where blood is short each comes down
its stairs (`stairs`). If together they keep to the stock, they are optimal, for apart is a relaxation of the whole. If
they take more of a size than there is, any packing that does not has a draw that takes less of it than it does here: so
each of these draws in turn is allowed one piece less and all are packed apart again, the least cost first (Hart,
Nilsson, Raphael 1968). The first packing within the stock is optimal.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from heapq import heappop, heappush
from itertools import count
from typing import NamedTuple

from cubital.planning.budget import kept_stairs
from cubital.planning.choices import Shelf, Wanted
from cubital.planning.clearing import Cleared, Clearing, How, OneDraw, cleared_of
from cubital.planning.cost import Levels, PackObjective
from cubital.planning.packing import pack
from cubital.planning.parts import joined, overdrawn, part_of
from cubital.planning.sequence import Sequence as DrawOrder
from cubital.planning.stairs import Stairs, Step, best_within, one_number

__all__ = ["Cleared", "Clearing", "pack_cleared"]

_MOST_TURNS = 400
_NOTHING_OWED = Clearing()
# For each draw, by its place, the most pieces of a stock item that it may take: (draw, item, pieces).
_Allowed = frozenset[tuple[int, int, int]]


class _Turn(NamedTuple):
    """Every draw packed apart with what it is allowed: the cost in all, and a step for each draw."""

    cost: int
    allowed: _Allowed
    steps: list[Step[Cleared]]


def pack_cleared(
    shelf: Shelf,
    wanted: Sequence[Wanted],
    clearings: Mapping[int, Clearing],
    draw_order: DrawOrder,
    *,
    objective: PackObjective,
    budget_ul: int | None,
    may_drop: bool,
    node_limit: int,
) -> Cleared | None:
    """The optimal packing with what its draws owe, within `budget_ul`; None when nothing holds all these tests."""
    owing = {draw: clearing for draw, clearing in clearings.items() if clearing.always_ul or clearing.ratio_ul}
    how = How(objective, may_drop, node_limit)
    if not wanted or (not owing and (budget_ul is None or not shelf.stock)):
        packing = pack(
            shelf, wanted, objective=objective, budget_ul=budget_ul, may_drop=may_drop, node_limit=node_limit
        )
        return None if packing is None else cleared_of(packing, 0)
    draws = sorted({test.draw for test in wanted})
    if len(draws) == 1:
        return OneDraw(shelf, owing.get(draws[0], _NOTHING_OWED), draw_order, how).pack(wanted, budget_ul)
    return _Draws(shelf, wanted, owing, draw_order, how).pack(budget_ul)


class _Draws:
    """The draws of some tests, packed apart until together they keep to the stock."""

    def __init__(
        self, shelf: Shelf, wanted: Sequence[Wanted], clearings: Mapping[int, Clearing], draw_order: DrawOrder, how: How
    ) -> None:
        self._shelf = shelf
        self._draw_order = draw_order
        self._how = how
        draws = sorted({test.draw for test in wanted})
        self._members = [[n for n, test in enumerate(wanted) if test.draw == draw] for draw in draws]
        self._tests = [[wanted[n] for n in members] for members in self._members]
        self._clearings = [clearings.get(draw, _NOTHING_OWED) for draw in draws]
        self._shelves: dict[_Allowed, Shelf] = {frozenset(): shelf}
        self._free: dict[tuple[int, _Allowed], Step[Cleared] | None] = {}

    def pack(self, budget_ul: int | None) -> Cleared | None:
        """The best of all draws together."""
        number = count()
        first = self._turn(frozenset(), budget_ul)
        if first is None:
            return None
        open_turns = [(first.cost, next(number), first)]
        seen = {first.allowed}
        while open_turns:
            _, _, turn = heappop(open_turns)
            over = self._overdrawn(turn)
            if over is None:
                return self._joined(turn, turn)
            if len(seen) >= _MOST_TURNS:
                return self._dive(turn, budget_ul)
            for allowed in self._less(turn, over):
                if allowed not in seen:
                    seen.add(allowed)
                    child = self._turn(allowed, budget_ul)
                    if child is not None:
                        heappush(open_turns, (child.cost, next(number), child))
        return None

    def _dive(self, least: _Turn, budget_ul: int | None) -> Cleared | None:
        """A packing within the stock from this turn down, not proved; None where none is found."""
        turn: _Turn | None = least
        while turn is not None:
            over = self._overdrawn(turn)
            if over is None:
                return self._joined(turn, least)
            children = [self._turn(allowed, budget_ul) for allowed in self._less(turn, over)]
            turn = min((child for child in children if child is not None), key=_cost_of, default=None)
        return None

    def _turn(self, allowed: _Allowed, budget_ul: int | None) -> _Turn | None:
        places = range(len(self._tests))
        mine = [frozenset(one for one in allowed if one[0] == place) for place in places]
        if budget_ul is None:
            tops = [self._top(place, mine[place]) for place in places]
            steps = [step for step in tops if step is not None]
        else:
            steps = best_within([self._stairs(place, mine[place]) for place in places], budget_ul) or []
        if len(steps) < len(places):
            return None
        return _Turn(sum([step.cost for step in steps]), allowed, steps)

    def _top(self, place: int, mine: _Allowed) -> Step[Cleared] | None:
        """The best of one draw, whatever blood it takes."""
        if (place, mine) not in self._free:
            self._free[place, mine] = self._step(*self._draw(place, mine), None)
        return self._free[place, mine]

    def _stairs(self, place: int, mine: _Allowed) -> Stairs[Cleared]:
        """The stairs of one draw, from the shelf when they were walked before."""
        draw, tests = self._draw(place, mine)
        like = tuple([(test.rank, test.lot[1], test.own_tube, tuple(test.ways.items())) for test in tests])
        key = (like, self._clearings[place], self._how)
        return kept_stairs(self._shelf_with(mine), key, lambda budget_ul: self._step(draw, tests, budget_ul))

    def _draw(self, place: int, mine: _Allowed) -> tuple[OneDraw, list[Wanted]]:
        """One draw with what it is allowed, and its tests with the ways that are left."""
        shelf, tests = self._shelf_with(mine), self._tests[place]
        if mine:
            tests = [shelf.left_for(test) for test in tests]
        return OneDraw(shelf, self._clearings[place], self._draw_order, self._how), tests

    def _step(self, draw: OneDraw, tests: list[Wanted], budget_ul: int | None) -> Step[Cleared] | None:
        if not self._how.may_drop and not all(test.ways for test in tests):
            return None
        cleared = draw.pack(tests, budget_ul)
        if cleared is None:
            return None
        return Step(cleared.cost[1], one_number(self._how.key(cleared.cost, cleared.packing, tests)), cleared)

    def _shelf_with(self, allowed: _Allowed) -> Shelf:
        """The shelf with no more of these items than one draw is allowed."""
        found = self._shelves.get(allowed)
        if found is None:
            found = self._shelves[allowed] = self._shelf.with_less({item: pieces for _, item, pieces in allowed})
        return found

    def _overdrawn(self, turn: _Turn) -> int | None:
        """One stock item of which the draws of this turn take more than there is; None where they keep to the stock."""
        parts = [part_of(step.packing.packing, ()) for step in turn.steps]
        return min(overdrawn(self._shelf, parts), default=None)

    def _less(self, turn: _Turn, item: int) -> Iterator[_Allowed]:
        """What is allowed with one piece less of this item for each draw that takes it."""
        for place, step in enumerate(turn.steps):
            pieces = sum(tube.item == item for tube in step.packing.packing.tubes)
            if pieces:
                kept = [one for one in turn.allowed if one[:2] != (place, item)]
                yield frozenset([*kept, (place, item, pieces - 1)])

    def _joined(self, turn: _Turn, least: _Turn) -> Cleared:
        """The draws of this turn as one packing; `least` is the turn that no packing is better than."""
        whole = [step.packing for step in turn.steps]
        parts = []
        for cleared, members in zip(whole, self._members, strict=True):
            part = part_of(cleared.packing, tuple(members))
            tubes = [tube._replace(members=tuple([members[n] for n in tube.members])) for tube in part.tubes]
            parts.append(part._replace(tubes=tubes, dropped=tuple([members[n] for n in part.dropped])))
        is_proved = turn is least and all(cleared.finished for cleared in whole)
        cost = _sum([cleared.cost for cleared in whole])
        bound = _sum([step.packing.bound for step in least.steps])
        # A bound of packings that leave out other tests says nothing of these.
        is_of_these = [step.packing.packing.dropped for step in least.steps] == [c.packing.dropped for c in whole]
        return Cleared(
            joined(parts), sum([cleared.discard_ul for cleared in whole]), cost, bound if is_of_these else cost,
            is_proved,
        )  # fmt: skip


def _cost_of(turn: _Turn) -> int:
    return turn.cost


def _sum(costs: Sequence[Levels]) -> Levels:
    tubes, blood_ul, preference = (sum(level) for level in zip(*costs, strict=True))
    return tubes, blood_ul, preference
