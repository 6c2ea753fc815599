"""From an order to a plan: what was asked, the body within the blood limit, and the answer as a whole."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

import msgspec

from cubital import facts
from cubital.errors import OrderError
from cubital.model import Ask, Order, Patient, Plan, Site, Totals
from cubital.model.vocabulary import PRIORITIES, ObjectiveKey
from cubital.planning import cautions
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.bedside import Bedside, Taken
from cubital.planning.body import Body, Composer
from cubital.planning.choices import RATIO_CRITICAL
from cubital.planning.directory import Directory
from cubital.planning.packing import NODE_LIMIT
from cubital.planning.patient import Limit
from cubital.planning.stands import Stands

MOST_TESTS = 250
_KEPT_BODIES = 50_000
_MOST_SPARED_DRAWS = 3


class _Question(NamedTuple):
    """What one set of asks comes to, and the plans of it so far by all else that decides them."""

    asked: tuple[Asked, ...]
    has_culture: bool
    bodies: dict[object, Body]


class Planner:
    """Plans the orders of one site; keeps what it has worked out, so equal questions are answered once.

    Give the same planner every order of a site. It holds no patient beyond the call. `worked_out` counts the
    plans that were not answered from one before.
    """

    def __init__(self, site: Site, *, node_limit: int = NODE_LIMIT) -> None:
        self.site = site
        self.directory = Directory(site)
        self._is_dated = any(size.expires is not None for kind in site.kinds.values() for size in kind.sizes)
        self._bedside = Bedside(site)
        self._stands = Stands(site)
        self._composer = Composer(site, self._stands, node_limit=node_limit)
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
            _culture_class(patient) if question.has_culture else None,
        )  # fmt: skip
        body = question.bodies.get(key)
        if body is None:
            body = self._composer.compose(order, question.asked, objective, taken.hematocrit, None)
            self._keep(question, key, body)
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
        self._stands.prepare(order, self._bedside.hematocrit(order.patient).hematocrit)

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

    def _keep(self, question: _Question, key: object, body: Body) -> None:
        """The answer to this question, from now on."""
        self.worked_out += 1
        self._make_room()
        question.bodies[key] = body

    def _make_room(self) -> None:
        """Room for one more thing kept: all are forgotten when they are too many."""
        if self._kept >= _KEPT_BODIES:
            self._questions.clear()
            self._kept = 0
        self._kept += 1

    def _limited_body(
        self, order: Order, asked: tuple[Asked, ...], objective: ObjectiveKey, hematocrit: Fraction, room_ul: int
    ) -> Body:
        """The best plan whose blood, discards and bottles included, stays within `room_ul`.

        A discard is owed only where a ratio tube is drawn, and its blood may cost a test. So where the
        tubes alone fit but not with their discards, each set of draws is also planned without ratio
        tubes, and the plan that loses least is taken.
        """
        free = self._composer.compose(order, asked, objective, hematocrit, room_ul)
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
    ) -> Body:  # fmt: skip
        """The plan within `room_ul`, its discards paid for, with no ratio tube in the spared draws."""
        budget_ul = room_ul
        while True:
            body = self._composer.compose(order, asked, objective, hematocrit, budget_ul, spared)
            discard_ul = sum(tube.draw_ul for tube in body.tubes if tube.purpose == "discard")
            if body.all_blood_ul <= room_ul or budget_ul < 0:
                return body
            budget_ul = min(budget_ul - 1, room_ul - discard_ul)

    def _may_open_draw(self, order: Order, body: Body) -> bool:
        """Whether this site could draw some other tube before the ratio tube that owes a discard."""
        owed = {tube.draw for tube in body.tubes if tube.purpose == "discard"}
        if order.access != "winged-set" or not owed:
            return False
        sequence = self._stands.sequence(order.access)
        ranks = [sequence.rank(t.kind).order for t in body.tubes if t.draw in owed and t.additive in RATIO_CRITICAL]
        return any(
            kind.additive not in (*RATIO_CRITICAL, "culture-medium")
            and (rank := sequence.find(kind.key)) is not None
            and rank.order < min(ranks)
            for kind in self.site.kinds.values()
        )

    def _finish(self, body: Body, order: Order, objective: ObjectiveKey, limit: Limit, taken: Taken) -> Plan:
        warned = cautions.from_limit(limit, body.all_blood_ul, order, culture_ul=body.culture_ul)
        return Plan(
            objective=objective,
            volumes=body.volumes,
            optimal=body.bound.finished,
            bound=body.bound,
            policy=self._stands.sequence(order.access).policy.key,
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


def _loss(body: Body, objective: ObjectiveKey) -> tuple[object, ...]:
    """What this plan gives up: tests by urgency, then typical volumes, then the objective."""
    left = tuple(sum(entry.priority == priority for entry in body.unplaced) for priority in PRIORITIES)
    tubes, blood_ul, preference = body.cost
    worth = (blood_ul, tubes) if objective == "least-blood" else (tubes, blood_ul)
    return (*left, body.volumes == "minimum", *worth, preference)


def _culture_class(patient: Patient) -> object:
    """What of weight and age changes a culture, so that plans of like patients are shared."""
    weight_g, age_h = patient.weight_g, patient.age_h
    is_past = cautions.is_past_chlorhexidine_age(patient)
    if weight_g is None:
        return age_h is not None and age_h < 24 * 6939, is_past
    rows = facts.cultures().table("idsa-asm-2018").rows
    return next((r.weight_max_g or 0 for r in rows if r.weight_max_g is None or weight_g <= r.weight_max_g), 0), is_past
