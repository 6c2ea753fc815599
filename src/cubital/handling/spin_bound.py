"""What no way to spin the tubes that are left can be better than."""

from __future__ import annotations

from collections.abc import Sequence

from cubital.handling.spin_bench import NEVER, Bench, bits
from cubital.units import ceil_div

# Missed deadlines, seconds late, runs, the end of the last run: compared in this order.
Cost = tuple[int, int, int, int]


class Bounds:
    """Lower bounds for a bench, from what is left and when each station is free.

    Each is the optimum of a looser question, so that none is ever above the truth. The seconds late
    are bounded whatever is missed; runs and the last end are bounded for plans that miss no more
    than the bound says, which is enough where missing less comes first.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.fastest = [
            [min((w.run_s for w in s.ways if w.tubes & mask), default=NEVER) for s in bench.stations]
            for mask in bench.classes
        ]
        self.quickest = [min(row) for row in self.fastest]
        self.most = [min(2 * m.pairs, len(bench.tubes)) for m in bench.machines]
        self.group_most = [bench.most_of(group) for group in bench.groups]
        self.most_pairs = max(m.pairs for m in bench.machines)
        self.whole_most = bench.most_of(bench.everything)

    def below(self, left: int, free_s: Sequence[int], cost: Cost, *, floor_s: int = -NEVER) -> Cost:
        """The least that a plan can cost in all, with these tubes left to spin, none to end before `floor_s`."""
        missed, late_s, runs, end_s = cost
        if not left:
            return cost
        tubes = list(bits(left))
        starts, ends = self._alone(tubes, free_s, floor_s)
        ready_s = min(starts[i] for i in tubes)
        paces = self._paces(left, free_s, ready_s)
        slots = self._slots(paces, len(tubes), floor_s)
        forced, more_missed = self._missed(tubes, ends, slots)
        more_late_s = self._late(tubes, ends, slots)
        more_runs = self._runs(left, starts, forced if forced.bit_count() == more_missed else left)
        last_s = max(end_s, max(ends[i] for i in tubes), self._nth_end(paces, more_runs))
        return missed + more_missed, late_s + more_late_s, runs + more_runs, last_s

    def _alone(self, tubes: list[int], free_s: Sequence[int], floor_s: int) -> tuple[dict[int, int], dict[int, int]]:
        """The earliest start and end of each tube if it had the centrifuges to itself."""
        bench = self.bench
        ways: dict[int, list[tuple[int, int]]] = {}
        starts: dict[int, int] = {}
        ends: dict[int, int] = {}
        for i in tubes:
            c = bench.class_of[i]
            if c not in ways:
                ways[c] = [(free, run) for free, run in zip(free_s, self.fastest[c], strict=True) if run < NEVER]
            ready_s = bench.ready[i]
            start = end = NEVER * 2
            for free, run in ways[c]:
                at = ready_s if ready_s > free else free
                start = min(start, at)
                end = min(end, at + run)
            starts[i], ends[i] = start, end if end > floor_s else floor_s
        return starts, ends

    def _paces(self, left: int, free_s: Sequence[int], ready_s: int) -> list[tuple[int, int, int]]:
        """For each machine the end of its first run at the earliest, the time to the next, and its places."""
        found = []
        classes = [c for c, mask in enumerate(self.bench.classes) if mask & left]
        for number, machine in enumerate(self.bench.machines):
            run_s = min(self.fastest[c][k] for c in classes for k in machine.stations)
            if run_s < NEVER:
                free = max(ready_s, min(free_s[k] for k in machine.stations))
                found.append((free + run_s, run_s + machine.centrifuge.reload_s, self.most[number]))
        return found

    @staticmethod
    def _slots(paces: list[tuple[int, int, int]], count: int, floor_s: int) -> list[int]:
        """The earliest ends that so many tubes can have, if every run were full, whatever they are."""
        ends = [
            (max(floor_s, first + n * step), most) for first, step, most in paces for n in range(ceil_div(count, most))
        ]
        ends.sort()
        found: list[int] = []
        for end, most in ends:
            found += [end] * most
            if len(found) >= count:
                break
        return found

    def _missed(self, tubes: list[int], ends: dict[int, int], slots: list[int]) -> tuple[int, int]:
        """The tubes that come late in any plan, and how many must.

        Tubes come in order of what is due first, so whoever finds no early enough slot left finds none.
        """
        forced = on_time = 0
        for i in tubes:
            due_s = self.bench.due[i]
            if ends[i] > due_s:
                forced |= 1 << i
            elif slots[on_time] <= due_s:
                on_time += 1
        return forced, len(tubes) - on_time

    def _late(self, tubes: list[int], ends: dict[int, int], slots: list[int]) -> int:
        """Seconds late: each tube alone at its earliest, or all in the slots, in order of what is due."""
        due = self.bench.due
        alone = sum(ends[i] - due[i] for i in tubes if ends[i] > due[i])
        shared = sum(slots[n] - due[i] for n, i in enumerate(tubes) if slots[n] > due[i])
        return max(alone, shared)

    def _runs(self, left: int, starts: dict[int, int], free: int) -> int:
        """Runs: for sets of tubes that share none, the fewest starts that catch each in its window."""
        most = self._pairs_runs(left)
        for groups, sizes in (
            (self.bench.groups, self.group_most),
            ((self.bench.everything,), (self.whole_most,)),
        ):
            most = max(
                most,
                sum(
                    self._stabs(group & left, starts, free, size)
                    for group, size in zip(groups, sizes, strict=True)
                    if group & left
                ),
            )
        return most

    def _pairs_runs(self, left: int) -> int:
        pairs = sum(((left & mask).bit_count() + 1) // 2 for mask in self.bench.likenesses)
        return ceil_div(pairs, self.most_pairs)

    def _stabs(self, group: int, starts: dict[int, int], free: int, size: int) -> int:
        """The fewest runs of so many tubes, were there centrifuges without end; `free` tubes may come late.

        The first start can wait for the first tube that must not, and takes those of the tubes ready by
        then that must start first.
        """
        windows = []
        for i in bits(group):
            last = NEVER if free >> i & 1 else self.bench.due[i] - self.quickest[self.bench.class_of[i]]
            windows.append((last, starts[i]))
        windows.sort()
        count = 0
        while windows:
            at = windows[0][0]
            rest = []
            taken = 0
            for window in windows:
                if taken < size and window[1] <= at:
                    taken += 1
                else:
                    rest.append(window)
            windows = rest
            count += 1
        return count

    @staticmethod
    def _nth_end(paces: list[tuple[int, int, int]], count: int) -> int:
        """The earliest second by which so many runs can have ended."""
        ends = sorted(first + n * step for first, step, _ in paces for n in range(count))
        return ends[count - 1]
