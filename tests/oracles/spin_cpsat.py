"""The best centrifuge runs by CP-SAT, from a formulation of its own: runs in order on each machine, tubes in runs."""

from __future__ import annotations

from itertools import combinations
from typing import Any, NamedTuple

from ortools.sat.python import cp_model

from cubital.model.centrifuge import Centrifuge, SpinScore, WaitingTube
from tests.generators.benches import Waiting
from tests.oracles.spin_brute import serves, times_of


class Option(NamedTuple):
    """One way to run a machine: its time, its degree, and the tubes it serves."""

    spin_s: int
    temp_c: int | None
    tubes: frozenset[int]


class Timeout(Exception):
    """CP-SAT did not prove a level in its time."""


def options_of(waiting: Waiting, machine: Centrifuge) -> list[Option]:
    """Every way to run this machine that is not served as well by a quicker one at the same degree."""
    tubes, _, programs, standing = waiting
    first = -(-machine.rpm_low // machine.rpm_step) * machine.rpm_step
    degrees: list[int | None] = [None]
    if machine.is_refrigerated:
        lows = {p.temp_low_c for p in programs.values()} | {s.temp_c for s in standing.values() if s.temp_c is not None}
        degrees = [c for c in sorted(lows) if machine.temp_low_c <= c <= machine.temp_high_c]
    found: list[Option] = []
    for temp_c in degrees:
        for spin_s in times_of(programs):
            for rpm in range(first, machine.rpm_high + 1, machine.rpm_step):
                served = frozenset(
                    n
                    for n, tube in enumerate(tubes)
                    if any(row.low_um <= tube.diameter_um <= row.high_um for row in machine.places)
                    and any(serves(programs[p], tube, machine, rpm, spin_s, temp_c or 0) for p in tube.programs)
                )
                option = Option(spin_s, temp_c, served)
                if served and not any(o.temp_c == temp_c and o.tubes >= served for o in found):
                    found.append(option)
    return found


def solve(waiting: Waiting, *, most_runs: int, seconds: float = 60.0, workers: int = 1) -> SpinScore:
    """The least score with at most so many runs on each machine; `Timeout` where a level is not proved."""
    program = _Program(waiting, most_runs)
    values = program.minimise(seconds, workers)
    return SpinScore(missed=values[0], late_s=values[1], runs=values[2], last_end_s=values[3])


class _Program:
    def __init__(self, waiting: Waiting, most_runs: int) -> None:
        self.waiting = waiting
        self.model = cp_model.CpModel()
        self.latest = self._horizon()
        self.earliest = min(0, *(t.ready_s for t in waiting.tubes))
        self.inside: list[list[tuple[cp_model.IntVar, cp_model.IntVar]]] = [[] for _ in waiting.tubes]
        self.used: list[cp_model.IntVar] = []
        self.last = self._number()
        for machine in waiting.centrifuges:
            self._add_machine(machine, most_runs)
        late, missed = [], []
        for tube, inside in zip(waiting.tubes, self.inside, strict=True):
            self.model.add_exactly_one(x for x, _ in inside)
            if tube.due_s is not None:
                seconds, is_late = (
                    self.model.new_int_var(0, self.latest - self.earliest, ""),
                    self.model.new_bool_var(""),
                )
                for x, end in inside:
                    self.model.add(end - tube.due_s <= seconds).only_enforce_if(x)
                self.model.add(seconds == 0).only_enforce_if(is_late.negated())
                late.append(seconds)
                missed.append(is_late)
        self.levels: list[Any] = [sum(missed), sum(late), sum(self.used), self.last]

    def _horizon(self) -> int:
        """A second by which all can be done one after the other on any machine."""
        tubes, machines, programs, standing = self.waiting
        longest = max(times_of(programs)) + max(m.ramp_s + m.reload_s + m.temp_change_s for m in machines)
        begin = max([s.free_s for s in standing.values()] + [t.ready_s for t in tubes] + [0])
        return begin + longest * (len(tubes) + 1)

    def _number(self) -> cp_model.IntVar:
        return self.model.new_int_var(self.earliest, self.latest, "")

    def _add_machine(self, machine: Centrifuge, most_runs: int) -> None:
        options = options_of(self.waiting, machine)
        stands = self.waiting.standing.get(machine.key)
        before_end: Any = stands.free_s if stands else 0
        before_at: dict[int | None, Any] = {None if stands is None else stands.temp_c: 1}
        before_used: cp_model.IntVar | None = None
        for _ in range(most_runs if options else 0):
            used = self.model.new_bool_var("")
            if before_used is not None:
                self.model.add_implication(used, before_used)
            chosen = [self.model.new_bool_var("") for _ in options]
            self.model.add(sum(chosen) == used)
            start, end = self._number(), self._number()
            for option, choice in zip(options, chosen, strict=True):
                self.model.add(end == start + option.spin_s + machine.ramp_s).only_enforce_if(choice)
            at = self._degrees(options, chosen)
            self._follow(machine, start, used, at, before_end, before_at)
            self._load(machine, options, chosen, used, start, end)
            self.model.add(self.last >= end).only_enforce_if(used)
            self.used.append(used)
            before_end, before_at, before_used = end + machine.reload_s, at, used

    def _degrees(self, options: list[Option], chosen: list[cp_model.IntVar]) -> dict[int | None, Any]:
        found: dict[int | None, Any] = {}
        for degree in {option.temp_c for option in options}:
            found[degree] = sum(c for o, c in zip(options, chosen, strict=True) if o.temp_c == degree)
        return found

    def _follow(
        self, machine: Centrifuge, start: cp_model.IntVar, used: cp_model.IntVar, at: dict[int | None, Any],
        before_end: Any, before_at: dict[int | None, Any],
    ) -> None:  # fmt: skip
        self.model.add(start >= before_end).only_enforce_if(used)
        for degree, here in at.items():
            if degree is None:
                continue
            stays = self.model.new_bool_var("")
            self.model.add(stays <= before_at.get(degree, 0))
            goes = self.model.new_bool_var("")
            self.model.add(goes >= here - stays)
            self.model.add(start >= before_end + machine.temp_change_s).only_enforce_if(goes)

    def _load(
        self, machine: Centrifuge, options: list[Option], chosen: list[cp_model.IntVar], used: cp_model.IntVar,
        start: cp_model.IntVar, end: cp_model.IntVar,
    ) -> None:  # fmt: skip
        inside: dict[int, cp_model.IntVar] = {}
        for n, tube in enumerate(self.waiting.tubes):
            serving = [c for o, c in zip(options, chosen, strict=True) if n in o.tubes]
            if not serving:
                continue
            x = self.model.new_bool_var("")
            inside[n] = x
            self.inside[n].append((x, end))
            self.model.add(x <= sum(serving))
            self.model.add(start >= tube.ready_s).only_enforce_if(x)
        self.model.add(used <= sum(inside.values()))
        self._balance(machine, inside)

    def _balance(self, machine: Centrifuge, inside: dict[int, cp_model.IntVar]) -> None:
        """Pairs of places: as many as tubes of a kind, less one for each two that balance each other."""
        kinds: dict[tuple[object, ...], list[int]] = {}
        for n in inside:
            tube = self.waiting.tubes[n]
            kinds.setdefault((tube.type, tube.diameter_um, tube.measure), []).append(n)
        held: list[list[cp_model.IntVar]] = [[] for _ in machine.places]
        for members in kinds.values():
            pairs = []
            for r, row in enumerate(machine.places):
                if row.low_um <= self.waiting.tubes[members[0]].diameter_um <= row.high_um:
                    here = self.model.new_int_var(0, row.pairs, "")
                    held[r].append(here)
                    pairs.append(here)
            count = sum(inside[n] for n in members)
            loads = [self.waiting.tubes[n].load_mg for n in members]
            if max(loads) - min(loads) <= machine.balance_mg:
                self.model.add(2 * sum(pairs) >= count)
                continue
            self.model.add(sum(pairs) >= count - sum(self._matches(machine, members, inside)))
        for row, taken in zip(machine.places, held, strict=True):
            self.model.add(sum(taken) <= row.pairs)

    def _matches(
        self, machine: Centrifuge, members: list[int], inside: dict[int, cp_model.IntVar]
    ) -> list[cp_model.IntVar]:
        matched: dict[int, list[cp_model.IntVar]] = {n: [] for n in members}
        found = []
        for a, b in combinations(members, 2):
            one, other = self.waiting.tubes[a], self.waiting.tubes[b]
            if abs(one.load_mg - other.load_mg) <= machine.balance_mg:
                pair = self.model.new_bool_var("")
                found.append(pair)
                matched[a].append(pair)
                matched[b].append(pair)
        for n, pairs in matched.items():
            self.model.add(sum(pairs) <= inside[n])
        return found

    def minimise(self, seconds: float, workers: int) -> list[int]:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = workers
        solver.parameters.max_time_in_seconds = seconds
        values = []
        for level in self.levels:
            self.model.minimize(level)
            status = solver.solve(self.model)
            if status != cp_model.OPTIMAL:
                raise Timeout(solver.status_name(status))
            value = round(solver.objective_value)
            values.append(value)
            self.model.add(level == value)
        return values


def servable(waiting: Waiting, left_out: set[str]) -> Waiting:
    """The same bench without the tubes that no run may take."""
    kept: tuple[WaitingTube, ...] = tuple(t for t in waiting.tubes if t.id not in left_out)
    return waiting._replace(tubes=kept)
