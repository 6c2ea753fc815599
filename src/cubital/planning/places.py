"""The least sum of places that tests can have in the tubes within reach: a bound for the kinds that are liked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cubital.planning.question import Entry, bits


class Places:
    """For each test its places, best first, each with the entries (a bit set) that serve it there."""

    def __init__(self, tests: Sequence[Mapping[int, tuple[int, int]]], entries: Sequence[Entry]) -> None:
        self._by_place: list[list[tuple[int, int]]] = []
        for test in tests:
            servers: dict[int, int] = {}
            for number, entry in enumerate(entries):
                way = test.get(entry.lane)
                if way is not None and way[0] <= entry.cap_ul:
                    servers[way[1]] = servers.get(way[1], 0) | 1 << number
            self._by_place.append(sorted(servers.items()))

    def least(self, dropped: int, reach: int) -> int:
        """No sum of places of the tests that are kept is smaller, whatever these entries hold.

        Every test that is kept must be served by one of them.
        """
        total = 0
        for number, places in enumerate(self._by_place):
            if not dropped >> number & 1:
                total += next(place for place, servers in places if servers & reach)
        return total

    def without(self, dropped: int, reach: int, droppable: int, must: int) -> int:
        """The same where exactly `must` more of the tests that may be are left out."""
        worst = sorted((self.least(~(1 << number), reach) for number in bits(droppable)), reverse=True)
        return self.least(dropped, reach) - sum(worst[:must])
