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
    """A complete assignment: for each test the index of its tube, and the sum of places.

    `least` is proved: no assignment has a smaller sum. It equals `preference` unless the search was cut.
    """

    tube_of: tuple[int, ...]
    preference: int
    least: int


class Unfit(NamedTuple):
    """No assignment was found for these tests; `proved` says that there is none."""

    tests: tuple[int, ...]
    proved: bool


# One test's ways: (tube index, microlitres needed there, preference place there).
Options = Sequence[tuple[int, int, int]]

_SCALE = 1 << 20
_QUICK_STEPS, _DEAR_STEPS = 20, 300
_QUICK_NODES, _MOST_NODES = 150, 500_000


class _Dear(Exception):
    """The quick search met its node limit: the question needs better prices."""


def hall_fails(masks_needs: Sequence[tuple[int, int]], caps: Sequence[int]) -> int:
    """Tubes in which the tests that can go nowhere else do not fit, shares allowed; 0 when all fit.

    `masks_needs` holds for each test the bit set of tubes it may use and the least it needs there.
    A greatest flow of microlitres from tests to tubes is grown along shortest ways; where it stops
    short, the tubes reached are a set that fails Hall's condition (greatest flow, least cut).
    """
    wanted: dict[int, int] = {}
    for mask, least in masks_needs:
        wanted[mask] = wanted.get(mask, 0) + least
    left = list(caps)
    order = sorted(wanted, key=int.bit_count)
    flows: list[dict[int, int]] = []
    for mask in order:
        flow: dict[int, int] = {}
        need, tubes = wanted[mask], mask
        flows.append(flow)
        while tubes and need:
            low = tubes & -tubes
            tubes ^= low
            tube = low.bit_length() - 1
            push = min(need, left[tube])
            if push:
                flow[tube] = push
                left[tube] -= push
                need -= push
        while need:
            pushed, reached = _push(len(flows) - 1, need, order, flows, left)
            if not pushed:
                return reached
            need -= pushed
    return 0


def _push(
    source: int, need: int, order: Sequence[int], flows: list[dict[int, int]], left: list[int]
) -> tuple[int, int]:
    """One shortest way from this class of tests to a tube with room: what was pushed, the tubes reached."""
    came_from: dict[int, tuple[int, int]] = {}
    queue, seen, reached = [(source, -1)], {source}, 0
    for group, through in queue:
        tubes = order[group] & ~reached
        while tubes:
            low = tubes & -tubes
            tubes ^= low
            tube = low.bit_length() - 1
            reached |= low
            came_from[tube] = (group, through)
            if left[tube]:
                return _augment(tube, need, came_from, flows, left), reached
            for other, flow in enumerate(flows):
                if other not in seen and flow.get(tube):
                    seen.add(other)
                    queue.append((other, tube))
    return 0, reached


def _augment(
    tube: int, need: int, came_from: dict[int, tuple[int, int]], flows: list[dict[int, int]], left: list[int]
) -> int:
    push, here = min(need, left[tube]), tube
    while came_from[here][1] >= 0:
        group, here = came_from[here]
        push = min(push, flows[group][here])
    left[tube] -= push
    here = tube
    while here >= 0:
        group, before = came_from[here]
        flows[group][here] = flows[group].get(here, 0) + push
        if before >= 0:
            flows[group][before] -= push
        here = before
    return push


def assign(tests: Sequence[Options], caps: Sequence[int], lanes: Sequence[int]) -> Placed | Unfit:
    """The assignment of every test to one tube with the least preference, or the tests that do not fit.

    `lanes` names for each tube the class of tubes that every test treats alike, size apart. Tests
    that share no tube, directly or through others, are assigned apart.
    """
    tube_of = [-1] * len(tests)
    total = least = 0
    for members in _components(tests):
        search = _Search([tests[n] for n in members], caps, lanes)
        found = search.run()
        if found is None:
            return Unfit(tuple(members), not search.is_cut)
        total += found.preference
        least += found.least
        for number, tube in zip(members, found.tube_of, strict=True):
            tube_of[number] = tube
    return Placed(tuple(tube_of), total, least)


def _components(tests: Sequence[Options]) -> list[list[int]]:
    """The tests in groups that compete for no tube of another group."""
    groups: list[tuple[int, list[int]]] = []
    for number, options in enumerate(tests):
        mask, members = 0, [number]
        for tube, _, _ in options:
            mask |= 1 << tube
        apart = []
        for other_mask, others in groups:
            if other_mask & mask:
                mask |= other_mask
                members += others
            else:
                apart.append((other_mask, others))
        groups = [*apart, (mask, members)]
    return [sorted(members) for _, members in groups]


class _Search:
    """One depth-first search; the state is the residual capacity of each tube."""

    def __init__(self, tests: Sequence[Options], caps: Sequence[int], lanes: Sequence[int]) -> None:
        self.lanes = lanes
        self.tests = [sorted((o for o in options if o[1] <= caps[o[0]]), key=_by_place) for options in tests]
        self.caps = tuple(caps)
        self.residual = list(caps)
        self.node_limit = _QUICK_NODES
        self.is_cut = False
        self.least = 0
        self.best_value = 1 << 60
        self.best: tuple[int, ...] | None = None
        self.tube_of = [-1] * len(tests)
        self.multipliers = [0] * len(caps)
        self.nodes = 0

    def run(self) -> Placed | None:
        if any(not options for options in self.tests):
            return None
        greedy = self._cheapest_if_it_fits()
        if greedy is not None:
            return greedy
        everything = list(range(len(self.tests)))
        # Most questions are settled in a few nodes; only the others are worth dear prices.
        self._tune_multipliers(_QUICK_STEPS)
        try:
            self._descend(everything, 0)
        except _Dear:
            self.residual = list(self.caps)
            self._tune_multipliers(_DEAR_STEPS)
            self.node_limit = _MOST_NODES
            self._finish(everything)
        if self.best is None:
            return None
        return Placed(self.best, self.best_value, self.least if self.is_cut else self.best_value)

    def _finish(self, everything: list[int]) -> None:
        try:
            self._descend(everything, 0)
        except _Dear:
            self.is_cut = True
            self.residual = list(self.caps)
            self.least = self._bound(everything, 0, self.tests)

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
        return Placed(tuple(tube_of), value, value)

    def _tune_multipliers(self, steps: int) -> None:
        """Subgradient steps (B. T. Polyak's step length) on the price of a microlitre in each tube.

        Prices are floating point while they are tuned and whole numbers after, so bounds stay exact.
        """
        caps = self.residual
        target = self.best_value
        if self.best is None:
            target = sum(max(option[2] for option in options) for options in self.tests) + 1
        prices = [multiplier / _SCALE for multiplier in self.multipliers]
        best, best_prices, length, stalled = float("-inf"), prices, 2.0, 0
        for _ in range(steps):
            load = [-cap for cap in caps]
            value = 0.0
            for options in self.tests:
                least = float("inf")
                chosen = chosen_need = 0
                for tube, need, place in options:
                    cost = place + prices[tube] * need
                    if cost < least:
                        least, chosen, chosen_need = cost, tube, need
                value += least
                load[chosen] += chosen_need
            for price, cap in zip(prices, caps, strict=True):
                value -= price * cap
            if value > best + 1e-9:
                best, best_prices, stalled = value, prices, 0
            else:
                stalled += 1
                if stalled > 9:
                    length, stalled, prices = length / 2, 0, best_prices
            slope = [0 if price == 0 and over < 0 else over for price, over in zip(prices, load, strict=True)]
            norm = sum(over * over for over in slope)
            if norm == 0 or best >= target:
                break
            scale = length * (target - value) / norm
            prices = [max(0.0, price + scale * over) for price, over in zip(prices, slope, strict=True)]
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
        if self.nodes > self.node_limit:
            raise _Dear
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
        return not hall_fails(masks_needs, caps)


def _by_place(option: tuple[int, int, int]) -> int:
    return option[2]
