"""The exact packing: every test into one tube, at the least cost in the objective's order.

Four steps, each cheaper than the next and each with a proof:

1. Tests that may share (one draw, one group of benches) are packed apart from the rest. One tube for
   all of them is optimal whenever it exists (no packing has fewer tubes), or, for the least blood,
   whenever two of the smallest tubes already take as much.
2. What one tube cannot hold is split where no kind is shared. The best pair of tubes (`pairs`) is
   optimal by the same argument one step on; what two cannot hold is searched exactly (`search`).
3. Where they take more blood than there is, each part comes down its stairs (`stairs`).
4. If the parts together take more of a counted size than the stock holds, the parts that can use it
   are searched together. Parts apart are a relaxation, so when they fit the stock they are optimal.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cubital.errors import PlanError
from cubital.planning.budget import TooLarge, least_blood_ul, pack_within
from cubital.planning.choices import Shelf, Wanted
from cubital.planning.clusters import clusters, lots
from cubital.planning.cost import MOST_TESTS, PackObjective, loss_of
from cubital.planning.few_tubes import alone_part, one_tube, two_tubes
from cubital.planning.lanes import search_together
from cubital.planning.parts import Packing, Part, joined, overdrawn, part_of

NODE_LIMIT = 200_000


def pack(
    shelf: Shelf,
    wanted: Sequence[Wanted],
    *,
    objective: PackObjective,
    budget_ul: int | None = None,
    may_drop: bool = False,
    node_limit: int = NODE_LIMIT,
) -> Packing | None:
    """The optimal packing of these tests, or None when stock or budget cannot hold them all.

    `budget_ul` is the most blood the tubes may take. With `may_drop` tests are left out, as few as can be of
    rank 0, then of rank 1, and so on, and the answer is never None. Raises `PlanError` for a rank that is none.
    """
    if may_drop:
        _check_ranks(wanted)
    if budget_ul is not None and may_drop:
        budget_ul = max(0, budget_ul)  # less than nothing is left: nothing is drawn, which is an answer
    if budget_ul is not None:
        try:
            within = pack_within(shelf, wanted, budget_ul, objective, may_drop, node_limit)
        except TooLarge:
            pass
        else:
            return None if within is None else joined(within)
        if least_blood_ul(shelf, wanted) > budget_ul:
            if not may_drop:
                return None
            everything = tuple(range(len(wanted)))
            return search_together(
                shelf, wanted, everything, objective, node_limit, budget_ul=budget_ul, may_drop=True
            )
    groups = lots(wanted).values()
    single = [members[0] for members in groups if len(members) == 1 and wanted[members[0]].alone is not None]
    parts = [
        part
        for members in groups
        if len(members) > 1 or wanted[members[0]].alone is None
        for part in _pack_lot(shelf, wanted, members, objective, node_limit)
    ]
    if budget_ul is None and not shelf.stock and all(part.is_packed for part in parts):
        return joined([alone_part(wanted, single, objective), *parts])
    parts += [alone_part(wanted, [number], objective) for number in single]
    total_ul = sum(part.cost[1] for part in parts)
    is_sound = all(part.is_packed for part in parts)
    if is_sound and _fits_stock(shelf, parts) and (budget_ul is None or total_ul <= budget_ul):
        return joined(parts)
    if budget_ul is None and not may_drop and is_sound:
        return _share_stock(shelf, wanted, parts, objective, node_limit)
    everything = tuple(range(len(wanted)))
    return search_together(shelf, wanted, everything, objective, node_limit, budget_ul=budget_ul, may_drop=may_drop)


def _check_ranks(wanted: Sequence[Wanted]) -> None:
    """Refuses what would make the cost of leaving out a test unclear: too many tests, or a rank that is none."""
    if len(wanted) > MOST_TESTS:
        raise PlanError(f"found {len(wanted)} tests; expected at most {MOST_TESTS} where some may be left out")
    for test in wanted:
        loss_of(test.rank)


def _pack_lot(
    shelf: Shelf, wanted: Sequence[Wanted], members: list[int], objective: PackObjective, node_limit: int
) -> list[Part]:
    """The parts of one lot, each optimal on its own under its own stock."""
    single = one_tube(shelf, wanted, members, objective)
    if single is not None:
        return [single]
    parts = []
    for cluster in clusters(wanted, members):
        part = one_tube(shelf, wanted, cluster, objective) if len(cluster) < len(members) else None
        if part is None and len(cluster) > 1:
            part = two_tubes(shelf, wanted, cluster, objective)
        if part is None:
            found = search_together(shelf, wanted, tuple(cluster), objective, node_limit)
            part = part_of(found, tuple(cluster))
        parts.append(part)
    return parts


def _fits_stock(shelf: Shelf, parts: Iterable[Part]) -> bool:
    return not (shelf.stock and overdrawn(shelf, parts))


def _share_stock(
    shelf: Shelf, wanted: Sequence[Wanted], parts: list[Part], objective: PackObjective, node_limit: int
) -> Packing | None:
    """The parts that compete for an overdrawn size, searched together until the stock is kept."""
    while over := overdrawn(shelf, parts):
        # Whatever could use an overdrawn size joins, until no part outside competes.
        rivals = [part for part in parts if _may_use(shelf, wanted, part) & over]
        apart = [part for part in parts if part not in rivals]
        members = tuple(sorted(number for part in rivals for number in part.members))
        packing = search_together(shelf, wanted, members, objective, node_limit)
        if packing is None:
            return None
        parts = [*apart, part_of(packing, members)]
    return joined(parts)


def _may_use(shelf: Shelf, wanted: Sequence[Wanted], part: Part) -> set[int]:
    return {size.item for number in part.members for way in wanted[number].ways for size in shelf.ways[way].sizes}
