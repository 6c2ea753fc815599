"""The bench in whole numbers: tubes of one class are interchangeable, and every setting is worked out."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations

import msgspec

from cubital.handling.spin_balance import capacities_of, holds, likeness_of, pair_up, rows_mask
from cubital.handling.spin_settings import Need, Setting, settings_of, temperatures_of
from cubital.model.centrifuge import Centrifuge, SpinProgram, Standing, WaitingTube

NEVER = 1 << 60
MOST_LEADERS = 9
MOST_KNOWN = 1_000_000


class Way(msgspec.Struct, frozen=True, kw_only=True):
    """One setting at a station: how long a run takes with its ramp, and the tubes that it serves, as bits."""

    setting: Setting
    run_s: int
    tubes: int


class Station(msgspec.Struct, frozen=True, kw_only=True):
    """One centrifuge at one temperature; `free_s` is the earliest start there as things stand."""

    machine: int
    temp_c: int | None
    free_s: int
    ways: tuple[Way, ...]


class Machine(msgspec.Struct, frozen=True, kw_only=True):
    """One centrifuge: its stations, and what its rotor holds."""

    centrifuge: Centrifuge
    stations: tuple[int, ...]
    capacities: Mapping[int, int]
    twin: int | None

    @property
    def pairs(self) -> int:
        """How many pairs of opposite places it has."""
        return max(self.capacities.values())


class Bench:
    """Tubes in order of what is due first, their classes, and the stations; bits stand for tubes.

    Two tubes are of one class where exchanging them in any plan keeps it sound: the same programs and
    gel, the same kind, size and width, and the same other tubes near enough to balance them on every
    centrifuge.
    """

    def __init__(
        self,
        tubes: Sequence[WaitingTube],
        centrifuges: Sequence[Centrifuge],
        standing: Mapping[str, Standing],
        programs: Mapping[str, SpinProgram],
    ) -> None:
        self.tubes = sorted(tubes, key=lambda t: (NEVER if t.due_s is None else t.due_s, -t.ready_s, t.id))
        self.ready = [tube.ready_s for tube in self.tubes]
        self.due = [NEVER if tube.due_s is None else tube.due_s for tube in self.tubes]
        self.everything = (1 << len(self.tubes)) - 1
        self.classes = self._classes(sorted({c.balance_mg for c in centrifuges}))
        self.class_of = [0] * len(self.tubes)
        for number, mask in enumerate(self.classes):
            for i in bits(mask):
                self.class_of[i] = number
        self.likenesses = self._masks(likeness_of(tube) for tube in self.tubes)
        self.stations: list[Station] = []
        self.machines: list[Machine] = []
        for centrifuge in centrifuges:
            self._add_machine(centrifuge, standing.get(centrifuge.key, Standing(free_s=0)), programs)
        self.full_counts: dict[tuple[int, int], list[tuple[int, ...]]] = {}
        self._fits: list[dict[int, bool]] = [{} for _ in self.machines]
        self._pairs: dict[tuple[int, int, int], int] = {}
        self._rows = [
            [rows_mask(m.centrifuge, self.tubes[first_bit(mask)].diameter_um) for mask in self.likenesses]
            for m in self.machines
        ]
        self._ready_order = sorted(set(self.ready))
        self._ready_masks = [
            sum(1 << i for i, ready_s in enumerate(self.ready) if ready_s <= at_s) for at_s in self._ready_order
        ]
        self.served = [sum_of(way.tubes for way in station.ways) for station in self.stations]

    def _masks(self, keys: Iterator[object] | Sequence[object]) -> list[int]:
        found: dict[object, int] = {}
        for i, key in enumerate(keys):
            found[key] = found.get(key, 0) | 1 << i
        return list(found.values())

    def _classes(self, balances_mg: Sequence[int]) -> list[int]:
        keys: list[object] = []
        for tube in self.tubes:
            like = [
                (other.id, other.load_mg)
                for other in self.tubes
                if likeness_of(other) == likeness_of(tube) and other.id != tube.id
            ]
            near = tuple(
                frozenset(id_ for id_, load_mg in like if abs(load_mg - tube.load_mg) <= balance_mg) | {tube.id}
                for balance_mg in balances_mg
            )
            is_near_some = tuple(len(some) > 1 for some in near)
            # A tube that nothing balances is like every other such tube of its kind.
            nearby = tuple(some if is_near else None for some, is_near in zip(near, is_near_some, strict=True))
            keys.append((tube.programs, tube.gel, likeness_of(tube), nearby))
        return self._masks(keys)

    def _add_machine(self, centrifuge: Centrifuge, standing: Standing, programs: Mapping[str, SpinProgram]) -> None:
        needs: list[Need] = [(tube.programs, tube.gel) for tube in self.tubes]
        fitting = sum(1 << i for i, tube in enumerate(self.tubes) if rows_mask(centrifuge, tube.diameter_um))
        wanted = {key: programs[key] for tube in self.tubes for key in tube.programs}
        first = len(self.stations)
        for temp_c in temperatures_of(wanted.values(), centrifuge, now_c=standing.temp_c):
            ways = []
            for setting in settings_of(centrifuge, programs, needs, temp_c=temp_c):
                served = sum(1 << i for i, need in enumerate(needs) if need in setting.serves) & fitting
                if served:
                    run_s = setting.spin_s + centrifuge.ramp_s
                    ways.append(Way(setting=setting, run_s=run_s, tubes=served))
            change_s = 0 if temp_c is None or temp_c == standing.temp_c else centrifuge.temp_change_s
            if ways:
                number = len(self.machines)
                free_s = standing.free_s + change_s
                self.stations.append(Station(machine=number, temp_c=temp_c, free_s=free_s, ways=tuple(ways)))
        stations = tuple(range(first, len(self.stations)))
        if stations:
            machine = Machine(
                centrifuge=centrifuge, stations=stations, capacities=capacities_of(centrifuge),
                twin=self._twin_of(centrifuge, stations),
            )  # fmt: skip
            self.machines.append(machine)

    def _twin_of(self, centrifuge: Centrifuge, stations: Sequence[int]) -> int | None:
        """The first machine that differs in its name alone, so that what one can do the other can."""
        mine = [(self.stations[k].temp_c, self.stations[k].ways) for k in stations]
        for number, other in enumerate(self.machines):
            theirs = [(self.stations[k].temp_c, self.stations[k].ways) for k in other.stations]
            if mine == theirs and msgspec.structs.replace(centrifuge, key=other.centrifuge.key) == other.centrifuge:
                return number if other.twin is None else other.twin
        return None

    def ready_by(self, at_s: int) -> int:
        """The tubes that may start at this second."""
        found = 0
        for ready_s, mask in zip(self._ready_order, self._ready_masks, strict=True):
            if ready_s > at_s:
                break
            found = mask
        return found

    def first_ready(self, tubes: int) -> int:
        """The earliest second at which any of these tubes may start; `NEVER` without any."""
        if not tubes:
            return NEVER
        for ready_s, mask in zip(self._ready_order, self._ready_masks, strict=True):
            if mask & tubes:
                return ready_s
        raise AssertionError("every tube is ready some time")

    def starts_after(self, at_s: int, tubes: int) -> list[int]:
        """The later seconds at which one more of these tubes becomes ready."""
        return sorted({self.ready[i] for i in bits(tubes) if self.ready[i] > at_s})

    def pairs_of(self, machine: int, kind: int, tubes: int) -> int:
        """How many pairs of opposite places tubes of one likeness take on this machine."""
        key = (machine, kind, tubes)
        if key not in self._pairs:
            loads = sorted(self.tubes[i].load_mg for i in bits(tubes))
            self._pairs[key] = len(pair_up(loads, self.machines[machine].centrifuge.balance_mg))
        return self._pairs[key]

    def fits(self, machine: int, tubes: int) -> bool:
        """Whether the rotor holds these tubes, balanced, with the blanks that they need."""
        known = self._fits[machine]
        found = known.get(tubes)
        if found is None:
            if len(known) > MOST_KNOWN:
                known.clear()
            found = known[tubes] = self._holds(machine, tubes)
        return found

    def _holds(self, machine: int, tubes: int) -> bool:
        most = self.machines[machine].pairs
        if tubes.bit_count() > 2 * most:
            return False
        demand: dict[int, int] = {}
        whole = 0
        for kind, mask in enumerate(self.likenesses):
            mine = tubes & mask
            if mine:
                rows = self._rows[machine][kind]
                pairs = self.pairs_of(machine, kind, mine)
                whole += pairs
                demand[rows] = demand.get(rows, 0) + pairs
        return whole <= most and holds(demand, self.machines[machine].capacities)

    def due_before(self, at_s: int) -> int:
        """The tubes that are late in a run that ends at this second: those of the lowest places."""
        return (1 << bisect_left(self.due, at_s)) - 1

    def first_due(self, machine: int, ready: int) -> int:
        """A full load of these tubes, taken by what is due first."""
        load = 0
        for i in bits(ready):
            if self.fits(machine, load | 1 << i):
                load |= 1 << i
        return load

    def most_pairs_of(self, tubes: int) -> int:
        """How many pairs of places these tubes may use in one run at most, on the roomiest machine."""
        return max(self._pairs_for(machine, tubes) for machine in range(len(self.machines)))

    def _pairs_for(self, machine: int, tubes: int) -> int:
        rows = 0
        for kind, mask in enumerate(self.likenesses):
            if tubes & mask:
                rows |= self._rows[machine][kind]
        return self.machines[machine].capacities[rows]

    def apart(self) -> Iterator[list[int]]:
        """Ways to choose sets of tubes of which no two sets share a run, however it is set."""
        ways = [way.tubes for station in self.stations for way in station.ways]
        together = [
            sum(1 << d for d, other in enumerate(self.classes) if any(mask & way and other & way for way in ways))
            for mask in self.classes
        ]
        leaders = [together.index(kind) for kind in dict.fromkeys(together)][:MOST_LEADERS]
        for size in range(len(leaders), 1, -1):
            for some in combinations(leaders, size):
                if _are_apart(some, together):
                    yield self._grown(some, together)

    def _grown(self, leaders: Sequence[int], together: Sequence[int]) -> list[int]:
        """The sets that these classes lead: each other class joins the one it can share a run with, if only one."""
        members = [1 << leader for leader in leaders]
        for c in range(len(self.classes)):
            touched = [n for n, mask in enumerate(members) if any(together[d] >> c & 1 for d in bits(mask))]
            if len(touched) == 1:
                members[touched[0]] |= 1 << c
        return [sum(self.classes[c] for c in bits(mask)) for mask in members]


def _are_apart(some: Sequence[int], together: Sequence[int]) -> bool:
    return not any(together[c] >> d & 1 for c, d in combinations(some, 2))


def sum_of(masks: Iterable[int]) -> int:
    """All the ones of these masks."""
    found = 0
    for mask in masks:
        found |= mask
    return found


def bits(mask: int) -> Iterator[int]:
    """The places of the ones, lowest first.

    >>> list(bits(0b1010))
    [1, 3]
    """
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def first_bit(mask: int) -> int:
    """The place of the lowest one."""
    return (mask & -mask).bit_length() - 1
