"""The packing with the blood that clears the way: the least of both together, proved over every way to begin a draw.

A draw may owe blood before its first tube: always (the dead space of a line), and more where a ratio tube is drawn
(coagulation from a line) or stands first (a winged set). Let f be the cost of a packing without what it owes. Of one
draw the packings are of three kinds: A has no ratio tube, B has one and owes, C has one and a harmless tube before it.
The least over all is the least of: A alone, C alone, and all of them with what B owes added; where the last is
reached by a packing of A or C, it costs less than B by more than that. A is asked by closing every ratio way, C by
forcing one test after another into a way that stands before the ratio tubes. Draws are combined.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import islice, product
from typing import NamedTuple

from cubital.planning.choices import Shelf, Wanted, Ways
from cubital.planning.cost import Cost, Levels, PackObjective, levels_of, loss_of, plain_of
from cubital.planning.packing import pack
from cubital.planning.parts import Packing
from cubital.planning.ranking import FORCED
from cubital.planning.sequence import Sequence as DrawOrder

_MOST_COMBINATIONS = 96


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


class _Beginning(NamedTuple):
    """One way to begin a draw: what it owes at most, and the ways that tests of the draw are held to."""

    owed_ul: int
    held: Mapping[int, Ways]
    forced: int | None = None



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
    draws = sorted({test.draw for test in wanted})
    if not any(clearing.ratio_ul or (may_drop and clearing.always_ul) for clearing in clearings.values()):
        return _pack_plainly(shelf, wanted, clearings, objective, budget_ul, may_drop, node_limit)
    beginnings = [
        _beginnings(draw, clearings.get(draw, Clearing()), shelf, wanted, draw_order, may_drop=may_drop)
        for draw in draws
    ]
    best: tuple[Cost, Cleared] | None = None
    bounds: list[Cost] = []
    combinations = list(islice(product(*beginnings), _MOST_COMBINATIONS + 1))
    finished = len(combinations) <= _MOST_COMBINATIONS
    for chosen in combinations[:_MOST_COMBINATIONS]:
        owed_ul = sum([beginning.owed_ul for beginning in chosen])
        left_ul = None if budget_ul is None else budget_ul - owed_ul
        here = _held(wanted, chosen) if any(beginning.held for beginning in chosen) else wanted
        packing = pack(
            shelf, here, objective=objective, budget_ul=left_ul, may_drop=may_drop, node_limit=node_limit
        )
        if packing is None:
            continue
        finished = finished and packing.finished
        lost_ul = _lost_ul(packing, wanted, clearings, shelf, draw_order)
        if budget_ul is not None and packing.cost[1] + lost_ul > max(0, budget_ul):
            continue
        found = Cleared(packing, lost_ul, _with(packing.cost, lost_ul), _with(packing.bound, lost_ul), True)
        bounds.append(_key(found.bound, packing, wanted, objective))
        key = _key(found.cost, packing, wanted, objective)
        if best is None or key < best[0]:
            best = key, found
        if not may_drop and chosen == combinations[0] and not _owes_more(lost_ul, clearings, draws):
            break  # nothing is owed that another beginning could spare
    if best is None:
        return None
    least = min(bounds)
    bound = best[1].bound if finished or least[0] != best[0][0] else plain_of(objective, least)
    return best[1]._replace(bound=bound, finished=finished)


def _pack_plainly(
    shelf: Shelf, wanted: Sequence[Wanted], clearings: Mapping[int, Clearing], objective: PackObjective,
    budget_ul: int | None, may_drop: bool, node_limit: int,
) -> Cleared | None:  # fmt: skip
    """The packing where what is owed does not depend on the tubes."""
    owed_ul = sum([clearings[draw].always_ul for draw in {test.draw for test in wanted} if draw in clearings])
    left_ul = None if budget_ul is None else budget_ul - owed_ul
    packing = pack(shelf, wanted, objective=objective, budget_ul=left_ul, may_drop=may_drop, node_limit=node_limit)
    if packing is None:
        return None
    return Cleared(packing, owed_ul, _with(packing.cost, owed_ul), _with(packing.bound, owed_ul), packing.finished)


def _beginnings(
    draw: int, clearing: Clearing, shelf: Shelf, wanted: Sequence[Wanted], draw_order: DrawOrder, *, may_drop: bool
) -> list[_Beginning]:
    """Every way to begin this draw that the proof needs."""
    members = [n for n, test in enumerate(wanted) if test.draw == draw]
    found = [_Beginning(clearing.always_ul + clearing.ratio_ul, {})]
    if may_drop and clearing.always_ul:
        found.append(_Beginning(0, {n: {} for n in members}))
    if not clearing.ratio_ul:
        return found
    additives = shelf.additives
    ways = {way for n in members for way in wanted[n].ways}
    ratio = {way for way in ways if additives[way] in clearing.additives}
    if not ratio:
        return [_Beginning(clearing.always_ul, {}), *found[1:]]
    ranks = {way: draw_order.rank(shelf.ways[way].kind).order for way in ways}
    first = min(ranks[way] for way in ratio)
    is_open = any(all(way not in ratio and ranks[way] < first for way in wanted[n].ways) for n in members)
    if clearing.may_be_opened and not may_drop and is_open:
        return [_Beginning(clearing.always_ul, {})]
    spared = {n: {w: need for w, need in wanted[n].ways.items() if w not in ratio} for n in members}
    if may_drop or all(spared.values()):
        found.append(_Beginning(clearing.always_ul, spared))
    if clearing.may_be_opened:
        for place in sorted({ranks[way] for way in ratio}):
            found += _opened(clearing.always_ul, members, wanted, ranks, ratio, place, may_drop=may_drop)
    return found


def _opened(
    always_ul: int, members: Sequence[int], wanted: Sequence[Wanted], ranks: Mapping[int, tuple[int, ...]],
    ratio: set[int], place: tuple[int, ...], *, may_drop: bool,
) -> Iterator[_Beginning]:  # fmt: skip
    """Each test in turn forced before the ratio tubes at `place` and after, those before it closed."""
    closed = {way for way in ratio if ranks[way] < place}
    rest = {n: {w: need for w, need in wanted[n].ways.items() if w not in closed} for n in members}
    if not may_drop and not all(rest.values()):
        return
    for n in members:
        opening = {w: need for w, need in rest[n].items() if w not in ratio and ranks[w] < place}
        if opening:
            yield _Beginning(always_ul, {**rest, n: opening}, n)


def _owes_more(lost_ul: int, clearings: Mapping[int, Clearing], draws: Sequence[int]) -> bool:
    return lost_ul > sum(clearings[draw].always_ul for draw in draws if draw in clearings)


def _held(wanted: Sequence[Wanted], chosen: Sequence[_Beginning]) -> list[Wanted]:
    here = list(wanted)
    for beginning in chosen:
        for n, ways in beginning.held.items():
            if ways != here[n].ways:
                here[n] = here[n]._replace(ways=ways, alone=None)
        if beginning.forced is not None:
            here[beginning.forced] = here[beginning.forced]._replace(rank=FORCED)
    return here


def _lost_ul(
    packing: Packing, wanted: Sequence[Wanted], clearings: Mapping[int, Clearing], shelf: Shelf, draw_order: DrawOrder
) -> int:
    """What the draws of this packing owe."""
    by_draw: dict[int, list[int]] = {}
    for tube in packing.tubes:
        by_draw.setdefault(wanted[tube.members[0]].draw, []).append(tube.way)
    lost_ul = 0
    for draw, ways in by_draw.items():
        clearing = clearings.get(draw)
        if clearing is None:
            continue
        lost_ul += clearing.always_ul
        ratio = [way for way in ways if shelf.additives[way] in clearing.additives]
        if clearing.ratio_ul and ratio:
            ranks = {way: draw_order.rank(shelf.ways[way].kind).order for way in ways}
            first = min(ranks[way] for way in ratio)
            if not clearing.may_be_opened or not any(ranks[way] < first for way in ways if way not in ratio):
                lost_ul += clearing.ratio_ul
    return lost_ul


def _with(cost: Levels, lost_ul: int) -> Levels:
    return cost[0], cost[1] + lost_ul, cost[2]


def _key(cost: Levels, packing: Packing, wanted: Sequence[Wanted], objective: PackObjective) -> Cost:
    """What is left out by rank, then this cost in the order of the objective."""
    left = sum([loss_of(wanted[n].rank) for n in packing.dropped])
    return left, *levels_of(objective, *cost)
