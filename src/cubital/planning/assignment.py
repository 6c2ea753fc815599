"""Which test goes into which tube, when the tubes are given: the least sum of preference places.

The question is the generalised assignment problem with very few tubes. It is answered exactly by
depth-first search, test by test, under two bounds: room (`room`), and a Lagrangian relaxation of the
capacities for the preference (M. L. Fisher, Manag Sci 1981;27:1-18), with whole-number multipliers,
so the bound is exact arithmetic. What that does not settle in a few nodes is searched tube by tube
(`fillings`), and only where the fillings are too many, test by test to the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from cubital.planning.fillings import Fillings, TooMany
from cubital.planning.room import Options, may_fit


class Placed(NamedTuple):
    """A complete assignment: for each test the index of its tube, and the sum of places.

    `least` is proved: no assignment has a smaller sum. It equals `preference` unless the search was cut.
    """

    tube_of: tuple[int, ...]
    preference: int
    least: int


class Unfit(NamedTuple):
    """No assignment was found for these tests; `proved` says that there is none.

    `is_beaten` says that there may be one, but none below the sum that was asked for.
    """

    tests: tuple[int, ...]
    proved: bool
    is_beaten: bool = False


_SCALE = 1 << 20
_QUICK_STEPS, _DEAR_STEPS = 20, 400
_AIM, _LEAST_AIM, _LESS = 5.0, 0.02, 0.4
_PATIENCE, _KEPT = 15, 0.9
_QUICK_NODES, _MOST_NODES = 80, 500_000
ANY = 1 << 60


class _Dear(Exception):
    """The quick search met its node limit: the question needs better prices."""


def assign(
    tests: Sequence[Options], caps: Sequence[int], lanes: Sequence[int], *, below: int = ANY, is_brief: bool = False
) -> Placed | Unfit:
    """The assignment of every test to one tube with the least preference, or the tests that do not fit.

    `lanes` names for each tube the class of tubes that every test treats alike, size apart. Tests
    that share no tube, directly or through others, are assigned apart. Only sums under `below` count.
    A brief search gives up early: what it does not find is then not proved absent.
    """
    tube_of = [-1] * len(tests)
    total = least = 0
    floors = [min((place for _, _, place in options), default=0) for options in tests]
    spare = below - sum(floors)
    for members in _components(tests):
        floor = sum(floors[n] for n in members)
        search = _Search([tests[n] for n in members], caps, lanes, spare + floor, is_brief=is_brief)
        found = search.run()
        if found is None:
            return Unfit(tuple(members), not search.is_cut, search.is_limited)
        total += found.preference
        least += found.least
        spare -= found.least - floor
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

    def __init__(
        self, tests: Sequence[Options], caps: Sequence[int], lanes: Sequence[int], below: int, *, is_brief: bool
    ) -> None:
        self.is_brief = is_brief
        self.lanes = lanes
        self.tests = [sorted((o for o in options if o[1] <= caps[o[0]]), key=_by_place) for options in tests]
        self.caps = tuple(caps)
        self.residual = list(caps)
        self.node_limit = _QUICK_NODES
        self.is_cut = False
        self.least = 0
        worst = sum(max((place for _, _, place in options), default=0) for options in tests)
        self.is_limited = below <= worst
        self.best_value = min(below, worst + 1)
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
        everything = list(range(len(self.tests)))
        # Most questions are settled in a few nodes; only the others are worth dear prices.
        self._tune_multipliers(_QUICK_STEPS)
        try:
            self._descend(everything, 0)
        except _Dear:
            if self.is_brief:
                self.is_cut = True
                return None if self.best is None else Placed(self.best, self.best_value, 0)
            self.residual = list(self.caps)
            self._tune_multipliers(_DEAR_STEPS)
            self._search_fillings(everything)
        if self.best is None:
            return None
        return Placed(self.best, self.best_value, self.least if self.is_cut else self.best_value)

    def _search_fillings(self, everything: list[int]) -> None:
        fillings = Fillings(self.tests, self.caps, self.multipliers, scale=_SCALE)
        try:
            better = fillings.least(self.best_value, is_feasible=self.best is not None)
        except TooMany:
            self.node_limit = _MOST_NODES
            self._finish(everything)
        else:
            if better is not None:
                self.best, self.best_value = better

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
        """Steps along a deflected subgradient on the price of a microlitre in each tube.

        Each step aims a little above the best bound so far, and less so each time it stalls; the
        direction keeps most of the one before (P. M. Camerini, L. Fratta, F. Maffioli, Math Program
        Study 1975;3:26-34). Prices are floating point here and whole numbers after, so bounds stay exact.
        """
        caps = self.caps
        prices = [multiplier / _SCALE for multiplier in self.multipliers]
        best, best_prices, aim, stalled = float("-inf"), prices, _AIM, 0
        course = [0.0] * len(caps)
        for _ in range(steps):
            value, over = self._relax(prices)
            stalled = 0 if value > best + aim / 10 else stalled + 1
            if value > best:
                best, best_prices = value, prices
            if stalled > _PATIENCE:
                aim, stalled, prices, course = aim * _LESS, 0, best_prices, [0.0] * len(caps)
                if aim < _LEAST_AIM:
                    break
                value, over = self._relax(prices)
            course = [now + _KEPT * before for now, before in zip(over, course, strict=True)]
            slope = [0.0 if price == 0 and way < 0 else way for price, way in zip(prices, course, strict=True)]
            norm = sum(way * way for way in slope)
            if norm == 0 or best >= self.best_value:
                break
            scale = (best + aim - value) / norm
            prices = [max(0.0, price + scale * way) for price, way in zip(prices, slope, strict=True)]
        self.multipliers = [int(price * _SCALE) for price in best_prices]

    def _relax(self, prices: Sequence[float]) -> tuple[float, list[int]]:
        """The bound at these prices, and by how much each tube is then overfull."""
        over = [-cap for cap in self.caps]
        value = 0.0
        for options in self.tests:
            least = float("inf")
            chosen = chosen_need = 0
            for tube, need, place in options:
                cost = place + prices[tube] * need
                if cost < least:
                    least, chosen, chosen_need = cost, tube, need
            value += least
            over[chosen] += chosen_need
        for price, cap in zip(prices, self.caps, strict=True):
            value -= price * cap
        return value, over

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
        if not may_fit(open_options, residual):
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


def _by_place(option: tuple[int, int, int]) -> int:
    return option[2]
