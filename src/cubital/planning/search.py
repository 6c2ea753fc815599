"""The exact search over which tubes to take, for the questions that one tube cannot answer.

A node is a multiset of tubes that every solution below it contains, with the tests given up so far.
If some tests cannot fit in it (Hall's condition), at least one more tube that serves them is needed,
or one of them is given up; each child does one of these, and may not do what an earlier sibling did,
so no choice is met twice. Nodes are taken in order of a bound (`bounds`) that never exceeds the cost below
them, so the first complete one taken is optimal (A*; P. E. Hart, N. J. Nilsson, B. Raphael,
IEEE Trans Syst Sci Cybern 1968;4:100-107).
"""

from __future__ import annotations

from heapq import heappop, heappush

from cubital.planning.assignment import ANY, Placed, Unfit, assign
from cubital.planning.bounds import Bounds, Node, Way
from cubital.planning.cost import Cost
from cubital.planning.question import Found, Question, bits
from cubital.planning.stock import fails_in_parts, fails_whole

_LONG = 100  # nodes after which it pays to ask whether the whole stock could hold the tests at all
_NOTHING: Cost = (0, 0, 0, 0)
# A bound or cost, the node, and either what it needs next or its complete assignment.
_Child = tuple[Cost, Node, Way | Placed]


def search(question: Question, *, node_limit: int) -> Found:
    """The least-cost packing of this question, or the best bound and a packing when the limit cuts it."""
    return _Search(question).run(node_limit)


class _Search:
    def __init__(self, question: Question) -> None:
        self.question = question
        self.tests = question.tests
        self.entries = question.entries
        self.stock = question.stock
        self.bounds = Bounds(question)
        self.look = self.bounds.look
        # The cheapest packing met so far: an assignment elsewhere counts only when it beats it.
        self.best: Cost | None = None
        # The least cost that an assignment which was cut might have had: nothing above it is proved.
        self.doubt: Cost | None = None

    def run(self, node_limit: int) -> Found:
        everything = (1 << len(self.tests)) - 1
        root = Node((), (1 << len(self.entries)) - 1, 0, everything if self.question.may_drop else 0)
        heap: list[tuple[Cost, int, Node, Way | Placed]] = []
        scarce = self.bounds.count_scarce(root)
        first = self.look(root)
        if first is not None and not fails_in_parts(list(scarce.values()), self.stock):
            heap.append((first[0], 0, root, first[1]))
        serial = nodes = 0
        while heap:
            if nodes == _LONG and fails_whole(list(scarce.values()), self.stock):
                return Found((), None, _NOTHING, _NOTHING, nodes, True)
            cost, _, node, goes_on = heappop(heap)
            if isinstance(goes_on, Placed):
                bound = self._undoubted(cost)
                return Found(node.taken, goes_on.tube_of, cost, bound, nodes, bound == cost)
            nodes += 1
            if nodes > node_limit:
                return self._dive(node, goes_on, cost, nodes)
            for child_cost, child, way in self._children(node, goes_on):
                serial += 1
                heappush(heap, (child_cost, -serial, child, way))
        return Found((), None, _NOTHING, _NOTHING, nodes, self.doubt is None)

    def _undoubted(self, cost: Cost) -> Cost:
        return cost if self.doubt is None else min(cost, self.doubt)

    def _dive(self, node: Node, way: Way, bound: Cost, nodes: int) -> Found:
        """Some packing below the best open node, depth first, when the search was cut off."""
        bound = self._undoubted(bound)
        stack: list[_Child] = [(bound, node, way)]
        for _ in range(20_000):
            if not stack:
                break
            cost, node, goes_on = stack.pop()
            if isinstance(goes_on, Placed):
                return Found(node.taken, goes_on.tube_of, cost, bound, nodes, False)
            stack.extend(sorted(self._children(node, goes_on), key=lambda child: child[0], reverse=True))
        return Found((), None, _NOTHING, bound, nodes, False)

    def _children(self, node: Node, way: Way) -> list[_Child]:
        if not way.entries and not way.tests:
            found = self._leaf(node)
            if not isinstance(found, Way):
                return [] if found is None else [found]
            way = found
        children: list[_Child] = []
        if way.gives_up_all:
            kept = node.droppable & ~way.tests
            self._add(children, Node(node.taken, node.allowed, node.dropped | way.tests, kept))
            return children
        allowed = node.allowed
        for e in bits(way.entries):
            self._add(children, Node(tuple(sorted((*node.taken, e))), allowed, node.dropped, node.droppable))
            allowed &= ~(1 << e)
        droppable = node.droppable
        for number in bits(way.tests):
            bit = 1 << number
            self._add(children, Node(node.taken, allowed, node.dropped | bit, droppable & ~bit))
            droppable &= ~bit
        return children

    def _leaf(self, node: Node) -> _Child | Way | None:
        """The best packing of these tubes as they stand; else what may help, None where nothing can pay."""
        tubes, blood_ul = len(node.taken), sum(self.entries[e].draw_ul for e in node.taken)
        plain = self.bounds.cost(node, tubes, blood_ul, 0)
        below, is_last = self._below(plain)
        placed = self._place(node, below)
        if isinstance(placed, Placed):
            cost = self.bounds.cost(node, tubes, blood_ul, placed.preference)
            if placed.least < placed.preference:
                self._doubt(self.bounds.cost(node, tubes, blood_ul, placed.least))
            self.best = cost if self.best is None else min(self.best, cost)
            return cost, node, placed
        if not placed.proved:
            self._doubt(plain)
        elif placed.is_beaten and is_last:
            return None
        if placed.is_beaten:  # by what another test takes from the sum, perhaps: any tube might help
            everything = (1 << len(self.tests)) - 1 & ~node.dropped
            placed = placed._replace(tests=tuple(bits(everything)))
        return self._beyond(node, placed)

    def _below(self, plain: Cost) -> tuple[int, bool]:
        """The sum of places that a packing of this cost must beat, and whether more tubes would cost more anyway."""
        below, is_last = ANY, False
        best, ceiling = self.best, self.question.ceiling
        if self.question.objective == "liked-kinds":
            if best is not None and best[:2] == plain[:2]:
                below, is_last = best[2] + (plain[3] < best[3]), True
        elif best is not None and best[:3] == plain[:3]:
            below, is_last = best[3], True
        if ceiling is not None and ceiling[:2] == plain[:2]:
            below, is_last = min(below, ceiling[2] + 1), True
        return below, is_last

    def _doubt(self, cost: Cost) -> None:
        self.doubt = cost if self.doubt is None else min(self.doubt, cost)

    def _beyond(self, node: Node, unfit: Unfit) -> Way | None:
        """What may help tests that do not fit whole: a tube in one of their lanes, or leaving one out."""
        still = self.bounds.still(node)
        if not node.droppable and fails_in_parts(list(self.bounds.scarce_tests(node, still).values()), self.stock):
            return None
        lanes = tests = 0
        for number in unfit.tests:
            lanes |= self.bounds.test_lanes[number]
            tests |= 1 << number
        return Way(still & lanes, node.droppable & tests)

    def _add(self, children: list[_Child], child: Node) -> None:
        looked = self.look(child)
        if looked is not None:
            children.append((looked[0], child, looked[1]))

    def _place(self, node: Node, below: int) -> Placed | Unfit:
        """The tests that are kept, placed in the tubes taken; numbers are those of the question."""
        tubes = [self.entries[e] for e in node.taken]
        by_lane: dict[int, list[int]] = {}
        for i, entry in enumerate(tubes):
            by_lane.setdefault(entry.lane, []).append(i)
        kept = [n for n in range(len(self.tests)) if not node.dropped >> n & 1]
        options = [
            [(i, need, place) for lane, (need, place) in self.tests[n].items() for i in by_lane.get(lane, ())]
            for n in kept
        ]
        placed = assign(options, [entry.cap_ul for entry in tubes], [entry.lane for entry in tubes], below=below)
        if isinstance(placed, Unfit):
            return placed._replace(tests=tuple(kept[n] for n in placed.tests))
        tube_of = [-1] * len(self.tests)
        for n, tube in zip(kept, placed.tube_of, strict=True):
            tube_of[n] = tube
        return placed._replace(tube_of=tuple(tube_of))
