"""What of a plan does not depend on the patient's blood limit: its tubes, what is left out, and the cautions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from fractions import Fraction

import msgspec

from cubital import facts
from cubital.errors import NoTube
from cubital.model import Bound, Caution, Draw, Order, PlannedTube, Reason, Site, Unplaced
from cubital.model.vocabulary import PRIORITIES, ObjectiveKey
from cubital.planning import cautions
from cubital.planning.asks import Asked
from cubital.planning.choices import RATIO_CRITICAL, Shelf, Wanted, parted
from cubital.planning.collections import Bottles, CulturePlan, plan_cultures, plan_discard
from cubital.planning.layout import Layout
from cubital.planning.packing import pack
from cubital.planning.parts import Packed, Packing
from cubital.planning.stands import Stand, Stands
from cubital.units import millilitres_text


class Body(msgspec.Struct, frozen=True, gc=False):
    """What of a plan does not depend on the patient's blood limit; `cost` as (tubes, blood, preference)."""

    volumes: str
    cost: tuple[int, int, int]
    draws: tuple[Draw, ...]
    tubes: tuple[PlannedTube, ...]
    all_blood_ul: int
    culture_ul: int
    unplaced: tuple[Unplaced, ...]
    cautions: tuple[Caution, ...]
    reasons: tuple[Reason, ...]
    bound: Bound


_Allotted = tuple[dict[int, CulturePlan], list[Asked], int | None, tuple[str, list[Wanted], Packing]]


class Composer:
    """Composes the bodies of one site's plans; holds no order beyond the call."""

    def __init__(self, site: Site, stands: Stands, *, node_limit: int) -> None:
        self.site = site
        self._stands = stands
        self._node_limit = node_limit
        self._opposing = _tests_that_may_oppose(site)
        self._notable = frozenset(key for key, test in site.tests.items() if cautions.may_warn(test))

    def compose(
        self,
        order: Order,
        asked: tuple[Asked, ...],
        objective: ObjectiveKey,
        hematocrit: Fraction,
        budget_ul: int | None,
        spared: frozenset[int] = frozenset(),
    ) -> Body:
        """One body; draws numbered in `spared` get no ratio tube, whatever that leaves out."""
        stand = self._stands.stand(order, hematocrit)
        shelf = stand.shelf
        minutes = sorted({a.at_min for a in asked})
        bottled = [a for a in asked if self.site.tests[a.test].culture is not None]
        packed = [a for a in asked if self.site.tests[a.test].culture is None]
        cultures, left_cultures, budget_ul, packed_up = self._allot(
            packed, bottled, minutes, shelf, objective, order, budget_ul, spared
        )
        volumes, wanted, packing = packed_up
        layout = Layout(minutes, cultures, [a for a in bottled if a not in left_cultures])
        tubes = self._tubes(layout, wanted, packing, stand, order, minimum=volumes == "minimum")
        unplaced = [
            *(_left_out_culture(a) for a in left_cultures),
            *(self._left_out(packed[n], shelf, budget_ul) for n in packing.dropped),
        ]
        found = [
            *cautions.from_unplaced(unplaced),
            *cautions.from_cultures(_culture_plans(bottled, order, self.site), cultures),
            *cautions.from_patient(order),
            *cautions.from_tests([a for a in asked if len(a.via) > 1 or a.test in self._notable], self.site, order),
            *cautions.from_tubes(tubes, order, hematocrit, self.site),
            *cautions.volume_words(volumes if packed else "typical", objective),
            *cautions.standing(),
        ]
        reasons = tuple(reason for plan in cultures.values() for reason in plan.reasons)
        bound = Bound(
            tubes=packing.bound[0], blood_ul=packing.bound[1], preference=packing.bound[2],
            searched=packing.nodes, finished=packing.finished,
        )  # fmt: skip
        culture_ul = sum([tube.draw_ul for tube in tubes if tube.purpose == "culture"])
        return Body(
            volumes, packing.cost, layout.draws, tubes, sum([tube.draw_ul for tube in tubes]), culture_ul,
            tuple(unplaced), cautions.in_order(found), reasons, bound,
        )  # fmt: skip

    def _allot(
        self, packed: list[Asked], bottled: list[Asked], minutes: list[int], shelf: Shelf, objective: ObjectiveKey,
        order: Order, budget_ul: int | None, spared: frozenset[int],
    ) -> _Allotted:  # fmt: skip
        """The bottles of each minute, the cultures left out, the budget left for tubes, and the tubes.

        A culture stands with the tests in the classes of urgency. Every culture of a patient takes the
        same blood, so of any number the most urgent are kept, and each number is tried.
        """
        plans = _culture_plans(bottled, order, self.site)
        if budget_ul is None:
            return plans, [], None, self._pack(packed, minutes, shelf, objective, None, frozenset())
        ranked = sorted(plans, key=lambda at_min: _urgency(a for a in bottled if a.at_min == at_min), reverse=True)

        def allot(plans: Mapping[int, CulturePlan]) -> tuple[tuple[int, int, int], _Allotted]:
            best = None
            for kept in range(len(ranked), -1, -1):
                here = {at_min: plans[at_min] for at_min in sorted(ranked[:kept])}
                left_ul = budget_ul - sum(bottle.fill_ul for plan in here.values() for bottle in plan.bottles)
                if here and left_ul < 0:
                    continue
                out = [a for a in bottled if a.at_min not in here]
                numbers = Layout(minutes, here, [])
                without = frozenset(i for i in range(len(minutes)) if numbers.number_of(i) in spared)
                packed_up = self._pack(packed, minutes, shelf, objective, left_ul, without)
                lost = _urgency([*out, *(packed[n] for n in packed_up[2].dropped)])
                if best is None or lost < best[0]:
                    best = lost, (here, out, left_ul, packed_up)
            assert best is not None
            return best

        best = allot(plans)
        if plans and not best[1][0]:
            # One set is drawn only where there would be no culture at all: of a newborn, some blood beats none.
            best = min(best, allot({at_min: plan.first_set() for at_min, plan in plans.items()}), key=_first)
        return best[1]

    def _pack(
        self,
        asked: list[Asked],
        minutes: list[int],
        shelf: Shelf,
        objective: ObjectiveKey,
        budget_ul: int | None,
        spared: frozenset[int],
    ) -> tuple[str, list[Wanted], Packing]:
        """Typical volumes where they fit, else minimum volumes, else the most urgent tests at minimum."""
        least_blood = objective == "least-blood"
        if not least_blood:
            try:
                wanted = self._wanted(asked, minutes, shelf, spared, minimum=False)
                packing = pack(shelf, wanted, least_blood=False, budget_ul=budget_ul, node_limit=self._node_limit)
                if packing is not None:
                    return "typical", wanted, packing
            except NoTube:
                pass  # a volume over every tube at typical may fit at minimum; if not, this is raised there
        wanted = self._wanted(asked, minutes, shelf, spared, minimum=True)
        packing = pack(shelf, wanted, least_blood=least_blood, budget_ul=budget_ul, node_limit=self._node_limit)
        if packing is None:
            packing = pack(
                shelf, wanted, least_blood=least_blood, budget_ul=budget_ul, may_drop=True,
                node_limit=self._node_limit,
            )  # fmt: skip
        assert packing is not None
        return "minimum", wanted, packing

    def _wanted(
        self, asked: list[Asked], minutes: list[int], shelf: Shelf, spared: frozenset[int], *, minimum: bool
    ) -> list[Wanted]:
        found = []
        tests = self.site.tests
        apart = self._apart(asked, shelf) if any(a.test in self._opposing for a in asked) else {}
        for a in asked:
            test = tests[a.test]
            draw = minutes.index(a.at_min)
            group = shelf.lots.get(test.bench, test.bench)
            label = apart.get((a.at_min, a.test))
            lot = (draw, group if label is None else f"{group} apart {label}")
            ways = shelf.ways_for(test, minimum=minimum)
            if draw in spared:
                ways = {way: need for way, need in ways.items() if not shelf.is_ratio_critical(way)}
                found.append(Wanted(a.test, draw, a.priority, lot, test.own_tube, ways))
            else:
                alone = shelf.alone_for(test, minimum=minimum)
                found.append(Wanted(a.test, draw, a.priority, lot, test.own_tube, ways, alone))
        return found

    def _apart(self, asked: list[Asked], shelf: Shelf) -> dict[tuple[int, str], str]:
        """The tests that go apart from others of their minute and benches, each with the mark of those it goes with."""
        together: dict[tuple[int, str], dict[str, frozenset[str]]] = {}
        for a in asked:
            test = self.site.tests[a.test]
            if not test.own_tube:
                group = shelf.lots.get(test.bench, test.bench)
                together.setdefault((a.at_min, group), {})[a.test] = frozenset(test.handling)
        found = {}
        for (at_min, _), terms in together.items():
            found.update({(at_min, key): label for key, label in parted(terms).items()})
        return found

    def _tubes(
        self, layout: Layout, wanted: list[Wanted], packing: Packing, stand: Stand, order: Order, *, minimum: bool
    ) -> tuple[PlannedTube, ...]:
        """Every container, draw by draw, in order of draw, with its position."""
        shelf, sequence, rack = stand
        bottles = layout.bottle_rows(self.site, sequence)
        pieces: dict[int, list[tuple[tuple[object, ...], Packed | PlannedTube]]] = {d.number: [] for d in layout.draws}
        for bottle in bottles:
            pieces[bottle.draw].append((sequence.sort_key(bottle.kind, 0, bottle.tests), bottle))
        for tube in packing.tubes:
            number = layout.number_of(wanted[tube.members[0]].draw)
            pieces[number].append((rack.sort_key(tube, wanted), tube))
        used = Counter((row.kind, row.draw_ul) for row in bottles)
        if order.access == "winged-set":
            used.update([(kind.key, size.draw_ul) for kind, size in (shelf.items[t.item] for t in packing.tubes)])
        placed: list[PlannedTube] = []
        for number, unordered in pieces.items():
            here = [
                piece
                if isinstance(piece, PlannedTube)
                else rack.row(piece, wanted, minimum=minimum, draw=number, position=n)
                for n, (_, piece) in enumerate(sorted(unordered, key=_by_key), start=1)
            ]
            if order.access == "syringe" and bottles:
                here = layout.keep_bottle_order(here)
            discard = plan_discard(here[0] if here else None, here, order, self.site, used)
            if discard is not None:
                used[discard.kind, discard.draw_ul] += 1
                here.insert(0, discard)
            if discard is not None or bottles:
                here = [_replace(row, position=n) for n, row in enumerate(here, start=1)]
            placed += here
        return tuple(placed)

    def _left_out(self, asked: Asked, shelf: Shelf, budget_ul: int | None) -> Unplaced:
        sizes = [
            (size.draw_ul, shelf.ways[way].kind)
            for way, (need_ul, _) in shelf.ways_for(self.site.tests[asked.test], minimum=True).items()
            for size in shelf.ways[way].sizes
            if size.cap_ul >= need_ul
        ]
        draw_ul, kind = min(sizes)
        if budget_ul is None:
            why = "the stock cannot hold it beside the tests that are kept"
            needs = f"one more {kind} of {millilitres_text(draw_ul)} mL or larger, or another kind it accepts"
        else:
            why = "the blood limit leaves no room for it beside the tests that are kept"
            owed = " and any discard before it" if self.site.kinds[kind].additive in RATIO_CRITICAL else ""
            needs = f"{millilitres_text(draw_ul)} mL ({kind}){owed}, when the limit allows or a physician decides"
        return Unplaced(test=asked.test, priority=PRIORITIES[asked.priority], why=why, needs=needs)


def _tests_that_may_oppose(site: Site) -> frozenset[str]:
    """The tests with a handling term that opposes some other term."""
    known = facts.handling_terms()
    terms = {term for term in known if known[term].opposes}
    return frozenset(key for key, test in site.tests.items() if not terms.isdisjoint(test.handling))


def _first(pair: tuple[tuple[int, int, int], object]) -> tuple[int, int, int]:
    return pair[0]


def _by_key(piece: tuple[tuple[object, ...], object]) -> tuple[object, ...]:
    return piece[0]


def _culture_plans(bottled: list[Asked], order: Order, site: Site) -> dict[int, CulturePlan]:
    """The bottles of each minute that has a culture, all from one shelf."""
    shelf = Bottles(site, order)
    plans = {}
    for at_min in sorted({a.at_min for a in bottled}):
        kinds = {site.tests[a.test].culture for a in bottled if a.at_min == at_min}
        what = kinds.pop() if len(kinds) == 1 else "set"
        plans[at_min] = plan_cultures(what or "set", order, site, shelf=shelf)
    return plans


def _urgency(asked: Iterable[Asked]) -> tuple[int, int, int]:
    """How many of these are stat, timed and routine: compared in this order."""
    count = Counter(a.priority for a in asked)
    return count[0], count[1], count[2]


def _left_out_culture(asked: Asked) -> Unplaced:
    return Unplaced(
        test=asked.test,
        priority=PRIORITIES[asked.priority],
        why="the blood limit leaves no room for the culture volume of this weight",
        needs="a physician's decision on the volume: a smaller culture finds less",
    )


def _replace(row: PlannedTube, **changes: object) -> PlannedTube:
    return msgspec.structs.replace(row, **changes)
