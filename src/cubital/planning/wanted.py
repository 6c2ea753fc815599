"""The tests of an order as the packing wants them: their ways, what they may share, and their rank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from cubital import facts
from cubital.model import Site, Test
from cubital.planning.choices import Shelf, Wanted, Ways, parted
from cubital.planning.parts import Packing
from cubital.planning.ranking import KEPT, rank_of
from cubital.planning.volumes import Volumes

GAS_USE = "blood-gas"


class Due(NamedTuple):
    """One test of one draw: its urgency, and the words of the order it came from. `draw` counts from 0."""

    test: str
    draw: int
    priority: int
    via: tuple[str, ...]


class Wishes:
    """Turns the tests of one site's orders into what the packing is asked."""

    def __init__(self, site: Site) -> None:
        self._site = site
        # A test is kept and spun as it asks, whatever else is drawn: so it goes apart by itself alone.
        self._apart = parted({key: frozenset(test.handling) for key, test in site.tests.items()})
        self._by_analyzer = frozenset(site.planning.whole_blood_tests) & facts.whole_blood().keys() & site.tests.keys()
        self._gases = frozenset(
            key
            for key, test in site.tests.items()
            if any(site.kinds[k].use == GAS_USE for a in test.accepts for k in a.tubes if k in site.kinds)
        )

    def wanted(
        self, dues: Sequence[Due], shelf: Shelf, volumes: Volumes, keep: frozenset[str],
        reserve_of: Mapping[int, int] | None = None, shut: frozenset[int] = frozenset(),
    ) -> list[Wanted]:  # fmt: skip
        """What these tests want at these volumes; `reserve_of` gives the reserve of single tests in percent.

        The gas containers are `shut` to these, by their places in `dues`, unless the tests accept them.

        Raises `NoTube` for a test that no tube serves.
        """
        minimum, percent = volumes.key == "minimum", volumes.reserve_percent
        made = shelf.wanted
        found = []
        for number, due in enumerate(dues):
            if reserve_of is not None:
                percent = reserve_of[number]
            key = (due.test, due.priority, minimum, percent)
            test = made.get(key)
            if test is None:
                test = made[key] = self._make(due, shelf, minimum, percent)
            if due.draw:
                test = test._replace(draw=due.draw, lot=(due.draw, test.lot[1]))
            if due.test in keep:
                test = test._replace(rank=KEPT)
            found.append(test)
        return self._with_analyzer(found, shelf, shut) if self._by_analyzer else found

    def lone_guests(self, packing: Packing, wanted: Sequence[Wanted], shelf: Shelf) -> frozenset[int]:
        """The guests that have no gases to join: in a gas container alone, or left out where nothing else was open."""
        if not self._by_analyzer:
            return frozenset()
        lone = [
            tube.members
            for tube in packing.tubes
            if self._is_gas(shelf, tube.way) and all(wanted[n].test not in self._gases for n in tube.members)
        ]
        stranded = [
            n for n in packing.dropped
            if wanted[n].test in self._by_analyzer and wanted[n].test not in self._gases
            and all(self._is_gas(shelf, way) for way in wanted[n].ways)
        ]  # fmt: skip
        return frozenset([*stranded, *(n for members in lone for n in members)])

    def _make(self, due: Due, shelf: Shelf, minimum: bool, percent: int) -> Wanted:
        """What this test wants in the first draw."""
        test = self._site.tests[due.test]
        group = shelf.lots.get(test.bench, test.bench)
        label = self._apart.get(due.test)
        lot = (0, group if label is None else f"{group} apart {label}")
        ways = shelf.ways_for(test, minimum=minimum, reserve_percent=percent)
        alone = shelf.alone_for(test, minimum=minimum, reserve_percent=percent)
        return Wanted(due.test, 0, rank_of(test, due.priority), lot, test.own_tube, ways, alone)

    def _with_analyzer(self, wanted: list[Wanted], shelf: Shelf, shut: frozenset[int]) -> list[Wanted]:
        """The same, with the gas containers open to what the gas analyzer measures, in each draw that has gases.

        All lots that meet there become one. Each lot gets ways of its own, so that lots meet in no other tube, and
        gases of two lots in none. Gases that are not kept in the room take no guest: what it would become on ice
        nobody has said.
        """
        for draw in {test.draw for test in wanted if test.test in self._gases and not test.own_tube}:
            here = [n for n, test in enumerate(wanted) if test.draw == draw and not test.own_tube]
            gases = [n for n in here if wanted[n].test in self._gases]
            hosts = [n for n in gases if wanted[n].test not in self._apart]
            open_ways = {
                shelf.copy_of(way, wanted[n].lot[1]): way
                for n in hosts
                for way in wanted[n].ways
                if self._is_gas(shelf, way)
            }
            guests = [n for n in here if wanted[n].test in self._by_analyzer and n not in gases and n not in shut]
            if not open_ways or not guests:
                continue
            joined = {wanted[n].lot for n in (*hosts, *guests)}
            for n in here:
                if wanted[n].lot in joined:
                    wanted[n] = self._joined(wanted[n], shelf, open_ways if n in guests else {})
        return wanted

    def _joined(self, test: Wanted, shelf: Shelf, open_ways: Mapping[int, int]) -> Wanted:
        """This test with ways of its lot alone, and with those of the gas containers that are open to it.

        By how late they are, as among the ways of one test: none is taken while another is in time.
        """
        draw, lot = test.lot
        ways: Ways = {shelf.copy_of(way, lot): need for way, need in test.ways.items()}
        if open_ways:
            asked, known = self._site.tests[test.test], facts.whole_blood()[test.test]
            # The analyzer's value is as good as the laboratory's, or it is liked after every tube of the test's own.
            last = sum(len(accept.tubes) for accept in asked.accepts)
            need = (known.volume_ul, 0 if known.standing == "first-choice" else last)
            own = min(shelf.lateness(asked, way) for way in test.ways)
            late = {
                copy: shelf.lateness(asked, way, kept=())
                for copy, way in sorted(open_ways.items())
                if known.volume_ul <= shelf.ways[way].most_ul
            }
            least = min((own, *late.values()))
            ways = {**(ways if own == least else {}), **{copy: need for copy, step in late.items() if step == least}}
        return test._replace(lot=(draw, f"{GAS_USE} and {GAS_USE} guests"), ways=ways, alone=None)

    def _is_gas(self, shelf: Shelf, way: int) -> bool:
        return self._site.kinds[shelf.ways[way].kind].use == GAS_USE


def is_served_by_analyzer(test: Test, kind_use: str | None, site: Site) -> bool:
    """Whether this test is in a gas container because the gas analyzer measures it."""
    return kind_use == GAS_USE and test.key in site.planning.whole_blood_tests
