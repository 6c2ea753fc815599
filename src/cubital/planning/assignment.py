"""Which test goes into which tube, when the tubes are given: the least sum of preference places.

The question is the generalised assignment problem with very few tubes. It is answered exactly by
depth-first search, and the three bounds below are what makes that quick:

* capacity by subset sums: what a tube can hold *exactly* is the largest sum of a subset of the
  needs that still fits, found with one shift-and-or of a whole-number bit set per test;
* Hall's condition over subsets of tubes, with those tightened capacities: the tests that can go
  nowhere else must fit, or nothing does (P. Hall, J London Math Soc 1935;10:26-30; fractional form);
* Lagrangian relaxation of the capacities for the preference (M. L. Fisher, Manag Sci 1981;27:1-18),
  with whole-number multipliers, so the bound is exact arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Placed(NamedTuple):
    """A complete assignment: for each test the index of its tube, and the sum of places."""

    tube_of: tuple[int, ...]
    preference: int


# One test's ways: (tube index, microlitres needed there, preference place there).
Options = Sequence[tuple[int, int, int]]

_SCALE = 1 << 20


def hall_allows(masks_needs: Sequence[tuple[int, int]], caps: Sequence[int]) -> int:
    """Whether every set of tests fits, shares allowed, in the tubes open to it; 0, or the tubes that fail.

    `masks_needs` holds for each test the bit set of tubes it may use and the least it needs there.
    The answer is the bit set of tubes of the largest shortfall, 0 when Hall's condition holds.
    """
    count = len(caps)
    size = 1 << count
    need = [0] * size
    for mask, least in masks_needs:
        need[mask] += least
    for bit_index in range(count):
        bit = 1 << bit_index
        for mask in range(size):
            if mask & bit:
                need[mask] += need[mask ^ bit]
    room = [0] * size
    worst, worst_mask = 0, 0
    for mask in range(1, size):
        low = mask & -mask
        room[mask] = room[mask ^ low] + caps[low.bit_length() - 1]
        short = need[mask] - room[mask]
        if short > worst:
            worst, worst_mask = short, mask
    return worst_mask


def assign(
    tests: Sequence[Options], caps: Sequence[int], lanes: Sequence[int], *, below: int | None = None
) -> Placed | None:
    """The assignment of every test to one tube with the least preference, or None if there is none.

    `lanes` names for each tube the class of tubes that every test treats alike, size apart.
    `below` asks only for a preference less than this; None comes back also when the best is not less.
    """
    return _Search(tests, caps, lanes, below).run()


class _Search:
    """One depth-first search; the state is the residual capacity of each tube."""

    def __init__(self, tests: Sequence[Options], caps: Sequence[int], lanes: Sequence[int], below: int | None) -> None:
        self.lanes = lanes
        self.tests = [sorted((o for o in options if o[1] <= caps[o[0]]), key=_by_place) for options in tests]
        self.residual = list(caps)
        self.best_value = below if below is not None else 1 << 60
        self.best: tuple[int, ...] | None = None
        self.tube_of = [-1] * len(tests)
        self.multipliers = [0] * len(caps)
        self.nodes = 0

    def run(self) -> Placed | None:
        if any(not options for options in self.tests):
            return None
        greedy = self._cheapest_if_it_fits()
        if greedy is not None:
            return greedy if greedy.preference < self.best_value else None
        self._tune_multipliers()
        self._descend(list(range(len(self.tests))), 0)
        if self.best is None:
            return None
        return Placed(self.best, self.best_value)

    def _cheapest_if_it_fits(self) -> Placed | None:
        """Every test at its first place, when that fits: nothing can be better."""
        left = self.residual[:]
        tube_of, value = [], 0
        for options in self.tests:
            least = options[0][2]
            for tube, need, place in options:
                if place != least:
                    return None
                if left[tube] >= need:
                    left[tube] -= need
                    tube_of.append(tube)
                    value += place
                    break
            else:
                return None
        return Placed(tuple(tube_of), value)

    def _tune_multipliers(self) -> None:
        """Subgradient steps on the price of a microlitre in each tube, kept in whole numbers."""
        prices = [0.0] * len(self.residual)
        best, best_prices = float("-inf"), prices[:]
        step = 4.0 / max(1, max(self.residual))
        for _ in range(30):
            load = [0] * len(prices)
            value = 0.0
            for options in self.tests:
                cost, tube, need = min((p + prices[t] * n, t, n) for t, n, p in options)
                value += cost
                load[tube] += need
            value -= sum(price * cap for price, cap in zip(prices, self.residual, strict=True))
            if value > best:
                best, best_prices = value, prices[:]
            over = [used - cap for used, cap in zip(load, self.residual, strict=True)]
            norm = sum(o * o for o in over) or 1
            scale = step * max(self.residual) / norm**0.5
            prices = [max(0.0, p + scale * o / norm**0.5) for p, o in zip(prices, over, strict=True)]
            step *= 0.9
        self.multipliers = [int(price * _SCALE) for price in best_prices]

    def _bound(self, rest: Sequence[int], value: int, open_options: Sequence[Options]) -> int:
        """No completion has a smaller preference: the larger of the plain and the Lagrangian bound."""
        multipliers = self.multipliers
        plain, priced = value, value * _SCALE
        for options in open_options:
            plain += options[0][2]
            priced += min(place * _SCALE + multipliers[tube] * need for tube, need, place in options)
        priced -= sum(m * r for m, r in zip(multipliers, self.residual, strict=True) if m)
        return max(plain, -(-priced // _SCALE))

    def _descend(self, rest: list[int], value: int) -> None:
        self.nodes += 1
        if not rest:
            if value < self.best_value:
                self.best_value, self.best = value, tuple(self.tube_of)
            return
        residual = self.residual
        open_options: list[list[tuple[int, int, int]]] = []
        for test in rest:
            options = [o for o in self.tests[test] if o[1] <= residual[o[0]]]
            if not options:
                return
            open_options.append(options)
        if self._bound(rest, value, open_options) >= self.best_value:
            return
        if not self._may_fit(open_options):
            return
        # Invariant: every test in `rest` is unassigned, and `residual` is what the others left.
        place_in_rest = min(range(len(rest)), key=lambda i: (len(open_options[i]), -max(o[1] for o in open_options[i])))
        test, options = rest[place_in_rest], open_options[place_in_rest]
        remaining = rest[:place_in_rest] + rest[place_in_rest + 1 :]
        tried: set[tuple[int, int]] = set()
        for tube, need, place in options:
            twin = (self.lanes[tube], residual[tube])
            if twin in tried:
                continue
            tried.add(twin)
            residual[tube] -= need
            self.tube_of[test] = tube
            self._descend(remaining, value + place)
            residual[tube] += need
        self.tube_of[test] = -1

    def _may_fit(self, open_options: Sequence[Options]) -> bool:
        """Whether subset sums and Hall's condition leave a completion possible."""
        residual = self.residual
        wanted: list[list[int]] = [[] for _ in residual]
        masks_needs = []
        for options in open_options:
            mask, least = 0, 1 << 60
            for tube, need, _ in options:
                mask |= 1 << tube
                if need < least:
                    least = need
                wanted[tube].append(need)
            masks_needs.append((mask, least))
        caps = []
        for tube, needs in enumerate(wanted):
            room = residual[tube]
            if sum(needs) <= room:
                caps.append(sum(needs))
                continue
            sums, window = 1, (1 << (room + 1)) - 1
            for need in needs:
                sums |= (sums << need) & window
            caps.append(sums.bit_length() - 1)
        return not hall_allows(masks_needs, caps)


def _by_place(option: tuple[int, int, int]) -> int:
    return option[2]
