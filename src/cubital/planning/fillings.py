"""Assignments found tube by tube, where a search test by test would meet too many.

A filling is a set of tests that one tube may hold. When the tubes leave little room, each tube has
few fillings: what it does not hold, the others must. The tube with the fewest is settled first, one
filling after another, cheapest first; what is left is a smaller question of the same form, kept so
that it is met once. Two last tubes are settled together, by whole-number bit sets of the loads they
can reach at each sum of places (subset sums; R. Bellman, Dynamic Programming, 1957).

The sum of places that may be spent is raised step by step from the Lagrangian bound, so the first
assignments found lie close to the optimum, and nothing dearer is ever listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from cubital.planning.room import Options, may_fit

_FIRST_LIST, _WIDER, _MOST_LISTED = 100, 8, 60_000
_MOST_WORK = 1_500_000


class TooMany(Exception):
    """There are too many fillings to list; another way of searching is better."""


class _Test(NamedTuple):
    """A test still open: its bit, and its ways into the tubes that are left."""

    bit: int
    options: tuple[tuple[int, int, int], ...]


class _Priced(NamedTuple):
    """A test in one tube: need there, price above its cheapest tube, bit, place there, least need elsewhere."""

    need: int
    extra: int
    bit: int
    place: int
    elsewhere: int


# A filling, or a part of one: price above the bound, load, tests, sum of places, and what the tests
# that could be elsewhere would need there at least.
_Part = tuple[int, int, int, int, int]


class _Open(NamedTuple):
    """What is left at a node: for each tube the tests that must go there and those that may.

    A tube must hold so much that what could be elsewhere leaves the others no more than their room:
    `low`, counted as the fifth number of a part. `is_cut` says that the budget ruled some way out.
    """

    budget: int
    forced: dict[int, _Part]
    may: dict[int, list[_Priced]]
    low: dict[int, int]
    is_cut: bool


class Fillings:
    """One search over fillings; the prices are those of a microlitre in each tube, times `scale`."""

    def __init__(
        self, tests: Sequence[Options], caps: Sequence[int], prices: Sequence[int], *, scale: int
    ) -> None:
        self.tests = [_Test(1 << n, tuple(options)) for n, options in enumerate(tests)]
        self.caps = caps
        self.prices = prices
        self.scale = scale
        self.work = 0
        self.target = 0
        self.value = 0
        self.found: list[tuple[int, int]] | None = None
        self.trail: list[tuple[int, int]] = []
        self.dead: set[tuple[tuple[int, ...], int]] = set()
        self.met: dict[tuple[tuple[int, ...], int], int] = {}

    def least(self, below: int, *, is_feasible: bool) -> tuple[tuple[int, ...], int] | None:
        """The tube of each test and the least sum of places under `below`; None when there is none.

        `is_feasible` says that some assignment is known, so that it pays to raise the sum slowly.
        Raises `TooMany` where the fillings are too many to list.
        """
        tubes = tuple(sorted({tube for test in self.tests for tube, _, _ in test.options}))
        everything = (1 << len(self.tests)) - 1
        top = below - 1
        target, width = self._floor(tubes), 1 if is_feasible else below
        while True:
            # Invariant: no assignment has a sum under the last target.
            self.target = min(target, top)
            self.met = {}
            is_cut = self._settle(self.tests, tubes, 0, everything)
            if self.found is not None:
                return self._unpacked(), self.value
            if target >= top or not is_cut:
                return None
            target += width
            width *= 2

    def _floor(self, tubes: Sequence[int]) -> int:
        """No sum of places is smaller: the larger of the plain and the Lagrangian bound."""
        plain, priced = 0, -sum(self.prices[tube] * self.caps[tube] for tube in tubes)
        for test in self.tests:
            plain += min(place for _, _, place in test.options)
            priced += min(place * self.scale + self.prices[tube] * need for tube, need, place in test.options)
        return max(plain, -(-priced // self.scale))

    def _unpacked(self) -> tuple[int, ...]:
        tube_of = [-1] * len(self.tests)
        for tube, mask in self.found or ():
            for number in range(len(self.tests)):
                if mask >> number & 1:
                    tube_of[number] = tube
        return tuple(tube_of)

    def _settle(self, tests: Sequence[_Test], left: tuple[int, ...], value: int, todo: int) -> bool:
        """Search these tests in the tubes left; whether the target, not the room, ruled anything out."""
        self.work += len(tests)
        if len(left) == 1:
            return self._settle_last(tests, left[0], value, todo)
        if len(left) == 2 and all(len(t.options) == 1 or t.options[0][1] == t.options[1][1] for t in tests):
            return self._settle_two(tests, left, value)
        there = self._open(tests, left, value)
        if isinstance(there, bool):
            return there
        if len(left) > 2 and not may_fit([test.options for test in tests], self.caps):
            return False
        tube, fillings, is_cut = self._fewest(there, left)
        rest = tuple(t for t in left if t != tube)
        shorn = [_Test(test.bit, tuple(o for o in test.options if o[0] != tube)) for test in tests]
        target = self.target
        for extra, _, mask, place, _ in sorted(fillings):
            if extra > there.budget - (target - self.target) * self.scale:
                return True
            key = (rest, todo & ~mask)
            if key in self.dead:
                continue
            if self.met.get(key, value + place + 1) <= value + place:
                is_cut = True
                continue
            self.met[key] = value + place
            self.trail.append((tube, mask))
            child_is_cut = self._settle([t for t in shorn if not t.bit & mask], rest, value + place, key[1])
            self.trail.pop()
            if child_is_cut or self.found is not None:
                is_cut = True
            else:
                self.dead.add(key)
        return is_cut

    def _open(self, tests: Sequence[_Test], left: Sequence[int], value: int) -> _Open | bool:
        """The prices and room of this node, or whether the target, not the room, leaves it nothing."""
        scale, prices = self.scale, self.prices
        room = sum([self.caps[tube] for tube in left])
        budget = (self.target - value) * scale + sum([prices[tube] * self.caps[tube] for tube in left])
        ways, spare = [], room
        for bit, options in tests:
            priced = [(place * scale + prices[tube] * need, need, place, tube) for tube, need, place in options]
            cheapest = min(priced)[0]
            budget -= cheapest
            spare -= min([need for _, need, _ in options])
            ways.append((bit, cheapest, priced))
        if spare < 0 or budget < 0:
            return spare >= 0
        forced: dict[int, _Part] = dict.fromkeys(left, (0, 0, 0, 0, 0))
        may: dict[int, list[_Priced]] = {tube: [] for tube in left}
        low = {tube: self.caps[tube] - room for tube in left}
        is_cut, total = False, 0
        for bit, cheapest, priced in ways:
            if len(priced) > 1 and max(priced)[0] - cheapest > budget:
                is_cut = True
                priced = [way for way in priced if way[0] - cheapest <= budget]
            if len(priced) == 1:
                _, need, place, tube = priced[0]
                _, load, mask, places, _ = forced[tube]
                forced[tube] = (0, load + need, mask | bit, places + place, 0)
                low[tube] -= need
                total += need
                continue
            least = min([need for _, need, _, _ in priced])
            total += least
            for cost, need, place, tube in priced:
                elsewhere = min([other[1] for other in priced if other[3] != tube])
                may[tube].append(_Priced(need, cost - cheapest, bit, place, elsewhere))
                low[tube] += elsewhere - least
        return _Open(budget, forced, may, {tube: least + total for tube, least in low.items()}, is_cut)

    def _fewest(self, there: _Open, left: Sequence[int]) -> tuple[int, list[_Part], bool]:
        """The tube with the fewest fillings, these, and whether the budget ruled anything out."""
        order = sorted(left, key=lambda tube: len(there.may[tube]))
        most = _FIRST_LIST
        while most <= _MOST_LISTED:
            best: tuple[int, list[_Part], bool] | None = None
            for tube in order:
                listed = self._list(there, tube, most)
                if listed is None:
                    continue
                fillings, is_cut = listed
                if best is None or len(fillings) < len(best[1]):
                    best = tube, fillings, is_cut or there.is_cut
                    most = min(most, 4 * len(fillings))
                if not fillings:
                    break
            if best is not None:
                return best
            most *= _WIDER
        raise TooMany

    def _list(self, there: _Open, tube: int, most: int) -> tuple[list[_Part], bool] | None:
        """Every filling of this tube within the budget, or None when there are more than `most`.
        """
        budget, cap, price, low = there.budget, self.caps[tube], self.prices[tube], there.low[tube]
        rest = sum([test.elsewhere for test in there.may[tube]])
        parts = [there.forced[tube]] if there.forced[tube][1] <= cap else []
        is_cut = False
        for need, extra, bit, place, elsewhere in sorted(there.may[tube], reverse=True):
            rest -= elsewhere
            enough, room, money = low - rest, cap - need, budget - extra
            fit = [part for part in parts if part[1] <= room]
            more = [(p + extra, n + need, m | bit, s + place, e + elsewhere) for p, n, m, s, e in fit if p <= money]
            is_cut = is_cut or len(more) < len(fit)
            parts = [part for part in parts if part[4] >= enough]
            parts += more
            if len(parts) > most:
                return None
        self.work += len(parts)
        if self.work > _MOST_WORK:
            raise TooMany
        full = [(p + price * (cap - n), n, m, s, e) for p, n, m, s, e in parts if e >= low]
        within = [part for part in full if part[0] <= budget]
        return within, is_cut or len(within) < len(full)

    def _settle_last(self, tests: Sequence[_Test], tube: int, value: int, todo: int) -> bool:
        if sum(test.options[0][1] for test in tests) > self.caps[tube]:
            return False
        value += sum(test.options[0][2] for test in tests)
        if value > self.target:
            return True
        self._keep([(tube, todo)], value)
        return False

    def _keep(self, last: list[tuple[int, int]], value: int) -> None:
        self.found = [*self.trail, *last]
        self.value = value
        self.target = value - 1

    def _settle_two(self, tests: Sequence[_Test], left: tuple[int, ...], value: int) -> bool:
        """Two tubes in which every test needs as much: the loads one can reach, at each sum of places."""
        first = left[0]
        both = [test for test in tests if len(test.options) == 2]
        load = sum(t.options[0][1] for t in tests if len(t.options) == 1 and t.options[0][0] == first)
        total = sum(t.options[0][1] for t in tests)
        value += sum(min(place for _, _, place in t.options) for t in tests)
        low, window = max(0, total - self.caps[left[1]]), (2 << self.caps[first]) - 1
        if value > self.target:
            return True
        layers = [{0: 1 << load & window}]
        money, is_cut = self.target - value, False
        for test in both:
            (tube, need, here), (_, _, there) = test.options
            least = min(here, there)
            into, out = (here - least, there - least) if tube == first else (there - least, here - least)
            reach: dict[int, int] = {}
            for spent, loads in layers[-1].items():
                if spent + out <= money:
                    reach[spent + out] = reach.get(spent + out, 0) | loads
                if spent + into <= money:
                    reach[spent + into] = reach.get(spent + into, 0) | loads << need & window
            is_cut = is_cut or max(into, out) > 0
            layers.append(reach)
        fitting = [(spent, loads >> low) for spent, loads in layers[-1].items() if loads >> low]
        if not fitting:
            return is_cut
        spent, loads = min(fitting)
        load = low + (loads & -loads).bit_length() - 1
        self._keep(self._traced(tests, both, left, layers, spent, load), value + spent)
        return False

    def _traced(
        self, tests: Sequence[_Test], both: Sequence[_Test], left: tuple[int, ...],
        layers: Sequence[dict[int, int]], spent: int, load: int,
    ) -> list[tuple[int, int]]:  # fmt: skip
        """The fillings of two tubes that reach this load of the first at this sum of places."""
        masks = dict.fromkeys(left, 0)
        for test in tests:
            if len(test.options) == 1:
                masks[test.options[0][0]] |= test.bit
        for test, before in zip(reversed(both), reversed(layers[:-1]), strict=True):
            least = min(place for _, _, place in test.options)
            for tube, need, place in test.options:
                taken = need if tube == left[0] else 0
                if load >= taken and before.get(spent - place + least, 0) >> (load - taken) & 1:
                    masks[tube] |= test.bit
                    load, spent = load - taken, spent - place + least
                    break
        return list(masks.items())
