"""The order of draw that harms least: exact, by dynamic programming over the subsets of the tubes already drawn.

A tube may be harmed by every tube before it, not by the last alone: what hangs on a needle may come off later. That is
the careful reading; no study says how far a trace travels. The harm of an order is the sum over all such pairs.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from cubital.errors import UnitError

MOST_TUBES = 16


class LeastHarm(msgspec.Struct, frozen=True, kw_only=True):
    """An order of least harm, as places of the tubes given; its harm; and how many orders do as well."""

    order: tuple[int, ...]
    harm: int
    orders: int


def harm_of_order(harms: Sequence[Sequence[int]], order: Sequence[int]) -> int:
    """The harm of this order; `harms[a][b]` is what tube a does in tube b where a is drawn before b.

    >>> harm_of_order([[0, 5], [2, 0]], [0, 1]), harm_of_order([[0, 5], [2, 0]], [1, 0])
    (5, 2)
    """
    return sum(harms[a][b] for place, b in enumerate(order) for a in order[:place])


class Tables(msgspec.Struct, frozen=True, kw_only=True):
    """For each subset of the tubes, as bits: its least harm within itself, and how many of its orders reach it."""

    least: list[int]
    ways: list[int]

    def least_among(self, tubes: Iterable[int]) -> int:
        """The least harm that an order of these tubes alone can do."""
        return self.least[sum(1 << tube for tube in tubes)]


def least_harm(harms: Sequence[Sequence[int]], *, tables: Tables | None = None) -> LeastHarm:
    """The order of least harm, the earliest tube given first where several do as well.

    `tables` are those of `tables_of`, where they are at hand. Raises `UnitError` for more than 16 tubes.

    >>> least_harm([[0, 5], [2, 0]])
    LeastHarm(order=(1, 0), harm=2, orders=1)
    """
    found = tables or tables_of(harms)
    return LeastHarm(order=_first_order(harms, found.least, len(harms)), harm=found.least[-1], orders=found.ways[-1])


def tables_of(harms: Sequence[Sequence[int]]) -> Tables:
    """The least harm of every subset; raises `UnitError` for more than 16 tubes, for the subsets double with each.

    >>> tables_of([[0, 5], [2, 0]]).least
    [0, 0, 0, 2]
    """
    count = len(harms)
    if count > MOST_TUBES:
        raise UnitError(f"found {count} kinds of tube; expected at most {MOST_TUBES}", where="order of draw")
    size = 1 << count
    least, ways = [0] * size, [0] * size
    ways[0] = 1
    lasts = [(1 << last, _sums([row[last] for row in harms])) for last in range(count)]
    for drawn in range(1, size):
        # Invariant: every smaller subset is done, and taking its last tube away leaves one of them.
        best, reached = -1, 0
        for bit, sums in lasts:
            if drawn & bit:
                before = drawn ^ bit
                harm = least[before] + sums[before]
                if harm < best or best < 0:
                    best, reached = harm, ways[before]
                elif harm == best:
                    reached += ways[before]
        least[drawn], ways[drawn] = best, reached
    return Tables(least=least, ways=ways)


def _sums(values: Sequence[int]) -> list[int]:
    """The sum of the values in every subset."""
    sums = [0]
    for value in values:
        sums += [found + value for found in sums]
    return sums


def _first_order(harms: Sequence[Sequence[int]], least: Sequence[int], count: int) -> tuple[int, ...]:
    """One order of least harm: as its end, again and again, the last-given tube that keeps the harm least."""
    order: list[int] = []
    drawn = (1 << count) - 1
    while drawn:
        inside = [tube for tube in range(count) if drawn >> tube & 1]
        for last in reversed(inside):
            before = drawn ^ (1 << last)
            if least[before] + sum(harms[a][last] for a in inside if a != last) == least[drawn]:
                order.append(last)
                drawn = before
                break
    return tuple(reversed(order))
