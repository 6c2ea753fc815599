"""What a plan promises for an order: which objective and volumes, what is left out, and the optimum then."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import NamedTuple

from cubital.model import Order, Plan, Site
from cubital.model.vocabulary import PRIORITIES, RANKS
from tests.oracles.bottles import Culture, Volume, blood_ul, cultures_of, volumes_of
from tests.oracles.instance import Answer, Instance, is_child
from tests.oracles.tolls import line_owes_ul

Solve = Callable[[Instance], Answer | None]
Loss = tuple[int, ...]
# What the collector keeps; then of each urgency the classes, with a level between the last two of them.
_EACH = len(RANKS) + 1
_LEVELS = 1 + _EACH * len(PRIORITIES)
# What cultures are short of stands after every test that is useful today, before the routine ones that can wait.
VOLUME_LEVEL = _LEVELS - 2
_NOTHING: Loss = (0,) * _LEVELS


@dataclass(frozen=True, slots=True)
class Promise:
    """The objective and volumes a plan must take, what it must lose by rank at the least, and the optimum it reaches.

    `culture_ul` is the blood of its culture bottles; the blood of the optimum is that of the tubes and of discards.
    `answer` is the packing that reaches it.
    """

    objective: str
    volumes: str
    loss: Loss
    tubes: int
    blood_ul: int
    preference: int
    culture_ul: int = 0
    answer: Answer = field(default=Answer((), 0, 0, 0), compare=False)

    @property
    def lost_ul(self) -> int:
        """All blood that leaves the vein."""
        return self.blood_ul + self.culture_ul

    @property
    def levels(self) -> tuple[int, int, int]:
        """Tubes, blood and preference in the order of the objective."""
        return Instance((), (), self.objective).value(self.tubes, self.blood_ul, self.preference)


def promise(order: Order, site: Site, solve: Solve, *, limit_ul: int | None = None) -> Promise:
    """What the plan of this order must reach where this much blood may be drawn in the period of the limit."""
    drawn_ul = order.patient.drawn_ul
    for objective, percent, only_far in _tries(order, site, limit_ul):
        found = _free(order, site, solve, objective, percent)
        if limit_ul is None:
            return found
        near_ul = limit_ul * site.planning.near_limit_percent // 100
        if found.lost_ul + drawn_ul <= (near_ul if only_far else limit_ul):
            return found
    stated = order.objective or site.planning.objective
    short = "least-blood" if stated == "least-blood" else "fewest-tubes"
    return promise_within(order, site, solve, short, max(0, (limit_ul or 0) - drawn_ul))


def _tries(order: Order, site: Site, limit_ul: int | None) -> Iterator[tuple[str, int, bool]]:
    """The objectives that the rule of near and far tries, each with its reserve, and whether it must stay far."""
    stated = order.objective or site.planning.objective
    percent = 0 if is_child(order) or order.access == "skin-puncture" else site.planning.reserve_percent
    if stated == "least-blood":
        yield stated, 0, False
        return
    if stated == "by-patient" and not is_child(order):
        yield "liked-kinds", percent, True
    then = "liked-kinds" if stated == "liked-kinds" else "fewest-tubes"
    if percent:
        yield then, percent, False
    yield then, 0, False


def _free(order: Order, site: Site, solve: Solve, objective: str, percent: int) -> Promise:
    """The optimum whatever blood it takes: typical volumes where they keep all; else minimum ones."""
    cultures = cultures_of(order, site)
    volume = volumes_of(order)[0] if cultures else Volume(0, 0)
    question = _Question(order, site, solve, objective, cultures, volume, None)
    if objective != "least-blood":
        answer = question.answer(minimum=False, percent=percent)
        if answer is not None:
            return question.promise("typical", answer)
    answer = question.answer(minimum=True) or question.answer(minimum=True, may_drop=True)
    assert answer is not None
    return question.promise("minimum", answer)


def promise_within(order: Order, site: Site, solve: Solve, objective: str, room_ul: int) -> Promise:
    """The least loss by rank over every choice of cultures and every volume of them; then the optimum."""
    cultures = cultures_of(order, site)
    found: list[Promise] = []
    for count in range(len(cultures), -1, -1):
        for kept in combinations(cultures, count):
            for volume in volumes_of(order) if kept else [Volume(0, 0)]:
                question = _Question(order, site, solve, objective, list(kept), volume, room_ul)
                best = question.best()
                if best is not None:
                    found.append(best)
    return min(found, key=lambda one: (one.loss, one.volumes == "minimum", one.levels))


class _Question(NamedTuple):
    """The tubes of an order beside so many cultures of one volume, within the blood that these leave."""

    order: Order
    site: Site
    solve: Solve
    objective: str
    cultures: list[Culture]
    volume: Volume
    room_ul: int | None

    @property
    def culture_ul(self) -> int:
        return sum(blood_ul(culture, self.volume, self.order, self.site) for culture in self.cultures)

    @property
    def cleared_ul(self) -> int:
        """What is thrown away before the bottles of a line that is not itself suspected of infection."""
        order = self.order
        if order.access != "line" or order.line.dead_space_ul is None or order.line.suspected_infection:
            return 0
        return len(self.cultures) * line_owes_ul(order, self.site, has_citrate=False)

    def best(self) -> Promise | None:
        """Typical volumes where they keep all tests, else minimum ones; None where the cultures alone take too much."""
        if self.cultures and self.culture_ul + self.cleared_ul > (self.room_ul or 0):
            return None
        if self.objective != "least-blood":
            answer = self.answer(minimum=False)
            if answer is not None:
                return self.promise("typical", answer)
        answer = self.answer(minimum=True, may_drop=True)
        assert answer is not None
        return self.promise("minimum", answer)

    def answer(self, *, minimum: bool, percent: int = 0, may_drop: bool = False) -> Answer | None:
        """The optimum of the tubes; without `may_drop` None where some test must be left out."""
        instance = self._instance(minimum=minimum)
        if percent:
            instance = self._with_reserve(instance, percent)
        answer = _solved(instance, self.solve)
        return answer if may_drop or answer.kept == instance.everything else None

    def _instance(self, *, minimum: bool, reserve: Mapping[str, int] | int = 0) -> Instance:
        left_ul = None if self.room_ul is None else self.room_ul - self.culture_ul - self.cleared_ul
        bottled = [culture.draw for culture in self.cultures]
        return Instance.of(
            self.order, self.site, minimum=minimum, objective=self.objective, bottled=bottled,
            budget_ul=None if left_ul is None else max(0, left_ul), reserve=reserve,
        )  # fmt: skip

    def _with_reserve(self, plain: Instance, percent: int) -> Instance:
        """The same with the reserve of each lot, or half of it, or none: the most that costs no tube and no liking."""
        if plain.tolls or any(size.stock is not None for size in plain.sizes):
            raise ValueError("the oracle does not say what is kept in reserve where lots share stock or a discard")
        shares = {}
        for number, request in enumerate(plain.requests):
            lot = (number,) if request.own_tube else tuple(
                n for n, other in enumerate(plain.requests) if other.group == request.group and not other.own_tube
            )  # fmt: skip
            shares[request.name] = self._share_of(lot, percent)
        return self._instance(minimum=False, reserve=shares)

    def _share_of(self, lot: Sequence[int], percent: int) -> int:
        worths = []
        for share in (0, percent, percent // 2):
            instance = self._instance(minimum=False, reserve=share)
            answer = _solved(replace(instance, requests=tuple(instance.requests[n] for n in lot)), self.solve)
            worths.append((answer.tubes, answer.preference if self.objective == "liked-kinds" else 0))
        return percent if worths[1] == worths[0] else percent // 2 if worths[2] == worths[0] else 0

    def promise(self, volumes: str, answer: Answer) -> Promise:
        """This answer with what is left out of tests and cultures."""
        everything = self._instance(minimum=True).everything
        loss = list(_NOTHING)
        for rank, (all_, kept) in enumerate(zip(everything, answer.kept, strict=True)):
            loss[_level(rank)] += all_ - kept
        asked = cultures_of(self.order, self.site)
        for culture in asked:
            for key, urgency in culture.tests if culture not in self.cultures else ():
                loss[_level_of(self.site.tests[key].rank, urgency, is_kept=key in self.order.keep)] += 1
        if asked:
            full = volumes_of(self.order)[0]
            full_ul = sum(blood_ul(culture, full, self.order, self.site) for culture in asked)
            loss[VOLUME_LEVEL] += full_ul - self.culture_ul
        return Promise(
            self.objective, volumes, tuple(loss), answer.tubes, answer.blood_ul + self.cleared_ul, answer.preference,
            self.culture_ul, answer,
        )  # fmt: skip


def _solved(instance: Instance, solve: Solve) -> Answer:
    answer = solve(instance)
    if answer is None:
        raise AssertionError("the oracle ran out of time")
    return answer


def _level(rank: int) -> int:
    """The level of the loss for a rank of the instance, which has no level between the last two classes."""
    if rank == 0:
        return 0
    urgency, class_ = divmod(rank - 1, len(RANKS))
    return 1 + _EACH * urgency + class_ + (class_ == len(RANKS) - 1)


def _level_of(rank: str | None, urgency: int, *, is_kept: bool) -> int:
    return 0 if is_kept else _level(1 + len(RANKS) * urgency + RANKS.index(rank or "useful-today"))


def value_of(plan: Plan, order: Order, site: Site) -> Promise:
    """What a plan reached, in the terms of a promise; loss only of orders that name their cultures by key."""
    loss = list(_NOTHING)
    for entry in plan.unplaced:
        urgency = PRIORITIES.index(entry.priority)
        loss[_level_of(site.tests[entry.test].rank, urgency, is_kept=entry.test in order.keep)] += 1
    culture_ul = sum(tube.draw_ul for tube in plan.tubes if tube.purpose == "culture")
    asked = cultures_of(order, site)
    if asked:
        full = volumes_of(order)[0]
        full_ul = sum(blood_ul(culture, full, order, site) for culture in asked)
        loss[VOLUME_LEVEL] += full_ul - culture_ul
    totals = plan.totals
    return Promise(
        plan.objective, plan.volumes, tuple(loss), totals.tubes, totals.blood_ul, totals.preference, culture_ul
    )
