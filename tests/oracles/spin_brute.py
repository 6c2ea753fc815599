"""The best centrifuge runs by trying everything: every subset as the next run of every machine, at every setting.

It takes for granted only that a run may start as early as it can. For a handful of tubes.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache

from cubital.model.centrifuge import Centrifuge, SpinProgram, SpinScore, WaitingTube
from tests.generators.benches import Waiting

Costs = tuple[int, int, int, int]


def serves(program: SpinProgram, tube: WaitingTube, machine: Centrifuge, rpm: int, spin_s: int, temp_c: int) -> bool:
    """Whether a run at this speed, time and degree is right for the tube by this program."""
    rcf_g = Fraction(1118, 10**8) * Fraction(machine.radius_mm, 10) * rpm**2
    below_g = Fraction(1118, 10**8) * Fraction(machine.radius_mm, 10) * max(0, rpm - machine.rpm_step) ** 2
    if rcf_g < program.rcf_low_g:
        return False
    first_step = program.rcf_low_g == program.rcf_high_g and below_g < program.rcf_low_g
    if rcf_g > program.rcf_high_g and not first_step:
        return False
    if machine.is_refrigerated:
        if not program.temp_low_c <= temp_c <= program.temp_high_c:
            return False
    elif machine.temp_low_c < program.temp_low_c or machine.temp_high_c > program.temp_high_c:
        return False
    low_s, high_s = program.low_s, program.high_s
    if machine.rotor == "fixed-angle":
        if tube.gel and program.fixed_angle_s is None:
            return False
        if program.fixed_angle_s is not None:
            low_s, high_s = program.fixed_angle_s, max(program.fixed_angle_s, high_s)
    return low_s <= spin_s <= high_s and (machine.takes_gel or not tube.gel)


def times_of(programs: dict[str, SpinProgram]) -> list[int]:
    """The times at speed that are worth trying: every least one."""
    lows = {p.low_s for p in programs.values()} | {p.fixed_angle_s for p in programs.values() if p.fixed_angle_s}
    return sorted(lows)


def balances(tubes: tuple[WaitingTube, ...], machine: Centrifuge) -> bool:
    """Whether the rotor holds these tubes: every pairing and every row is tried."""
    room = [row.pairs for row in machine.places]

    def place(waiting: tuple[WaitingTube, ...], left: tuple[int, ...]) -> bool:
        if not waiting:
            return True
        first, rest = waiting[0], waiting[1:]
        for row, spare in enumerate(left):
            if not spare or not machine.places[row].low_um <= first.diameter_um <= machine.places[row].high_um:
                continue
            less = (*left[:row], spare - 1, *left[row + 1 :])
            if place(rest, less):
                return True
            for n, other in enumerate(rest):
                same = (other.type, other.diameter_um, other.measure) == (first.type, first.diameter_um, first.measure)
                is_near = same and abs(other.load_mg - first.load_mg) <= machine.balance_mg
                if is_near and place((*rest[:n], *rest[n + 1 :]), less):
                    return True
        return False

    return place(tubes, tuple(room))


def solve(waiting: Waiting) -> SpinScore:
    """The least score; every tube must be one that some run may take."""
    tubes, machines, programs, standing = waiting
    everything = (1 << len(tubes)) - 1
    times = times_of(programs)
    degrees = sorted({p.temp_low_c for p in programs.values()} | {s.temp_c for s in standing.values() if s.temp_c})

    def chosen(mask: int) -> tuple[WaitingTube, ...]:
        return tuple(tube for n, tube in enumerate(tubes) if mask >> n & 1)

    @cache
    def is_held(mask: int, m: int) -> bool:
        return balances(chosen(mask), machines[m])

    @cache
    def speeds(m: int) -> list[int]:
        machine = machines[m]
        first = -(-machine.rpm_low // machine.rpm_step) * machine.rpm_step
        return list(range(first, machine.rpm_high + 1, machine.rpm_step))

    @cache
    def at_speeds(n: int, m: int, spin_s: int, temp_c: int) -> frozenset[int]:
        return frozenset(
            rpm
            for rpm in speeds(m)
            if any(serves(programs[p], tubes[n], machines[m], rpm, spin_s, temp_c) for p in tubes[n].programs)
        )

    @cache
    def settings(mask: int, m: int) -> list[tuple[int, int | None]]:
        machine = machines[m]
        found: list[tuple[int, int | None]] = []
        for spin_s in times:
            for temp_c in degrees if machine.is_refrigerated else [0]:
                if machine.is_refrigerated and not machine.temp_low_c <= temp_c <= machine.temp_high_c:
                    continue
                some = [at_speeds(n, m, spin_s, temp_c) for n in range(len(tubes)) if mask >> n & 1]
                if frozenset.intersection(*some):
                    found.append((spin_s, temp_c if machine.is_refrigerated else None))
        return found

    def subsets(mask: int) -> Iterator[int]:
        sub = mask
        while sub:
            yield sub
            sub = (sub - 1) & mask

    @cache
    def least(left: int, states: tuple[tuple[int, int | None], ...]) -> Costs:
        if not left:
            return 0, 0, 0, -(10**9)
        best: Costs | None = None
        for m, (free_s, at_c) in enumerate(states):
            for sub in subsets(left):
                if not settings(sub, m) or not is_held(sub, m):
                    continue
                loaded = chosen(sub)
                for spin_s, temp_c in settings(sub, m):
                    change_s = 0 if temp_c is None or temp_c == at_c else machines[m].temp_change_s
                    start_s = max(free_s + change_s, *(t.ready_s for t in loaded))
                    end_s = start_s + spin_s + machines[m].ramp_s
                    late = [end_s - t.due_s for t in loaded if t.due_s is not None and end_s > t.due_s]
                    after = (end_s + machines[m].reload_s, temp_c)
                    more = least(left & ~sub, (*states[:m], after, *states[m + 1 :]))
                    cost = (len(late) + more[0], sum(late) + more[1], 1 + more[2], max(end_s, more[3]))
                    best = cost if best is None or cost < best else best
        return best if best is not None else (10**6, 0, 0, 0)

    states = tuple(
        (standing[m.key].free_s, standing[m.key].temp_c) if m.key in standing else (0, None) for m in machines
    )
    missed, late_s, runs, last_end_s = least(everything, states)
    return SpinScore(missed=missed, late_s=late_s, runs=runs, last_end_s=last_end_s)
