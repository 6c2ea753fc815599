"""What a packing is made of: tubes, parts that share no tube, and the whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from cubital.planning.choices import Shelf
from cubital.planning.question import ENDLESS


class Packed(NamedTuple):
    """One tube of a packing: its stock item, its way, and the numbers of the tests in it."""

    item: int
    way: int
    members: tuple[int, ...]


class Packing(NamedTuple):
    """The tubes, the tests left out, and what was proved; costs as (tubes, blood, preference).

    `bound` is never above the optimum in the objective's order; `finished` says that it was reached.
    """

    tubes: tuple[Packed, ...]
    dropped: tuple[int, ...]
    cost: tuple[int, int, int]
    bound: tuple[int, int, int]
    nodes: int
    finished: bool


class Part(NamedTuple):
    """Some of the tests, packed: what `Packing` holds, and which tests these are."""

    members: tuple[int, ...]
    tubes: list[Packed]
    cost: tuple[int, int, int]
    bound: tuple[int, int, int]
    nodes: int
    finished: bool
    dropped: tuple[int, ...] = ()

    @property
    def is_packed(self) -> bool:
        """Whether every test of the part is in a tube or left out on purpose."""
        return bool(self.tubes or self.dropped or not self.members)


def part_of(packing: Packing | None, members: tuple[int, ...]) -> Part:
    """These tests as this packing holds them; a part without tubes where there is none."""
    if packing is None:
        return Part(members, [], (0, 0, 0), (0, 0, 0), 0, True)
    return Part(
        members, list(packing.tubes), packing.cost, packing.bound, packing.nodes, packing.finished, packing.dropped
    )


def joined(parts: Sequence[Part]) -> Packing:
    """The packing that these parts make together."""
    tubes: list[Packed] = []
    dropped: list[int] = []
    cost, bound = [0, 0, 0], [0, 0, 0]
    for part in parts:
        tubes += part.tubes
        dropped += part.dropped
        for level in (0, 1, 2):
            cost[level] += part.cost[level]
            bound[level] += part.bound[level]
    return Packing(
        tuple(tubes), tuple(sorted(dropped)), (cost[0], cost[1], cost[2]), (bound[0], bound[1], bound[2]),
        sum([part.nodes for part in parts]), all(part.finished for part in parts),
    )  # fmt: skip


def overdrawn(shelf: Shelf, parts: Iterable[Part]) -> set[int]:
    """The stock items that these parts together use up and more."""
    used: dict[int, int] = {}
    for part in parts:
        for tube in part.tubes:
            used[tube.item] = used.get(tube.item, 0) + 1
    return {item for item, count in used.items() if count > shelf.stock.get(item, ENDLESS)}
