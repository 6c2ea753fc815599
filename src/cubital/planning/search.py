"""The exact search over which tubes to take, for the questions that one tube cannot answer.

A node is a multiset of tubes that every solution below it contains. If some tests cannot fit in it
(Hall's condition), at least one more tube that serves them is needed, and the children each add one;
a child may not add what an earlier sibling added, so no multiset is met twice. Nodes are taken in
order of a bound that never exceeds the cost below them, so the first complete one taken is optimal
(A*; P. E. Hart, N. J. Nilsson, B. Raphael, IEEE Trans Syst Sci Cybern 1968;4:100-107).
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush
from typing import NamedTuple

from cubital.planning.assignment import Placed, assign, hall_allows


class Entry(NamedTuple):
    """A tube that may be taken: its lane (tests that it serves), draw, capacity, stock item and how many."""

    lane: int
    draw_ul: int
    cap_ul: int
    item: int
    most: int


class Question(NamedTuple):
    """A packing question: for each test its needs and places by lane, and the tubes that may be taken."""

    tests: tuple[dict[int, tuple[int, int]], ...]
    entries: tuple[Entry, ...]
    stock: dict[int, int]
    least_blood: bool


class Found(NamedTuple):
    """An answer: the tubes taken (entry numbers), who sits where, and what was proved."""

    taken: tuple[int, ...]
    placed: Placed | None
    bound: tuple[int, int, int]
    nodes: int
    finished: bool


class _Node(NamedTuple):
    """Tubes that must be taken, and which entries may still be added (bit set)."""

    taken: tuple[int, ...]
    allowed: int


def search(question: Question, *, node_limit: int) -> Found:
    """The least cost packing of this question, or the best bound when `node_limit` stops it first.

    Costs are triples in the objective's order: (tubes, blood, preference) or (blood, tubes,
    preference). `placed` None with `finished` true means that the stock cannot serve the tests.
    """
    return _Cover(question).run(node_limit)


class _Cover:
    def __init__(self, question: Question) -> None:
        self.tests = question.tests
        self.entries = question.entries
        self.stock = question.stock
        self.least_blood = question.least_blood
        lanes = sorted({entry.lane for entry in self.entries})
        self.lane_entries = dict.fromkeys(lanes, 0)
        for number, entry in enumerate(self.entries):
            self.lane_entries[entry.lane] |= 1 << number
        self.test_entries = [self._servers(test) for test in self.tests]
        self.least_needs = [min((need for need, _ in test.values()), default=0) for test in self.tests]

    def _servers(self, test: dict[int, tuple[int, int]]) -> int:
        """The entries that could hold this test alone."""
        found = 0
        for number, entry in enumerate(self.entries):
            way = test.get(entry.lane)
            if way is not None and way[0] <= entry.cap_ul:
                found |= 1 << number
        return found

    def run(self, node_limit: int) -> Found:
        heap: list[tuple[tuple[int, int, int], int, _Node, Placed | None]] = []
        serial = nodes = 0
        root = _Node((), (1 << len(self.entries)) - 1)
        bound = self._bound(root)
        if bound is not None:
            heap.append((bound[0], 0, root, None))
        proved = (0, 0, 0)
        while heap:
            cost, _, node, placed = heappop(heap)
            proved = cost
            if placed is not None:
                return Found(node.taken, placed, cost, nodes, True)
            nodes += 1
            if nodes > node_limit:
                return Found((), None, proved, nodes, False)
            for child_cost, child, child_placed in self._children(node):
                serial += 1
                heappush(heap, (child_cost, -serial, child, child_placed))
        return Found((), None, proved, nodes, True)

    def _cost(self, taken: Sequence[int], preference: int) -> tuple[int, int, int]:
        blood = sum(self.entries[e].draw_ul for e in taken)
        return (blood, len(taken), preference) if self.least_blood else (len(taken), blood, preference)

    def _still(self, node: _Node) -> int:
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
            spent = used.get(entry.item, 0) >= self.stock.get(entry.item, 1 << 30)
            if spent or per_entry.get(number, 0) >= entry.most:
                left &= ~(1 << number)
        return left

    def _bound(self, node: _Node) -> tuple[tuple[int, int, int], int] | None:
        """A cost no solution below this node undercuts, and the entries of which one must be added.

        None when nothing below can be complete; an empty set of entries when Hall's condition holds.
        """
        still = self._still(node)
        room: dict[int, int] = {}
        for e in node.taken:
            entry = self.entries[e]
            room[entry.lane] = room.get(entry.lane, 0) + entry.cap_ul
        have = 0
        for e in node.taken:
            have |= 1 << e
        reach = have | still
        tubes, blood = len(node.taken), sum(self.entries[e].draw_ul for e in node.taken)
        # Tests that no taken tube serves: disjoint choices add up.
        taken_spread = 0
        branch, branch_size = 0, 1 << 30
        more_tubes = more_blood = 0
        lanes = sorted(room)
        index = {lane: i for i, lane in enumerate(lanes)}
        masks_needs = []
        open_tests: list[tuple[int, int, int]] = []
        for number, servers in enumerate(self.test_entries):
            if not servers & reach:
                return None
            test = self.tests[number]
            if servers & have:
                mask, least = 0, 1 << 60
                for lane, (need, _) in test.items():
                    i = index.get(lane)
                    if i is not None:
                        mask |= 1 << i
                        if need < least:
                            least = need
                masks_needs.append((mask, least))
            else:
                choices = servers & still
                open_tests.append((choices.bit_count(), number, choices))
        open_tests.sort()
        for size, _, choices in open_tests:
            if not choices & taken_spread:
                taken_spread |= choices
                more_tubes += 1
                more_blood += min(self.entries[e].draw_ul for e in _bits(choices))
            if size < branch_size:
                branch, branch_size = choices, size
        if not open_tests and lanes:
            failing = hall_allows(masks_needs, [room[lane] for lane in lanes])
            if failing:
                # A test may need less in a lane not yet taken, so the shortfall is in least needs.
                short = -sum(room[lane] for i, lane in enumerate(lanes) if failing >> i & 1)
                servers = 0
                for number, (mask, _) in enumerate(masks_needs):
                    if not mask & ~failing:
                        servers |= self._lanes_of(number)
                        short += self.least_needs[number]
                branch = servers & still
                if not branch:
                    return None
                t, b = self._cover_short(branch, max(1, short))
                more_tubes, more_blood = max(more_tubes, t), max(more_blood, b)
        short = sum(self.least_needs) - sum(room.values())
        if short > 0:
            if not still:
                return None
            t, b = self._cover_short(still, short)
            if t > 1 << 20:
                return None
            more_tubes, more_blood = max(more_tubes, t), max(more_blood, b)
        tubes, blood = tubes + more_tubes, blood + more_blood
        cost = (blood, tubes, 0) if self.least_blood else (tubes, blood, 0)
        return cost, branch

    def _lanes_of(self, number: int) -> int:
        found = 0
        for lane in self.tests[number]:
            found |= self.lane_entries.get(lane, 0)
        return found

    def _cover_short(self, choices: int, short: int) -> tuple[int, int]:
        """At least so many tubes, and so much blood, to find `short` microlitres more room in these entries."""
        caps = []
        best_num, best_den, least = 1, 0, 1 << 60
        for e in _bits(choices):
            entry = self.entries[e]
            times = min(entry.most, self.stock.get(entry.item, 1 << 30), short // max(1, entry.cap_ul) + 1)
            caps.append((entry.cap_ul, times))
            if entry.draw_ul < least:
                least = entry.draw_ul
            if best_den == 0 or entry.draw_ul * best_den < best_num * entry.cap_ul:
                best_num, best_den = entry.draw_ul, entry.cap_ul
        caps.sort(reverse=True)
        tubes, left = 0, short
        for cap, times in caps:
            use = min(times, -(-left // cap))
            tubes += use
            left -= use * cap
            if left <= 0:
                break
        else:
            return 1 << 30, 0
        return tubes, max(least, -(-short * best_num // best_den))

    def _children(self, node: _Node) -> list[tuple[tuple[int, int, int], _Node, Placed | None]]:
        found = self._bound(node)
        if found is None:
            return []
        branch = found[1]
        if not branch:
            placed = self._place(node.taken)
            if placed is not None:
                return [(self._cost(node.taken, placed.preference), node, placed)]
            branch = self._still(node)
        children: list[tuple[tuple[int, int, int], _Node, Placed | None]] = []
        allowed = node.allowed
        for e in _bits(branch):
            child = _Node(tuple(sorted((*node.taken, e))), allowed)
            bounded = self._bound(child)
            if bounded is not None:
                children.append((bounded[0], child, None))
            allowed &= ~(1 << e)
        return children

    def _place(self, taken: Sequence[int]) -> Placed | None:
        tubes = [self.entries[e] for e in taken]
        by_lane: dict[int, list[int]] = {}
        for i, entry in enumerate(tubes):
            by_lane.setdefault(entry.lane, []).append(i)
        options = [
            [(i, need, place) for lane, (need, place) in test.items() for i in by_lane.get(lane, ())]
            for test in self.tests
        ]
        return assign(options, [entry.cap_ul for entry in tubes], [entry.lane for entry in tubes])


def _bits(mask: int) -> list[int]:
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found
