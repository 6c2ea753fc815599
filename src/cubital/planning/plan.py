"""From an order to a plan: choices, exact packing, limit, order of draw, cautions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from contextlib import suppress
from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

import msgspec

from cubital import facts
from cubital.errors import NoTube, OrderError
from cubital.model import (
    Ask,
    Bound,
    Caution,
    Draw,
    Order,
    Plan,
    PlannedTube,
    Reason,
    Site,
    Totals,
    Unplaced,
)  # fmt: skip
from cubital.model.vocabulary import PRIORITIES, ObjectiveKey
from cubital.planning import cautions
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.bedside import Bedside, Taken
from cubital.planning.choices import RATIO_CRITICAL, Shelf, Wanted, opposed_terms
from cubital.planning.collections import Bottles, CulturePlan, plan_cultures, plan_discard
from cubital.planning.directory import Directory
from cubital.planning.layout import Layout
from cubital.planning.packing import NODE_LIMIT, pack
from cubital.planning.parts import Packed, Packing
from cubital.planning.patient import Limit
from cubital.planning.rows import Rack
from cubital.planning.sequence import Sequence
from cubital.units import millilitres_text

MOST_TESTS = 250
_KEPT_BODIES = 50_000
_KEPT_STANDS = 500
_MOST_SPARED_DRAWS = 3


class _Body(msgspec.Struct, frozen=True, gc=False):
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


class _Stand(NamedTuple):
    """One shelf, the order of draw from it, and its tubes as rows."""

    shelf: Shelf
    sequence: Sequence
    rack: Rack


class _Question(NamedTuple):
    """What one set of asks comes to, and the plans of it so far by all else that decides them."""

    asked: tuple[Asked, ...]
    has_culture: bool
    bodies: dict[object, _Body]


class Planner:
    """Plans the orders of one site; keeps what it has worked out, so equal questions are answered once.

    Give the same planner every order of a site. It holds no patient beyond the call. `worked_out` counts the
    plans that were not answered from one before.
    """

    def __init__(self, site: Site, *, node_limit: int = NODE_LIMIT) -> None:
        self.site = site
        self.directory = Directory(site)
        self._node_limit = node_limit
        self._is_dated = any(size.expires is not None for kind in site.kinds.values() for size in kind.sizes)
        self._stands: dict[object, _Stand] = {}
        self._opposing = _tests_that_may_oppose(site)
        self._notable = frozenset(key for key, test in site.tests.items() if cautions.may_warn(test))
        self._sequences: dict[str, Sequence] = {}
        self._bedside = Bedside(site)
        self._questions: dict[tuple[Ask, ...], _Question] = {}
        self._kept = 0
        self.worked_out = 0

    def plan(self, order: Order) -> Plan:
        """The plan for this order; raises `OrderError` or `PlanError` where there is none."""
        objective = order.objective or self.site.planning.objective
        if self._is_dated and order.on is None:
            raise OrderError(
                "found no day of the draw, and this site's stock has expiry dates; expected the day; give it",
                where="on",
            )
        patient = order.patient
        question = self._questions.get(order.asks) or self._ask(order)
        taken = self._bedside.hematocrit(patient)
        limit = self._bedside.limit(patient)
        key = (
            taken.number, order.access, objective, patient.flags, order.unread, order.on,
            order.line if order.access == "line" else None, cautions.is_newborn(patient),
            _culture_class(patient.weight_g, patient.age_h) if question.has_culture else None,
        )  # fmt: skip
        body = question.bodies.get(key)
        if body is None:
            body = self._keep(question, key, self._build(order, question.asked, objective, taken.hematocrit, None))
        if limit.limit_ul is not None:
            room_ul = max(0, limit.limit_ul - patient.drawn_ul)
            if body.all_blood_ul > room_ul:
                short = (*key, room_ul)
                found = question.bodies.get(short)
                if found is None:
                    found = self._limited_body(order, question.asked, objective, taken.hematocrit, room_ul)
                    self._keep(question, short, found)
                body = found
        return self._finish(body, order, objective, limit, taken)

    def prepare(self, order: Order) -> None:
        """Works out what no test asked changes, so that orders of this access, day and hematocrit take less time.

        Nothing else of the order is looked at. A planner that is not prepared works out the same when it is needed.
        """
        stand = self._stand(order, self._bedside.hematocrit(order.patient).hematocrit)
        for test in self.site.tests.values():
            for minimum in (False, True):
                with suppress(NoTube):
                    stand.shelf.alone_for(test, minimum=minimum)
        stand.rack.prepare()

    def _ask(self, order: Order) -> _Question:
        """What these asks come to, from now on."""
        asked = resolve_asks(order, self.site, self.directory)
        if len(asked) > MOST_TESTS:
            raise OrderError(
                f"found {len(asked)} tests; expected at most {MOST_TESTS} in one order; split it", where="tests"
            )
        tests = self.site.tests
        has_culture = any(tests[a.test].culture is not None for a in asked)
        self._make_room()
        self._questions[order.asks] = question = _Question(asked, has_culture, {})
        return question

    def _keep(self, question: _Question, key: object, body: _Body) -> _Body:
        """This body, from now on."""
        self.worked_out += 1
        self._make_room()
        question.bodies[key] = body
        return body

    def _make_room(self) -> None:
        """Room for one more thing kept: all are forgotten when they are too many."""
        if self._kept >= _KEPT_BODIES:
            self._questions.clear()
            self._kept = 0
        self._kept += 1

    def _limited_body(
        self, order: Order, asked: tuple[Asked, ...], objective: ObjectiveKey, hematocrit: Fraction, room_ul: int
    ) -> _Body:
        """The best plan whose blood, discards and bottles included, stays within `room_ul`.

        A discard is owed only where a ratio tube is drawn, and its blood may cost a test. So where the
        tubes alone fit but not with their discards, each set of draws is also planned without ratio
        tubes, and the plan that loses least is taken.
        """
        free = self._build(order, asked, objective, hematocrit, room_ul)
        if free.all_blood_ul <= room_ul:
            return free
        critical = sorted({t.draw for t in free.tubes if t.purpose == "collect" and t.additive in RATIO_CRITICAL})
        some = critical[:_MOST_SPARED_DRAWS]
        bodies = [
            self._within(order, asked, objective, hematocrit, room_ul, frozenset(spared))
            for count in range(len(some) + 1)
            for spared in combinations(some, count)
        ]
        best = min(bodies, key=lambda body: _loss(body, objective))
        if len(some) < len(critical) or self._may_open_draw(order, best):
            # A harmless tube drawn first might spare the discard; that is not searched, so nothing is proved.
            unproved = msgspec.structs.replace(best.bound, finished=False)
            best = msgspec.structs.replace(best, bound=unproved)
        return best

    def _within(
        self, order: Order, asked: tuple[Asked, ...], objective: ObjectiveKey, hematocrit: Fraction, room_ul: int,
        spared: frozenset[int],
    ) -> _Body:  # fmt: skip
        """The plan within `room_ul`, its discards paid for, with no ratio tube in the spared draws."""
        budget_ul = room_ul
        while True:
            body = self._build(order, asked, objective, hematocrit, budget_ul, spared)
            discard_ul = sum(tube.draw_ul for tube in body.tubes if tube.purpose == "discard")
            if body.all_blood_ul <= room_ul or budget_ul < 0:
                return body
            budget_ul = min(budget_ul - 1, room_ul - discard_ul)

    def _may_open_draw(self, order: Order, body: _Body) -> bool:
        """Whether this site could draw some other tube before the ratio tube that owes a discard."""
        owed = {tube.draw for tube in body.tubes if tube.purpose == "discard"}
        if order.access != "winged-set" or not owed:
            return False
        sequence = self._sequence(order.access)
        ranks = [sequence.rank(t.kind).order for t in body.tubes if t.draw in owed and t.additive in RATIO_CRITICAL]
        return any(
            kind.additive not in (*RATIO_CRITICAL, "culture-medium")
            and (rank := sequence.find(kind.key)) is not None
            and rank.order < min(ranks)
            for kind in self.site.kinds.values()
        )

    def _stand(self, order: Order, hematocrit: Fraction) -> _Stand:
        key = (order.access, order.on, hematocrit)
        stand = self._stands.get(key)
        if stand is None:
            if len(self._stands) >= _KEPT_STANDS:
                self._stands.clear()
            sequence = self._sequence(order.access)
            refused = {
                kind.key: why for kind in self.site.kinds.values() if (why := sequence.refusal(kind)) is not None
            }
            shelf = Shelf(self.site, access=order.access, on=order.on, hematocrit=hematocrit, refused=refused)
            stand = self._stands[key] = _Stand(shelf, sequence, Rack(shelf, sequence, hematocrit))
        return stand

    def _sequence(self, access: str) -> Sequence:
        sequence = self._sequences.get(access)
        if sequence is None:
            sequence = self._sequences[access] = Sequence(self.site, access)
        return sequence

    def _build(
        self,
        order: Order,
        asked: tuple[Asked, ...],
        objective: ObjectiveKey,
        hematocrit: Fraction,
        budget_ul: int | None,
        spared: frozenset[int] = frozenset(),
    ) -> _Body:
        """One plan; draws numbered in `spared` get no ratio tube, whatever that leaves out."""
        stand = self._stand(order, hematocrit)
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
        return _Body(
            volumes, packing.cost, layout.draws, tubes, sum([tube.draw_ul for tube in tubes]), culture_ul,
            tuple(unplaced), cautions.in_order(found), reasons, bound,
        )  # fmt: skip

    def _allot(
        self, packed: list[Asked], bottled: list[Asked], minutes: list[int], shelf: Shelf, objective: ObjectiveKey,
        order: Order, budget_ul: int | None, spared: frozenset[int],
    ) -> tuple[dict[int, CulturePlan], list[Asked], int | None, tuple[str, list[Wanted], Packing]]:  # fmt: skip
        """The bottles of each minute, the cultures left out, the budget left for tubes, and the tubes.

        A culture stands with the tests in the classes of urgency. Every culture of a patient takes the
        same blood, so of any number the most urgent are kept, and each number is tried.
        """
        plans = _culture_plans(bottled, order, self.site)
        if budget_ul is None:
            return plans, [], None, self._pack(packed, minutes, shelf, objective, None, frozenset())
        best = None
        ranked = sorted(plans, key=lambda at_min: _urgency(a for a in bottled if a.at_min == at_min), reverse=True)
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
        terms = {term for a in asked if a.test in self._opposing for term in tests[a.test].handling}
        opposed = opposed_terms(terms | {t for a in asked for t in tests[a.test].handling}) if terms else frozenset()
        for a in asked:
            test = tests[a.test]
            draw = minutes.index(a.at_min)
            apart = " ".join([term for term in test.handling if term in opposed]) if opposed else ""
            group = shelf.lots.get(test.bench, test.bench)
            lot = (draw, f"{group} {apart}" if apart else group)
            ways = shelf.ways_for(test, minimum=minimum)
            if draw in spared:
                ways = {way: need for way, need in ways.items() if not shelf.is_ratio_critical(way)}
                found.append(Wanted(a.test, draw, a.priority, lot, test.own_tube, ways))
            else:
                alone = shelf.alone_for(test, minimum=minimum)
                found.append(Wanted(a.test, draw, a.priority, lot, test.own_tube, ways, alone))
        return found

    def _tubes(
        self, layout: Layout, wanted: list[Wanted], packing: Packing, stand: _Stand, order: Order, *, minimum: bool
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

    def _finish(self, body: _Body, order: Order, objective: ObjectiveKey, limit: Limit, taken: Taken) -> Plan:
        warned = cautions.from_limit(limit, body.all_blood_ul, order, culture_ul=body.culture_ul)
        return Plan(
            objective=objective,
            volumes=body.volumes,
            optimal=body.bound.finished,
            bound=body.bound,
            policy=self._sequence(order.access).policy.key,
            site=self.site.name,
            access=order.access,
            draws=body.draws,
            tubes=body.tubes,
            totals=Totals(
                tubes=body.cost[0], blood_ul=body.cost[1], preference=body.cost[2],
                all_tubes=len(body.tubes), all_blood_ul=body.all_blood_ul, limit_ul=limit.limit_ul,
                already_drawn_ul=order.patient.drawn_ul, blood_volume_ul=limit.blood_volume_ul,
            ),
            unplaced=body.unplaced,
            cautions=cautions.in_order([*warned, *body.cautions]) if warned else body.cautions,
            reasons=(taken.reason, *limit.reasons, *body.reasons),
            edition=facts.edition(),
            id=order.id,
        )  # fmt: skip


def _tests_that_may_oppose(site: Site) -> frozenset[str]:
    """The tests with a handling term that opposes some other term."""
    known = facts.handling_terms()
    terms = {term for term in known if known[term].opposes}
    return frozenset(key for key, test in site.tests.items() if not terms.isdisjoint(test.handling))


def _by_key(piece: tuple[tuple[object, ...], object]) -> tuple[object, ...]:
    return piece[0]


def _loss(body: _Body, objective: ObjectiveKey) -> tuple[object, ...]:
    """What this plan gives up: tests by urgency, then typical volumes, then the objective."""
    left = tuple(sum(entry.priority == priority for entry in body.unplaced) for priority in PRIORITIES)
    tubes, blood_ul, preference = body.cost
    worth = (blood_ul, tubes) if objective == "least-blood" else (tubes, blood_ul)
    return (*left, body.volumes == "minimum", *worth, preference)


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


def _culture_class(weight_g: int | None, age_h: int | None) -> object:
    """What of weight and age changes a culture, so that plans of like patients are shared."""
    if weight_g is None:
        return age_h is not None and age_h < 24 * 6939
    for row in facts.cultures().table("idsa-asm-2018").rows:
        if row.weight_max_g is None or weight_g <= row.weight_max_g:
            return row.weight_max_g or 0
    return None
