"""What a node of the search must cost at least, and what it needs next: bounds that never exceed the cost below it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from cubital.planning.cost import LEAST_RANK, Cost, levels_of, loss_of
from cubital.planning.places import Places
from cubital.planning.question import ENDLESS, Question, bits, with_drops
from cubital.planning.room import hall_fails
from cubital.planning.stock import Shares, least_left_out, scarce_shares


class Node(NamedTuple):
    """Tubes that must be taken, entries that may still be added, tests given up and tests that may be."""

    taken: tuple[int, ...]
    allowed: int
    dropped: int
    droppable: int


class Way(NamedTuple):
    """What a node needs next: add one of `entries` or give up one of `tests` (both bit sets).

    With `gives_up_all` every one of the tests is given up: nothing can serve them any more.
    """

    entries: int
    tests: int
    gives_up_all: bool = False


class Bounds:
    """The bounds of every node of one question; tests, entries and lanes as sets of bits."""

    def __init__(self, question: Question) -> None:
        self.question = question
        self.tests = question.tests
        self.entries = question.entries
        self.stock = question.stock
        self.objective = question.objective
        self.test_entries = [self._servers(test) for test in self.tests]
        self.lane_entries: dict[int, int] = {}
        for number, entry in enumerate(self.entries):
            self.lane_entries[entry.lane] = self.lane_entries.get(entry.lane, 0) | 1 << number
        self.test_lanes = [sum(self.lane_entries.get(lane, 0) for lane in test) for test in self.tests]
        self.least_needs = [min((need for need, _ in test.values()), default=0) for test in self.tests]
        ranks = question.ranks or (LEAST_RANK,) * len(self.tests)
        self.losses = [loss_of(rank) for rank in ranks] if question.may_drop else []
        is_counted = question.objective == "liked-kinds" or question.ceiling is not None
        self.places = Places(self.tests, self.entries) if is_counted else None
        # An optimal packing has no empty tube, so a lane never takes more tubes than it has tests.
        self.lane_tests = {
            lane: sum(1 << n for n, test in enumerate(self.tests) if lane in test) for lane in self.lane_entries
        }
        # Of the tests that only counted stock serves (a bit set), at least so many are left out.
        self.scarce = self.least_left = 0

    def count_scarce(self, root: Node) -> dict[int, Shares]:
        """Count once what counted stock leaves out where tests may be given up; else the tests it alone serves."""
        found = self.scarce_tests(root, root.allowed)
        if not root.droppable:
            return found
        self.least_left = least_left_out(list(found.values()), self.stock)
        self.scarce = sum(1 << n for n in found)
        return {}

    def _servers(self, test: dict[int, tuple[int, int]]) -> int:
        """The entries that could hold this test alone."""
        found = 0
        for number, entry in enumerate(self.entries):
            way = test.get(entry.lane)
            if way is not None and way[0] <= entry.cap_ul:
                found |= 1 << number
        return found

    def still(self, node: Node) -> int:
        """The entries that may still be added: allowed, and their stock item not used up."""
        left = node.allowed
        if not node.taken:
            return left
        used: dict[int, int] = {}
        per_entry: dict[int, int] = {}
        for e in node.taken:
            item = self.entries[e].item
            used[item] = used.get(item, 0) + 1
            per_entry[e] = per_entry.get(e, 0) + 1
        for number, entry in enumerate(self.entries):
            if entry.item in used:
                is_spent = used[entry.item] >= self.stock.get(entry.item, ENDLESS)
                if is_spent or per_entry.get(number, 0) >= entry.most:
                    left &= ~(1 << number)
        return left

    def cost(self, node: Node, tubes: int, blood_ul: int, preference: int) -> Cost:
        left = sum([self.losses[number] for number in bits(node.dropped)]) if node.dropped else 0
        first, second, third = levels_of(self.objective, tubes, blood_ul, preference)
        return left, first, second, third

    def look(self, node: Node) -> tuple[Cost, Way] | None:
        """A cost that nothing below this node undercuts, and what it needs next; None when it is dead.

        Both ways are empty when Hall's condition holds, so that a packing may exist as it stands.
        """
        still = self.still(node)
        have = tubes = blood_ul = 0
        room: dict[int, int] = {}
        for e in node.taken:
            entry = self.entries[e]
            room[entry.lane] = room.get(entry.lane, 0) + entry.cap_ul
            have |= 1 << e
            tubes += 1
            blood_ul += entry.draw_ul
        left_ul = self.question.budget_ul - blood_ul
        if left_ul < 0 or self._has_empty(node):
            return None
        if left_ul < ENDLESS >> 1:
            still = self._affordable(still, left_ul)
        open_tests, covered, stranded = [], [], 0
        for number, servers in enumerate(self.test_entries):
            if node.dropped >> number & 1:
                continue
            if servers & have:
                covered.append(number)
            elif servers & still:
                open_tests.append(((servers & still).bit_count(), number, servers & still))
            else:
                stranded |= 1 << number
        if stranded:
            return self._give_up(node, stranded, tubes, blood_ul, have | still)
        open_tests.sort()
        apart = self._apart(open_tests)
        more = (len(apart), sum(apart))
        need_ul = sum(self.least_needs[n] for n in covered) + sum(self.least_needs[n] for _, n, _ in open_tests)
        short_ul = need_ul - sum(room.values())
        way = Way(0, 0)
        if open_tests:
            _, number, choices = open_tests[0]
            way = Way(choices, 1 << number & node.droppable)
        elif room:
            failing = self._failing(covered, room)
            if failing is not None:
                tests, failing_short_ul = failing
                servers = 0
                for number in bits(tests):
                    servers |= self.test_lanes[number]
                way = Way(servers & still, tests & node.droppable)
                if not way.entries and not way.tests:
                    return None
                more = _most(more, self._cover(way.entries, max(1, failing_short_ul)))
        if short_ul > 0:
            more = _most(more, self._cover(still, short_ul))
        if not node.droppable:
            if more[0] >= ENDLESS or more[1] > left_ul:
                return None
            return self._keep_all(node, tubes, blood_ul, more, way, have, still, open_tests)
        must = self._must_drop(node, apart, short_ul, still, left_ul)
        must = max(must, self.least_left - (node.dropped & self.scarce).bit_count())
        is_beyond = more[0] >= ENDLESS or more[1] > left_ul
        if not must and not is_beyond:
            # Leaving out one more test costs more than any tube, so the tubes still needed count.
            return self._keep_all(node, tubes, blood_ul, more, way, have, still, open_tests)
        must = max(must, 1)
        if must > node.droppable.bit_count():
            return None
        # Whoever is left out, of the tests that share no tube all others still need one each.
        needed = sorted(apart)[: max(0, len(apart) - must)]
        places = self.places.without(node.dropped, have | still, node.droppable, must) if self.places else 0
        cost = self.cost(node, tubes + len(needed), blood_ul + sum(needed), places)
        return self._within_ceiling(with_drops(cost, must, node.droppable, self.losses), places, way)

    def scarce_tests(self, node: Node, still: int) -> dict[int, Shares]:
        """The tests kept that only counted stock serves, with the shares they take of it."""
        ready = still | sum(1 << e for e in set(node.taken))
        kept = {
            n: scarce_shares(self.tests[n], servers & ready, self.entries, self.stock)
            for n, servers in enumerate(self.test_entries)
            if not node.dropped >> n & 1
        }
        return {n: shares for n, shares in kept.items() if shares}

    def _has_empty(self, node: Node) -> bool:
        """Whether some lane has more tubes than tests that may go there."""
        count: dict[int, int] = {}
        for e in node.taken:
            lane = self.entries[e].lane
            count[lane] = count.get(lane, 0) + 1
        return any((self.lane_tests[lane] & ~node.dropped).bit_count() < tubes for lane, tubes in count.items())

    def _affordable(self, still: int, left_ul: int) -> int:
        for e in bits(still):
            if self.entries[e].draw_ul > left_ul:
                still &= ~(1 << e)
        return still

    def _keep_all(
        self, node: Node, tubes: int, blood_ul: int, more: tuple[int, int], way: Way, have: int, still: int,
        open_tests: Sequence[tuple[int, int, int]],
    ) -> tuple[Cost, Way] | None:  # fmt: skip
        """The bound where nothing more is left out: at least so many more tubes and so much more blood.

        The sum of places is bounded for exactly so many tubes: a packing with more costs more before it.
        """
        places = 0
        if self.places is not None:
            if not more[0]:
                places = self.places.least(node.dropped, have)
            elif more[0] == 1:
                choices = way.entries
                for _, _, servers in open_tests:
                    choices &= servers
                places = min((self.places.least(node.dropped, have | 1 << e) for e in bits(choices)), default=ENDLESS)
            else:
                places = self.places.least(node.dropped, have | still)
        return self._within_ceiling(self.cost(node, tubes + more[0], blood_ul + more[1], places), places, way)

    def _within_ceiling(self, cost: Cost, places: int, way: Way) -> tuple[Cost, Way] | None:
        ceiling = self.question.ceiling
        if ceiling is not None and (*cost[:2], places if cost[:2] == ceiling[:2] else 0) > ceiling:
            return None
        return cost, way

    def _give_up(self, node: Node, stranded: int, tubes: int, blood_ul: int, reach: int) -> tuple[Cost, Way] | None:
        """Tests that nothing can serve any more must be left out, if they may be."""
        if stranded & ~node.droppable:
            return None
        places = self.places.least(node.dropped | stranded, reach) if self.places else 0
        cost = with_drops(
            self.cost(node, tubes, blood_ul, places), stranded.bit_count(), stranded, self.losses
        )  # fmt: skip
        return self._within_ceiling(cost, places, Way(0, stranded, True))

    def _apart(self, open_tests: Sequence[tuple[int, int, int]]) -> list[int]:
        """The least draws of open tests of which no two can share a tube: they add up."""
        spread, draws = 0, []
        for _, _, choices in open_tests:
            if not choices & spread:
                spread |= choices
                draws.append(min(self.entries[e].draw_ul for e in bits(choices)))
        return draws

    def _failing(self, covered: Sequence[int], room: dict[int, int]) -> tuple[int, int] | None:
        """Tests that cannot fit together in their taken lanes, and by how much their least needs exceed them.

        A test may need less in a lane not yet taken, so the shortfall is counted in least needs.
        """
        lanes = sorted(room)
        index = {lane: i for i, lane in enumerate(lanes)}
        masks_needs = []
        for number in covered:
            mask, least = 0, ENDLESS
            for lane, (need, _) in self.tests[number].items():
                i = index.get(lane)
                if i is not None:
                    mask |= 1 << i
                    if need < least:
                        least = need
            masks_needs.append((mask, least))
        failing = hall_fails(masks_needs, [room[lane] for lane in lanes])
        if not failing:
            return None
        tests, short_ul = 0, -sum(room[lane] for i, lane in enumerate(lanes) if failing >> i & 1)
        for number, (mask, _) in zip(covered, masks_needs, strict=True):
            if not mask & ~failing:
                tests |= 1 << number
                short_ul += self.least_needs[number]
        return tests, short_ul

    def _cover(self, choices: int, short_ul: int) -> tuple[int, int]:
        """At least so many tubes, and so much blood, give `short_ul` more room in these entries."""
        caps = []
        draw, cap, least = 1, 0, ENDLESS
        for e in bits(choices):
            entry = self.entries[e]
            times = min(entry.most, self.stock.get(entry.item, ENDLESS), short_ul // entry.cap_ul + 1)
            caps.append((entry.cap_ul, times))
            least = min(least, entry.draw_ul)
            if cap == 0 or entry.draw_ul * cap < draw * entry.cap_ul:
                draw, cap = entry.draw_ul, entry.cap_ul
        caps.sort(reverse=True)
        tubes, left = 0, short_ul
        for each, times in caps:
            use = min(times, -(-left // each))
            tubes += use
            left -= use * each
            if left <= 0:
                return tubes, max(least, -(-short_ul * draw // cap))
        return ENDLESS, ENDLESS

    def _must_drop(self, node: Node, apart: Sequence[int], short_ul: int, still: int, left_ul: int) -> int:
        """At least so many more tests are left out, by blood for apart tests and by room for all."""
        fit, spent = 0, 0
        for draw_ul in sorted(apart):
            spent += draw_ul
            if spent > left_ul:
                break
            fit += 1
        must = len(apart) - fit
        if short_ul > 0:
            by_blood_ul = by_stock_ul = 0
            for e in bits(still):
                entry = self.entries[e]
                by_blood_ul = max(by_blood_ul, left_ul * entry.cap_ul // entry.draw_ul)
                by_stock_ul += entry.cap_ul * min(entry.most, self.stock.get(entry.item, ENDLESS))
            over, count = short_ul - min(by_blood_ul, by_stock_ul), 0
            needs = sorted((self.least_needs[n] for n in bits(node.droppable)), reverse=True)
            while over > 0 and count < len(needs):
                over -= needs[count]
                count += 1
            must = max(must, count)
        return must


def _most(first: tuple[int, int], second: tuple[int, int]) -> tuple[int, int]:
    return max(first[0], second[0]), max(first[1], second[1])
