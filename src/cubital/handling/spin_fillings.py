"""Which loads of a rotor are worth trying where not all that is ready fits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cubital.handling.spin_bench import Bench, bits


def fillings(bench: Bench, machine: int, ready: int, *, end_s: int, settled_s: Sequence[int]) -> Iterator[int]:
    """Every full load of these tubes that no other one is known to be as good as, as bits.

    `settled_s` gives for each class the second from which any later run of it starts: a tube ready by
    then can change places with any that goes later.
    """
    classes = [(c, mask & ready) for c, mask in enumerate(bench.classes) if mask & ready]
    members = [list(bits(mask)) for _, mask in classes]
    key = (machine, ready)
    if key not in bench.full_counts:
        bench.full_counts[key] = list(_full_counts(bench, machine, members))
    for counts in bench.full_counts[key]:
        loads = [0]
        for (c, _), mine, count in zip(classes, members, counts, strict=True):
            choices = [*_choices(bench, mine, count, end_s=end_s, settled_s=settled_s[c])]
            loads = [load | choice for load in loads for choice in choices]
        yield from loads


def _full_counts(bench: Bench, machine: int, members: Sequence[Sequence[int]]) -> Iterator[tuple[int, ...]]:
    """How many of each class: every way to which no tube of any class can be added."""
    firsts = [[0] for _ in members]
    for mine, masks in zip(members, firsts, strict=True):
        for i in mine:
            masks.append(masks[-1] | 1 << i)
    rest = [0] * (len(members) + 1)
    for place in range(len(members) - 1, -1, -1):
        rest[place] = rest[place + 1] | firsts[place][-1]
    counts: list[int] = []

    def fill(place: int, load: int) -> Iterator[tuple[int, ...]]:
        # With all that may still come, one more of an earlier class must not fit: else no filling is full.
        whole = load | rest[place]
        for earlier, count in enumerate(counts):
            if count < len(members[earlier]) and bench.fits(machine, whole | firsts[earlier][count + 1]):
                return
        if place == len(members):
            yield tuple(counts)
            return
        for count in range(len(members[place]), -1, -1):
            more = load | firsts[place][count]
            if bench.fits(machine, more):
                counts.append(count)
                yield from fill(place + 1, more)
                counts.pop()

    yield from fill(0, 0)


def _choices(bench: Bench, mine: Sequence[int], count: int, *, end_s: int, settled_s: int) -> Iterator[int]:
    """Which so many of a class: those in time by what is due first, those late by who was ready last."""
    in_time = sorted((i for i in mine if bench.due[i] >= end_s), key=lambda i: (bench.due[i], -bench.ready[i], i))
    late = sorted((i for i in mine if bench.due[i] < end_s), key=lambda i: (-bench.ready[i], i))
    for timely in range(max(0, count - len(late)), min(count, len(in_time)) + 1):
        taken_late = sum(1 << i for i in late[: count - timely])
        for taken in _earliest(bench, in_time, timely, settled_s):
            yield taken | taken_late


def _earliest(bench: Bench, in_time: Sequence[int], count: int, settled_s: int) -> Iterator[int]:
    """Choices of so many in which nobody is passed over for one that could change places with it."""
    ready = bench.ready
    if all(ready[j] <= settled_s for j in in_time):
        yield sum(1 << i for i in in_time[:count])
        return

    def choose(at: int, left: int, taken: int, passed_s: int | None) -> Iterator[int]:
        # `passed_s` is the latest ready time among those passed over; one ready by then goes after them.
        if not left:
            yield taken
            return
        if len(in_time) - at < left:
            return
        i = in_time[at]
        if passed_s is None or ready[i] > max(settled_s, passed_s):
            yield from choose(at + 1, left - 1, taken | 1 << i, passed_s)
        yield from choose(at + 1, left, taken, ready[i] if passed_s is None else max(passed_s, ready[i]))

    yield from choose(0, count, 0, None)
