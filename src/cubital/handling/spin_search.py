"""The search for the best runs: exact where it ends, with a bound where it is stopped.

The question. Tubes of families (programs) wait for parallel centrifuges that differ. A run takes tubes
that one setting serves and that the rotor holds in balanced pairs; it starts when its centrifuge is free and
each of its tubes is ready, and lasts as long as its setting says. Each tube is in one run. Least comes
first: tubes late, seconds late in all, runs, end of the last run.

What is left to do depends on the tubes left and on when each station is free, and on nothing else. So
it is enough to choose, again and again, the run that ends first of all that are still to come:

- It starts when its station is free or when one of its tubes becomes ready: else it could start earlier.
- It is full: no tube ready by its start and served by its setting still fits. Each such tube would be
  in a run that ends no earlier; moving it here makes it no later and leaves the other run no worse.
- Of one class it takes the tubes due first of those it brings in time: if it took `j` and left `i` for
  later, due no later than `j`, then exchanging them makes `i` come in time, and `j` late only if `i` was
  late, by no more. The exchange needs `j` ready at the later run, which may start earlier if
  it lasts longer; where that is open both are tried.
- Those that even this run brings late come late in any later one, and cost the same second for second,
  so any of a class do: those ready last, which fit the fewest other runs.
- How many of a class, and how many of them late already, is tried in every way that fills the rotor.

A state that has the same tubes left as another, each station free no earlier and a cost no less, is
dropped. States are taken by their lower bound, so the first that has no tube left is the optimum.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator

import msgspec

from cubital.handling.spin_bench import NEVER, Bench, Way, bits
from cubital.handling.spin_bound import Bounds, Cost
from cubital.handling.spin_fillings import fillings

BEAM, QUICK_STARTS = 24, 6
NOTHING: Cost = (0, 0, 0, -NEVER)


class Chosen(msgspec.Struct, frozen=True, kw_only=True):
    """One run as the search chose it; `tubes` as bits."""

    machine: int
    way: Way
    start_s: int
    end_s: int
    tubes: int


class Found(msgspec.Struct, frozen=True, kw_only=True):
    """The best runs that were found, what they cost, what none can cost less than, and the steps taken."""

    runs: tuple[Chosen, ...]
    cost: Cost
    bound: Cost
    steps: int


class State(msgspec.Struct, frozen=True, eq=False):
    """What is left, when each station is free, what the runs so far cost, and how it came about."""

    left: int
    free_s: tuple[int, ...]
    cost: Cost
    run: Chosen | None = None
    before: State | None = None

    def runs(self) -> tuple[Chosen, ...]:
        """The runs so far, in the order they were chosen."""
        found = []
        state: State | None = self
        while state is not None:
            if state.run is not None:
                found.append(state.run)
            state = state.before
        return tuple(reversed(found))


def search(bench: Bench, *, most_steps: int) -> Found:
    """The best runs for this bench, proved in at most so many steps or bounded."""
    return _Search(bench).solve(most_steps)


class _Search:
    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.bounds = Bounds(bench)
        self.seen: dict[int, list[tuple[tuple[int, ...], Cost]]] = {}

    def solve(self, most_steps: int) -> Found:
        first = State(self.bench.everything, tuple(s.free_s for s in self.bench.stations), NOTHING)
        best = self._dive(first)
        root = self.bounds.below(first.left, first.free_s, NOTHING)
        heap = [(root, first.left.bit_count(), 0, first)]
        steps = pushed = 0
        # Every plan that costs less than `best` goes on from a state in the heap.
        while heap and heap[0][0] < best.cost:
            if steps >= most_steps:
                return Found(runs=best.runs(), cost=best.cost, bound=heap[0][0], steps=steps)
            *_, state = heapq.heappop(heap)
            if not state.left:
                best = state
                break
            if self._is_passed(state):
                continue
            steps += 1
            for child in self.children(state, best.cost):
                if not child.left:
                    best = child if child.cost < best.cost else best
                    continue
                if self._leads_nowhere(child, best.cost) or self._is_worse(child):
                    continue
                pushed += 1
                bound = self.bounds.below(child.left, child.free_s, child.cost)
                heapq.heappush(heap, (bound, child.left.bit_count(), pushed, child))
        return Found(runs=best.runs(), cost=best.cost, bound=best.cost, steps=steps)

    def _leads_nowhere(self, child: State, best: Cost) -> bool:
        """Whether nothing better comes of this run where it is the first of all the rest to end.

        That is all it is tried for. The child itself may be worth more, when other runs end before it.
        """
        assert child.run is not None
        floor_s = child.run.end_s
        return self.bounds.below(child.left, child.free_s, child.cost, floor_s=floor_s, best=best) >= best

    def _dive(self, first: State) -> State:
        """A good plan soon: the most promising states only, run by run, each run loaded by what is due first."""
        states = [first]
        best: State | None = None
        while states:
            ranked: dict[tuple[int, tuple[int, ...]], tuple[Cost, int, State]] = {}
            for state in states:
                for child in self._quick_children(state):
                    if not child.left:
                        best = child if best is None or child.cost < best.cost else best
                        continue
                    bound = self.bounds.below(child.left, child.free_s, child.cost)
                    key = (child.left, self._key(child.free_s))
                    if key not in ranked or bound < ranked[key][0]:
                        ranked[key] = (bound, child.left.bit_count(), child)
            chosen = sorted(ranked.values(), key=lambda entry: entry[:2])[:BEAM]
            states = [state for bound, _, state in chosen if best is None or bound < best.cost]
        if best is None:
            raise ValueError("found a tube that no run can take; expected each to be served somewhere")
        return best

    def _quick_children(self, state: State) -> Iterator[State]:
        """A few runs that may come next: soon, and full of what is due first."""
        bench = self.bench
        for k, station in enumerate(bench.stations):
            for way in station.ways:
                wanted = state.left & way.tubes
                free_s = state.free_s[k]
                for start_s in [free_s, *bench.starts_after(free_s, wanted)][:QUICK_STARTS] if wanted else ():
                    ready = wanted & bench.ready_by(start_s)
                    if ready:
                        yield self._after(state, k, way, start_s, bench.first_due(station.machine, ready))

    def children(self, state: State, best: Cost) -> Iterator[State]:
        """Each state after one more run that may be the next to end in a plan that costs less than `best`."""
        bench = self.bench
        for number, machine in enumerate(bench.machines):
            if machine.twin is not None and self._is_same(state.free_s, number, machine.twin):
                continue
            for k in machine.stations:
                quicker: list[int] = []
                for way in bench.stations[k].ways:
                    for start_s, tubes in self._loads(state, k, way, best):
                        # A quicker way that serves them all is tried with them from the same second.
                        if all(tubes & ~served for served in quicker):
                            yield self._after(state, k, way, start_s, tubes)
                    quicker.append(way.tubes)

    def _loads(self, state: State, station: int, way: Way, best: Cost) -> Iterator[tuple[int, int]]:
        """The seconds at which this run may start, each with every load that is worth trying."""
        bench = self.bench
        wanted = state.left & way.tubes
        if not wanted:
            return
        free_s = state.free_s[station]
        machine = bench.stations[station].machine
        for start_s in (free_s, *bench.starts_after(free_s, wanted)):
            if self._is_too_late(state, start_s + way.run_s, best):
                return
            ready = wanted & bench.ready_by(start_s)
            if not ready:
                continue
            if bench.fits(machine, ready):
                yield start_s, ready
                continue
            settled_s = self._settled(state, station, start_s, way, wanted)
            for tubes in fillings(bench, machine, ready, end_s=start_s + way.run_s, settled_s=settled_s):
                if start_s == free_s or any(bench.ready[i] == start_s for i in bits(tubes)):
                    yield start_s, tubes

    def _is_too_late(self, state: State, end_s: int, best: Cost) -> bool:
        """Whether a plan in which nothing that is left ends before this second costs more than the best."""
        late = state.left & self.bench.due_before(end_s)
        missed = state.cost[0] + late.bit_count()
        if missed != best[0]:
            return missed > best[0]
        return state.cost[1] + sum(end_s - self.bench.due[i] for i in bits(late)) > best[1]

    def _settled(self, state: State, station: int, start_s: int, way: Way, wanted: int) -> list[int]:
        """For each class, the second from which any later run that may hold it starts at the earliest."""
        bench = self.bench
        end_s = start_s + way.run_s
        found = []
        for mask in bench.classes:
            earliest = start_s
            if mask & wanted:
                for k, other in enumerate(bench.stations):
                    longest = max((w.run_s for w in other.ways if w.tubes & mask), default=0)
                    if longest and other.machine != bench.stations[station].machine:
                        earliest = min(earliest, max(state.free_s[k], end_s - longest))
            found.append(earliest)
        return found

    def _after(self, state: State, station: int, way: Way, start_s: int, tubes: int) -> State:
        bench = self.bench
        here = bench.stations[station]
        machine = bench.machines[here.machine]
        end_s = start_s + way.run_s
        again_s = end_s + machine.centrifuge.reload_s
        free_s = list(state.free_s)
        for k in machine.stations:
            free_s[k] = again_s if k == station else again_s + machine.centrifuge.temp_change_s
        left = state.left & ~tubes
        for k in range(len(free_s)):
            free_s[k] = max(free_s[k], bench.first_ready(left & bench.served[k]))
        missed, late_s, runs, last_s = state.cost
        for i in bits(tubes):
            if end_s > bench.due[i]:
                missed += 1
                late_s += end_s - bench.due[i]
        run = Chosen(machine=here.machine, way=way, start_s=start_s, end_s=end_s, tubes=tubes)
        cost = (missed, late_s, runs + 1, max(last_s, end_s))
        return State(left, tuple(free_s), cost, run, state)

    def _is_same(self, free_s: tuple[int, ...], number: int, twin: int) -> bool:
        """Whether an earlier machine of the same make is free just as this one is."""
        machines = self.bench.machines
        mine = [free_s[k] for k in machines[number].stations]
        return any(
            mine == [free_s[k] for k in other.stations]
            for other in machines[:number]
            if other.twin == twin or other is machines[twin]
        )

    def _key(self, free_s: tuple[int, ...]) -> tuple[int, ...]:
        """When stations are free, with machines of one make in order: they are interchangeable."""
        machines = self.bench.machines
        if all(machine.twin is None for machine in machines):
            return free_s
        makes: dict[int, list[tuple[int, ...]]] = {}
        for number, machine in enumerate(machines):
            make = number if machine.twin is None else machine.twin
            makes.setdefault(make, []).append(tuple(free_s[k] for k in machine.stations))
        return tuple(s for make in makes.values() for block in sorted(make) for s in block)

    def _is_worse(self, state: State) -> bool:
        """Whether a state with the same tubes left, met before, is at least as good; else it is noted."""
        key = self._key(state.free_s)
        met = self.seen.setdefault(state.left, [])
        for free_s, cost in met:
            if cost <= state.cost and all(a <= b for a, b in zip(free_s, key, strict=True)):
                return True
        met[:] = [
            (free_s, cost)
            for free_s, cost in met
            if not (state.cost <= cost and all(a <= b for a, b in zip(key, free_s, strict=True)))
        ]
        met.append((key, state.cost))
        return False

    def _is_passed(self, state: State) -> bool:
        """Whether a better state with the same tubes left was met after this one was noted."""
        if state.run is None:
            return False
        return (self._key(state.free_s), state.cost) not in self.seen.get(state.left, [])
