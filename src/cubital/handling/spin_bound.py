"""What no way to spin the tubes that are left can be better than."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, islice, zip_longest
from typing import NamedTuple

from cubital.handling.spin_bench import NEVER, Bench, bits

# Missed deadlines, seconds late, runs, the end of the last run: compared in this order.
Cost = tuple[int, int, int, int]
MOST_CHOICES = 200


class Pace(NamedTuple):
    """A machine at its best: the end of its first run, how long a run takes, the time to the next, its places."""

    first_s: int
    run_s: int
    step_s: int
    most: int


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
        self.fastest_of = [self.fastest[c] for c in bench.class_of]
        # The second by which a tube must start in its quickest run to be in time.
        self.last_start = [due - self.quickest[c] for due, c in zip(bench.due, bench.class_of, strict=True)]
        self.most = [min(2 * m.pairs, len(bench.tubes)) for m in bench.machines]
        self.whole_pairs = bench.most_pairs_of(bench.everything)
        self._divide([bench.everything])
        self._choose_groups()

    def _divide(self, groups: list[int]) -> None:
        """Take these as the sets of tubes that share no run."""
        bench = self.bench
        self.groups = groups
        self.grouped = sum(groups)
        self.group_pairs = [bench.most_pairs_of(group) for group in groups]
        self.group_kinds = [[mask & group for mask in bench.likenesses if mask & group] for group in groups]

    def _choose_groups(self) -> None:
        """Of the ways to set tubes apart, take the one that asks for most runs at the outset."""
        bench = self.bench
        free_s = [station.free_s for station in bench.stations]

        def bound() -> tuple[Cost, int]:
            return self.below(bench.everything, free_s, (0, 0, 0, -NEVER)), self.grouped.bit_count()

        best, chosen = bound(), self.groups
        for groups in islice(bench.apart(), MOST_CHOICES):
            self._divide(groups)
            if bound() > best:
                best, chosen = bound(), groups
        self._divide(chosen)

    def below(
        self, left: int, free_s: Sequence[int], cost: Cost, *, floor_s: int = -NEVER, best: Cost | None = None
    ) -> Cost:
        """The least that a plan can cost in all, with these tubes left to spin, none to end before `floor_s`.

        Where it is found to be no less than `best`, the rest is not worked out.
        """
        missed, late_s, runs, end_s = cost
        if not left:
            return cost
        tubes = list(bits(left))
        starts, ends = self._alone(tubes, free_s, floor_s)
        paces = self._paces(left, free_s, min(starts))
        gains, whole_gains = self._gains(left)
        most = _running(whole_gains, 0)
        if gains is not whole_gains:
            loose = len(tubes) - (left & self.grouped).bit_count()
            apart = _running(gains, loose)
            most = [min(a, b) for a, b in zip_longest(most, apart, fillvalue=len(tubes))]
        slots = self._slots(paces, most, floor_s)
        forced, more_missed = self._missed(tubes, ends, slots)
        missed += more_missed
        if best is not None and missed > best[0]:
            return missed, late_s, runs, end_s
        late_s += self._late(tubes, ends, slots)
        if best is not None and (missed, late_s) > best[:2]:
            return missed, late_s, runs, end_s
        more_runs = self._runs(tubes, starts, forced if forced.bit_count() == more_missed else left, len(most))
        runs += more_runs
        last_s = max(end_s, max(ends), _nth_end(paces, more_runs))
        if best is not None and (missed, late_s, runs) == best[:3] and last_s < best[3]:
            last_s = max(last_s, self._last_end(left, paces))
        return missed, late_s, runs, last_s

    def _alone(self, tubes: list[int], free_s: Sequence[int], floor_s: int) -> tuple[list[int], list[int]]:
        """The earliest start and end of each tube if it had the centrifuges to itself."""
        ready = self.bench.ready
        starts, ends = [], []
        for i in tubes:
            ready_s = ready[i]
            start = end = NEVER * 2
            for free, run_s in zip(free_s, self.fastest_of[i], strict=True):
                if run_s < NEVER:
                    at = ready_s if ready_s > free else free
                    if at < start:
                        start = at
                    if at + run_s < end:
                        end = at + run_s
            starts.append(start)
            ends.append(end if end > floor_s else floor_s)
        return starts, ends

    def _paces(self, left: int, free_s: Sequence[int], ready_s: int) -> list[Pace]:
        found = []
        classes = [self.fastest[c] for c, mask in enumerate(self.bench.classes) if mask & left]
        for number, machine in enumerate(self.bench.machines):
            run_s = min(row[k] for row in classes for k in machine.stations)
            if run_s < NEVER:
                free = max(ready_s, min(free_s[k] for k in machine.stations))
                step_s = run_s + machine.centrifuge.reload_s
                found.append(Pace(free + run_s, run_s, step_s, self.most[number]))
        return found

    def _gains(self, left: int) -> tuple[list[int], list[int]]:
        """How many tubes each run can hold at best: of the sets that share no run, and of all together."""
        whole = _gains_of([(left & mask).bit_count() for mask in self.bench.likenesses], self.whole_pairs)
        if len(self.groups) == 1:
            return whole, whole
        found: list[int] = []
        for pairs, kinds in zip(self.group_pairs, self.group_kinds, strict=True):
            found += _gains_of([(left & mask).bit_count() for mask in kinds], pairs)
        found.sort(reverse=True)
        return found, whole

    @staticmethod
    def _slots(paces: list[Pace], gained: list[int], floor_s: int) -> list[int]:
        """The earliest ends that tubes can have, whatever they are, were each run as full as it can be.

        `gained` is how many tubes so many runs can hold at most; its last is all.
        """
        ends: list[tuple[int, int]] = []
        count = gained[-1]
        for first, _, step, most in paces:
            ends += [(max(floor_s, first + n * step), most) for n in range(max(len(gained), -(-count // most)))]
        ends.sort()
        found: list[int] = []
        room = 0
        for n, (end, most) in enumerate(ends):
            room += most
            found += [end] * (min(room, gained[n] if n < len(gained) else count) - len(found))
            if len(found) == count:
                break
        return found

    def _missed(self, tubes: list[int], ends: list[int], slots: list[int]) -> tuple[int, int]:
        """The tubes that come late in any plan, and how many must.

        Tubes come in order of what is due first, so whoever finds no early enough slot left finds none.
        """
        due = self.bench.due
        forced = on_time = 0
        for i, end in zip(tubes, ends, strict=True):
            due_s = due[i]
            if end > due_s:
                forced |= 1 << i
            elif slots[on_time] <= due_s:
                on_time += 1
        return forced, len(tubes) - on_time

    def _late(self, tubes: list[int], ends: list[int], slots: list[int]) -> int:
        """Seconds late: each tube alone at its earliest, or all in the slots, in order of what is due."""
        due = [self.bench.due[i] for i in tubes]
        alone = sum(end - due_s for end, due_s in zip(ends, due, strict=True) if end > due_s)
        shared = sum(slot - due_s for slot, due_s in zip(slots, due, strict=True) if slot > due_s)
        return max(alone, shared)

    def _runs(self, tubes: list[int], starts: list[int], free: int, least: int) -> int:
        """Runs: for sets of tubes that share none, the fewest starts that catch each in its window.

        `free` tubes may come late; `least` runs are needed for room alone.
        """
        windows = [
            (NEVER if free >> i & 1 else self.last_start[i], start, i) for i, start in zip(tubes, starts, strict=True)
        ]
        windows.sort()
        if len(self.groups) == 1:
            return max(least, _stabs(windows, 2 * self.whole_pairs))
        apart = sum(
            _stabs([w for w in windows if group >> w[2] & 1], 2 * pairs)
            for group, pairs in zip(self.groups, self.group_pairs, strict=True)
        )
        return max(least, apart, _stabs(windows, 2 * self.whole_pairs))

    def _last_end(self, left: int, paces: list[Pace]) -> int:
        """The earliest last end, by what becomes ready late: that needs its runs after it is ready."""
        latest = -NEVER
        for ready_s in {self.bench.ready[i] for i in bits(left)}:
            later = left & ~self.bench.ready_by(ready_s - 1)
            count = max(1, sum(self._runs_of(later, n) for n in range(len(self.groups))))
            latest = max(latest, _nth_end(paces, count, ready_s))
        return latest

    def _runs_of(self, tubes: int, group: int) -> int:
        """How many runs these tubes of a group need for room."""
        pairs = sum(((tubes & mask).bit_count() + 1) >> 1 for mask in self.group_kinds[group])
        return -(-pairs // self.group_pairs[group])


def _nth_end(paces: list[Pace], count: int, from_s: int = -NEVER) -> int:
    """The earliest second by which so many runs can have ended, none of them begun before `from_s`."""
    ends = sorted(max(p.first_s, from_s + p.run_s) + n * p.step_s for p in paces for n in range(count))
    return ends[count - 1]


def _gains_of(counts: list[int], pairs: int) -> list[int]:
    """How many tubes the first, second, ... run holds at best, for so many of each kind: no order does better.

    A pair of places takes two tubes of a kind, or the odd one with a blank.
    """
    twos, ones = sum(n >> 1 for n in counts), sum(n & 1 for n in counts)
    found = []
    while twos or ones:
        paired = min(pairs, twos)
        alone = min(pairs - paired, ones)
        found.append(2 * paired + alone)
        twos -= paired
        ones -= alone
    return found


def _running(gains: list[int], first: int) -> list[int]:
    """How many tubes one, two, ... runs hold, with so many that come along in the first."""
    return list(accumulate(gains, initial=first))[1:] or [first]


def _stabs(windows: list[tuple[int, int, int]], size: int) -> int:
    """The fewest runs of `size` tubes, were there centrifuges without end, for windows by their last start.

    The first run can wait for the first tube that must not, and takes those of the tubes ready by
    then that must start first.
    """
    count = 0
    while windows:
        at = windows[0][0]
        taken = 0
        rest = []
        for window in windows:
            if taken < size and window[1] <= at:
                taken += 1
            else:
                rest.append(window)
        windows = rest
        count += 1
    return count
