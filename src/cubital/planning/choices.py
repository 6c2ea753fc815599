"""What each test of an order may go into: an order and a site turned into whole numbers."""

from __future__ import annotations

from collections.abc import Mapping, Set
from copy import copy
from datetime import date
from fractions import Fraction
from functools import cache
from types import MappingProxyType
from typing import Any, NamedTuple

from cubital import facts
from cubital.errors import NoTube, PlanError
from cubital.model import Reason, Site, Test, Tube, TubeKind
from cubital.model.vocabulary import MATRICES, MatrixKey, WindowsKey
from cubital.planning.capacity import usable_ul
from cubital.planning.micro import is_micro
from cubital.planning.sizes import is_bottle_by_weight, is_usable
from cubital.planning.windows import why_too_late
from cubital.units import millilitres_text

WIDEST: WindowsKey = "extended"
ALWAYS_LATE = 2  # how late a way is that no windows allow
RATIO_CRITICAL = ("citrate-9-1", "citrate-4-1")


class Size(NamedTuple):
    """One stock size that may be drawn now; `item` is its number on the shelf."""

    item: int
    draw_ul: int
    cap_ul: int


class Way(NamedTuple):
    """One kind and matrix, with the sizes that yield any of it, smallest draw first."""

    kind: str
    matrix: MatrixKey
    sizes: tuple[Size, ...]
    most_ul: int


# For each way a test may go: what it needs there and its place in the flattened preferences.
Ways = dict[int, tuple[int, int]]


class Piece(NamedTuple):
    """One tube that holds a test: its blood, the test's place in it, its stock item and its way."""

    draw_ul: int
    place: int
    item: int
    way: int


class Alone(NamedTuple):
    """The tubes that one test takes when it shares with no other: of least blood, and of the best place."""

    cheapest: Piece
    liked: Piece


class Wanted(NamedTuple):
    """One test to be packed: its key, rank, the tubes it may share, and its ways.

    Where tests are left out, those of rank 0 go last and those of rank 254 first. `alone` is the tube
    it takes by itself, where that was worked out before.
    """

    test: str
    draw: int
    rank: int
    lot: tuple[int, str]
    own_tube: bool
    ways: Ways
    alone: Alone | None = None


class Shelf:
    """The usable stock of a site for one access, day, hematocrit and time on the way.

    Without `spares_blood` no test takes a micro tube that can take a larger one.
    """

    def __init__(
        self,
        site: Site,
        *,
        access: str,
        on: date | None,
        hematocrit: Fraction,
        travel_min: int | None = None,
        spares_blood: bool = True,
        refused: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        self.site = site
        self.access = access
        self.on = on
        self.travel_min = travel_min
        self.spares_blood = spares_blood
        self.refused = refused
        self.items: list[tuple[TubeKind, Tube]] = []
        self.stock: dict[int, int] = {}
        self.ways: list[Way] = []
        self.additives: list[str] = []  # of each way
        self.way_of: dict[tuple[str, str], int] = {}
        self._wanted: dict[tuple[str, bool, int], Ways] = {}
        self._alone: dict[tuple[str, bool, int], Alone] = {}
        self._copies: dict[tuple[int, str], int] = {}
        self.wanted: dict[tuple[str, int, bool, int], Wanted] = {}  # what tests of the first draw want, by urgency
        self.stairs: dict[object, Any] = {}  # what `budget` has worked out for clusters of tests
        for kind in site.kinds.values():
            if self._is_open(kind) and not is_bottle_by_weight(kind):
                self._stock_kind(kind, hematocrit, site.planning.recovery)
        self.lots = lots_of(site)

    def _is_open(self, kind: TubeKind) -> bool:
        """Whether this access fills this kind, and the order of draw does not refuse it."""
        return kind.can_be_filled_by(self.access) and kind.key not in self.refused

    def _stock_kind(self, kind: TubeKind, hematocrit: Fraction, recovery: Fraction) -> None:
        usable = [tube for tube in kind.sizes if is_usable(tube, self.on)]
        first = len(self.items)
        self.items.extend((kind, tube) for tube in usable)
        for i, tube in enumerate(usable):
            if tube.in_stock is not None:
                self.stock[first + i] = tube.in_stock
        for matrix in MATRICES:
            sizes = []
            for i, tube in enumerate(usable):
                cap_ul = usable_ul(kind, tube, matrix, hematocrit=hematocrit, recovery=recovery)
                if cap_ul > 0:
                    sizes.append(Size(first + i, tube.draw_ul, cap_ul))
            if sizes:
                sizes.sort(key=lambda size: (size.draw_ul, -size.cap_ul))
                self.way_of[kind.key, matrix] = len(self.ways)
                self.additives.append(kind.additive)
                self.ways.append(Way(kind.key, matrix, tuple(sizes), max(s.cap_ul for s in sizes)))

    def with_less(self, less: Mapping[int, int]) -> Shelf:
        """The same shelf with no more than so many of some items; what was worked out with more is forgotten."""
        found = copy(self)
        found.stock = {item: pieces for item, pieces in {**self.stock, **less}.items() if pieces}
        gone = {item for item, pieces in less.items() if not pieces}
        found.ways = [
            way._replace(sizes=tuple([size for size in way.sizes if size.item not in gone])) for way in self.ways
        ]
        found.stairs = {}
        return found

    def left_for(self, test: Wanted) -> Wanted:
        """This test with the ways that still have a size for it."""
        ways = {
            way: (need_ul, place)
            for way, (need_ul, place) in test.ways.items()
            if any(size.cap_ul >= need_ul for size in self.ways[way].sizes)
        }
        return test._replace(ways=ways, alone=None)

    def ways_for(self, test: Test, *, minimum: bool, reserve_percent: int = 0) -> Ways:
        """Every way that this test may go at this volume; raises `NoTube` when there is none.

        A reserve is a further share of the typical volume. It never rules a way out: where a way's largest tube holds
        the volume and not the whole reserve, the reserve is what that tube still holds.
        """
        key = (test.key, minimum, reserve_percent)
        found = self._wanted.get(key)
        if found is None:
            found = self._find_ways(test, minimum)
            if reserve_percent:
                found = {way: (self._with_reserve(way, need, reserve_percent), p) for way, (need, p) in found.items()}
            self._wanted[key] = found
        return found

    def _with_reserve(self, way: int, need_ul: int, reserve_percent: int) -> int:
        return min(need_ul - -need_ul * reserve_percent // 100, self.ways[way].most_ul)

    def alone_for(self, test: Test, *, minimum: bool, reserve_percent: int = 0) -> Alone:
        """The tube this test takes by itself at this volume; raises `NoTube` when there is none."""
        key = (test.key, minimum, reserve_percent)
        found = self._alone.get(key)
        if found is None:
            ways = self.ways_for(test, minimum=minimum, reserve_percent=reserve_percent)
            pieces = [
                Piece(size.draw_ul, place, size.item, way)
                for way, (need_ul, place) in ways.items()
                for size in self.ways[way].sizes
                if size.cap_ul >= need_ul
            ]
            liked = min(pieces, key=lambda piece: (piece.place, piece.draw_ul, piece.item))
            found = self._alone[key] = Alone(min(pieces), liked)
        return found

    def copy_of(self, way: int, lot: str) -> int:
        """This way for the tests of one lot only, so that lots that meet in another way do not meet in this one."""
        found = self._copies.get((way, lot))
        if found is None:
            found = self._copies[way, lot] = len(self.ways)
            self.ways.append(self.ways[way])
            self.additives.append(self.additives[way])
        return found

    def _find_ways(self, test: Test, minimum: bool) -> Ways:
        ways = self._every_way(test, minimum)
        if self.travel_min is not None:
            # A kind in time that holds the minimum alone is better than a late one that holds the typical volume.
            in_time = self._in_time(test, self._every_way(test, minimum=True))
            ways = {way: need for way, need in ways.items() if way in in_time}
            if not ways:
                raise NoTube(self._why_none(test, minimum), where=f"test {test.key}", test=test.key)
        if self.spares_blood:
            return ways
        return {way: need for way, need in ways.items() if not is_micro(self.site.kinds[self.ways[way].kind])} or ways

    def _in_time(self, test: Test, ways: Ways) -> Ways:
        """Of these ways those that are in time; where none is under strict windows, those that are under extended ones.

        Where every way would be too late none is ruled out: the plan says so, and asks before any blood is lost.
        """
        late = {way: self.lateness(test, way) for way in ways}
        least = min(late.values())
        return {way: need for way, need in ways.items() if late[way] == least}

    def lateness(self, test: Test, way: int, kept: tuple[str, ...] | None = None) -> int:
        """0 for a way in time by the site's windows, 1 by the widest alone, 2 for one that is too late by both.

        `kept` are the terms by which its tube stands, the test's own where none are given.
        """
        policies = dict.fromkeys((self.site.planning.windows, WIDEST))
        for step, windows in enumerate(policies):
            if self.why_late(test, way, windows, kept) is None:
                return step
        return ALWAYS_LATE

    def why_late(
        self, test: Test, way: int, windows: WindowsKey, kept: tuple[str, ...] | None = None
    ) -> Reason | None:
        """Why a tube of this way would come too late for this test from where it is drawn; None where it does not."""
        if self.travel_min is None:
            return None
        kind, matrix, _, _ = self.ways[way]
        return why_too_late(test, self.site.kinds[kind], matrix, travel_min=self.travel_min, windows=windows, kept=kept)

    def late_ways(self, test: Test) -> list[Reason]:
        """Why ways of this test were ruled out by the time on the way; empty where none was, or all would be."""
        ways = self._every_way(test, minimum=True)
        out = ways.keys() - self._in_time(test, ways).keys()
        windows = self.site.planning.windows
        return [why for way in ways if way in out and (why := self.why_late(test, way, windows)) is not None]

    def is_always_late(self, test: Test) -> bool:
        """Whether every tube that serves this test would come too late, by the widest windows."""
        ways = self._every_way(test, minimum=True)
        return all(self.lateness(test, way) == ALWAYS_LATE for way in ways)

    def _every_way(self, test: Test, minimum: bool) -> Ways:
        found: Ways = {}
        seen: set[tuple[str, str]] = set()
        place = 0
        for accept in test.accepts:
            need_ul = accept.minimum_ul if minimum else accept.volume_ul
            for kind in accept.tubes:
                # A kind and matrix named twice counts once, where it stands first.
                if (kind, accept.matrix) not in seen:
                    seen.add((kind, accept.matrix))
                    way = self.way_of.get((kind, accept.matrix))
                    if way is not None and need_ul <= self.ways[way].most_ul:
                        found[way] = (need_ul, place)
                place += 1
        if not found:
            raise NoTube(self._why_none(test, minimum), where=f"test {test.key}", test=test.key)
        return found

    def _why_none(self, test: Test, minimum: bool) -> str:
        kinds = [kind for accept in test.accepts for kind in accept.tubes]
        stocked = [kind for kind in kinds if kind in self.site.kinds]
        fillable = [kind for kind in stocked if self._is_open(self.site.kinds[kind])]
        usable = [kind for kind in fillable if any(is_usable(tube, self.on) for tube in self.site.kinds[kind].sizes)]
        asked = ", ".join(dict.fromkeys(kinds)) or "no tube at all"
        if not stocked:
            return f"it accepts {asked}; none of these is in the tube stock; stock one or change the directory"
        if not fillable:
            said = "; ".join(dict.fromkeys(self.refused[kind] for kind in stocked if kind in self.refused))
            return (
                f"it accepts {asked}; none of these can be filled by {self.access}{': ' if said else ''}{said}; "
                "use another access or stock a tube for this one"
            )
        if not usable:
            return f"it accepts {asked}; every size of these is out of stock or expired; restock"
        least_ul = min(a.minimum_ul if minimum else a.volume_ul for a in test.accepts)
        most_ul = max((self.ways[w].most_ul for k in usable for w in self._ways_of(k)), default=0)
        return (
            f"it needs {millilitres_text(least_ul)} mL; the largest usable tube of {', '.join(dict.fromkeys(usable))} "
            f"yields {millilitres_text(most_ul)} mL at this hematocrit; stock a larger size or check the volume"
        )

    def _ways_of(self, kind: str) -> list[int]:
        return [number for (key, _), number in self.way_of.items() if key == kind]


@cache
def temperatures(terms: frozenset[str]) -> frozenset[str]:
    """The terms by which a test is kept until the spin and spun: its own, else what these allow, else the unsaid ones.

    Tests share a tube where these are the same. So a test that says nothing stays at room temperature, whatever else
    was ordered: how its blood keeps on ice or at 37 C nobody has said.

    >>> sorted(temperatures(frozenset({"ice"}))), sorted(temperatures(frozenset({"fasting"})))
    (['cold_spin', 'ice'], ['no_chill', 'room_temperature_spin'])
    """
    known = facts.handling_terms()
    opposed = {term for key in known for term in known[key].opposes}
    found = {term for term in terms if term in known and (term in opposed or known[term].opposes)}
    allowed = [term for key in sorted(found) for term in known[key].allows]
    for term in (*allowed, *(key for key in known if known[key].unsaid)):
        if found.isdisjoint(known[term].opposes) and not any(term in known[key].opposes for key in found):
            found.add(term)
    return frozenset(found)


def parted(terms: Mapping[str, Set[str]]) -> dict[str, str]:
    """Of tests with their handling terms those that are not kept and spun as the unsaid is, each with a mark.

    Tests of one mark share a tube, and no other test shares it with them.

    >>> parted({"ammonia": {"ice", "cold_spin"}, "lactate": {"ice"}, "renin": {"no_chill"}, "sodium": set()})
    {'ammonia': 'cold_spin ice', 'lactate': 'cold_spin ice'}
    """
    unsaid = temperatures(frozenset())
    found = {key: temperatures(frozenset(asked)) for key, asked in terms.items()}
    return {key: " ".join(sorted(here)) for key, here in found.items() if here != unsaid}


def lots_of(site: Site) -> Mapping[str, str]:
    """For each bench that shares tubes, the first bench of its group.

    Raises `PlanError` for a bench in two groups: it is not known which of the others it shares with.
    """
    first: dict[str, str] = {}
    for group in site.planning.share_benches:
        for bench in group:
            if first.setdefault(bench, group[0]) != group[0]:
                raise PlanError(
                    f"found bench {bench!r} in two groups; expected it in one; join the groups or take it out of one",
                    where="site.toml [planning] share_benches",
                )
    return first
