"""One draw's packing with the blood that clears its way: the least of both together, proved.

A draw may owe blood before its first tube: always (the dead space of a line), and more where a ratio tube is drawn
(coagulation from a line) or stands first (a winged set). Its packings are of three kinds: A has no ratio tube, B has
one and owes, C has one and a harmless tube before it. Let R be the best packing of all kinds with what is always owed
and nothing more: no packing is better. If R is an A or a C, it is the answer. If it is a B and what it owes fits, it is
the best B, for every B owes the same; else the best B is asked with less blood. A is asked by closing every ratio way,
C by forcing one test after another into a way that stands before the ratio tubes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from cubital.planning.choices import Shelf, Wanted, Ways
from cubital.planning.cost import Cost, Levels, PackObjective, levels_of, loss_of, plain_of
from cubital.planning.packing import pack
from cubital.planning.parts import Packing
from cubital.planning.ranking import FORCED
from cubital.planning.sequence import Sequence as DrawOrder

_Place = tuple[object, ...]


class Clearing(NamedTuple):
    """What one draw owes before its first tube: always, and besides where a tube of `additives` is drawn.

    With `may_be_opened` the second is owed only where such a tube stands first of all: a harmless tube before it
    spares it.
    """

    always_ul: int = 0
    ratio_ul: int = 0
    additives: tuple[str, ...] = ()
    may_be_opened: bool = False


class Cleared(NamedTuple):
    """A packing, the blood thrown away before its tubes, and what was proved of both; costs as those of a packing."""

    packing: Packing
    discard_ul: int
    cost: Levels
    bound: Levels
    finished: bool


class How(NamedTuple):
    """How tests are packed: the objective, whether some may be left out, and how many nodes a search may take."""

    objective: PackObjective
    may_drop: bool
    node_limit: int

    def key(self, cost: Levels, packing: Packing, wanted: Sequence[Wanted]) -> Cost:
        """What is left out by rank, then this cost in the order of the objective."""
        left = sum([loss_of(wanted[n].rank) for n in packing.dropped])
        return left, *levels_of(self.objective, *cost)


class _Beginning(NamedTuple):
    """One way to begin a draw: what it owes at most, the ways its tests are held to, and the test that opens it."""

    owed_ul: int
    held: Mapping[int, Ways]
    forced: int | None = None


class OneDraw:
    """Packs the tests of one draw from one shelf."""

    def __init__(self, shelf: Shelf, clearing: Clearing, draw_order: DrawOrder, how: How) -> None:
        self._shelf = shelf
        self._clearing = clearing
        self._draw_order = draw_order
        self._how = how

    def pack(self, wanted: Sequence[Wanted], budget_ul: int | None) -> Cleared | None:
        """The best packing with what it owes, within this blood; None when nothing holds all these tests."""
        clearing = self._clearing
        best = self._packed(wanted, budget_ul, clearing.always_ul)
        if best is None:
            return None
        owed_ul = self._owed_ul(best)
        if owed_ul <= clearing.always_ul:
            return cleared_of(best, owed_ul)
        beginnings, found = list(self._sparing(wanted)), []
        if budget_ul is None or best.cost[1] + owed_ul <= budget_ul:
            found.append(cleared_of(best, owed_ul))
        else:
            beginnings.insert(0, _Beginning(owed_ul, {}))
        for beginning in beginnings:
            packing = self._packed(_held(wanted, beginning), budget_ul, beginning.owed_ul)
            if packing is None:
                continue
            # Where the test that should open the draw is left out after all, more may be owed than was set aside.
            lost_ul = self._owed_ul(packing)
            if budget_ul is None or packing.cost[1] + lost_ul <= max(0, budget_ul):
                found.append(cleared_of(packing, lost_ul))
        return self._best(found, wanted)

    def _packed(self, wanted: Sequence[Wanted], budget_ul: int | None, owed_ul: int) -> Packing | None:
        objective, may_drop, node_limit = self._how
        left_ul = None if budget_ul is None else budget_ul - owed_ul
        return pack(
            self._shelf, wanted, objective=objective, budget_ul=left_ul, may_drop=may_drop, node_limit=node_limit
        )

    def _sparing(self, wanted: Sequence[Wanted]) -> Iterator[_Beginning]:
        """A, without ratio tubes; and C, where each test in turn opens the draw before the ratio tubes."""
        always_ul, _, additives, may_be_opened = self._clearing
        places = {way: self._place(way) for test in wanted for way in test.ways}
        ratio = {way for way in places if self._shelf.additives[way] in additives}
        members = range(len(wanted))
        spared = {n: {w: need for w, need in wanted[n].ways.items() if w not in ratio} for n in members}
        if self._how.may_drop or all(spared.values()):
            yield _Beginning(always_ul, spared)
        if not may_be_opened:
            return
        for first in sorted({places[way] for way in ratio}):
            before = {way for way in places if places[way] < first}
            rest = {n: {w: need for w, need in wanted[n].ways.items() if w not in ratio & before} for n in members}
            if not self._how.may_drop and not all(rest.values()):
                continue
            for n in members:
                opening = {w: need for w, need in rest[n].items() if w in before}
                if opening:
                    yield _Beginning(always_ul, {**rest, n: opening}, n)

    def _owed_ul(self, packing: Packing) -> int:
        """What the draw of this packing owes."""
        always_ul, ratio_ul, additives, may_be_opened = self._clearing
        ways = [tube.way for tube in packing.tubes]
        if not ways:
            return 0
        ratio = [way for way in ways if self._shelf.additives[way] in additives]
        if not ratio_ul or not ratio:
            return always_ul
        first = min(self._place(way) for way in ratio)
        is_spared = may_be_opened and any(self._place(way) < first for way in ways)
        return always_ul if is_spared else always_ul + ratio_ul

    def _place(self, way: int) -> _Place:
        """Where the tubes of a way stand in a draw; last where nobody says, for then no tube of it can be drawn."""
        return self._draw_order.place(self._shelf.ways[way].kind)

    def _best(self, found: Sequence[Cleared], wanted: Sequence[Wanted]) -> Cleared | None:
        """The best of these, with the least of their bounds where one of them was not finished."""
        if not found:
            return None
        how = self._how
        keys = [how.key(cleared.cost, cleared.packing, wanted) for cleared in found]
        best = found[keys.index(min(keys))]
        if all(cleared.finished for cleared in found):
            return best
        least = min(how.key(cleared.bound, cleared.packing, wanted) for cleared in found)
        bound = best.bound if least[0] != min(keys)[0] else plain_of(how.objective, least)
        return best._replace(bound=bound, finished=False)


def cleared_of(packing: Packing, owed_ul: int) -> Cleared:
    """This packing with the blood thrown away before it."""
    return Cleared(
        packing, owed_ul, _with(packing.cost, owed_ul), _with(packing.bound, owed_ul), packing.finished
    )


def _with(cost: Levels, owed_ul: int) -> Levels:
    return cost[0], cost[1] + owed_ul, cost[2]


def _held(wanted: Sequence[Wanted], beginning: _Beginning) -> list[Wanted]:
    here = list(wanted)
    for n, ways in beginning.held.items():
        if ways != here[n].ways:
            here[n] = here[n]._replace(ways=ways, alone=None)
    if beginning.forced is not None:
        here[beginning.forced] = here[beginning.forced]._replace(rank=FORCED)
    return here
