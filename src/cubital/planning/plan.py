"""From an order to a plan: what was asked, the draft within the blood limit, and the answer as a whole."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

import msgspec

from cubital import facts
from cubital.errors import OrderError
from cubital.model import Ask, Choice, Draw, Order, Plan, Site, Totals
from cubital.planning import cautions
from cubital.planning.aims import Standing, standing_of, tries_for, why_objective
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.bedside import AssumedHematocrit, Bedside
from cubital.planning.circumstances import Circumstances, circumstances_of
from cubital.planning.cost import PackObjective
from cubital.planning.directory import Directory
from cubital.planning.draft import Aim, Drafter, PlanDraft
from cubital.planning.due_cautions import from_due
from cubital.planning.limit_cautions import from_limit
from cubital.planning.lint import SKIN_PUNCTURE
from cubital.planning.moments import Arrangement, Slot, Timetable, arrange
from cubital.planning.packing import NODE_LIMIT
from cubital.planning.patient import Limit
from cubital.planning.settling import WORD_ERRORS, error_of, unsettled_of
from cubital.planning.stands import Stands

MOST_TESTS = 250
MOST_CHOICES = 3
# In each of two generations of what is kept, the one in use and the one before it: about 8 KB a draft.
_KEPT_DRAFTS = 64_000
_KEPT_OF_ONE_QUESTION = 10_000
_KEPT_TIMETABLES = 20_000
_Key = tuple[Circumstances, Aim]
Due = tuple[datetime | None, datetime | None]


class _Question(NamedTuple):
    """What one set of asks comes to, and the drafts of it so far by all else that decides them.

    `timetable` is that of an order that states no event.
    """

    asked: tuple[Asked, ...]
    timetable: Timetable
    has_culture: bool
    drafts: dict[_Key, PlanDraft]


class _Chosen(NamedTuple):
    """The draft that is the plan, the aim it was made for, and the other choices a collector has."""

    draft: PlanDraft
    aim: Aim
    choices: tuple[Choice, ...] = ()


class Planner:
    """Plans the orders of one site; keeps what it has worked out, so equal questions are answered once.

    Give the same planner every order of a site. It holds no patient beyond the call: what it keeps is kept under all
    that composing can see (`Circumstances` and `Aim`). `worked_out` counts the drafts that were not answered from one
    before. Not thread-safe: callers take turns.
    """

    def __init__(self, site: Site, *, node_limit: int = NODE_LIMIT) -> None:
        self.site = site
        self.directory = Directory(site)
        self._is_dated = any(size.expires is not None for kind in site.kinds.values() for size in kind.sizes)
        self._bedside = Bedside(site)
        self._stands = Stands(site)
        self._drafter = Drafter(site, self._stands, node_limit=node_limit)
        self._questions: dict[tuple[Ask, ...], _Question] = {}
        self._older: dict[tuple[Ask, ...], _Question] = {}
        self._timetables: dict[tuple[tuple[Slot, ...], tuple[int, ...]], Timetable] = {}
        self._kept = 0
        self.worked_out = 0

    def plan(self, order: Order) -> Plan:
        """The plan for this order; raises `OrderError` or `PlanError` where there is none."""
        if self._is_dated and order.on is None:
            raise OrderError(
                "found no day of the draw, and this site's stock has expiry dates; expected the day; give it",
                where="on",
            )
        if self._kept >= _KEPT_DRAFTS:
            # What is not asked in all of the next generation is forgotten with this one.
            self._older, self._questions, self._kept = self._questions, {}, 0
        patient = order.patient
        question = self._questions.get(order.asks) or self._recall(order.asks) or self._ask(order)
        timetable, arrangement = question.timetable, None
        if order.events or order.now is not None:
            arrangement = arrange(question.asked, self.site, now=order.now, events=order.events)
            timetable = self._timetable(arrangement)
        hematocrit = self._bedside.hematocrit(patient)
        circumstances = circumstances_of(
            order, self.site, hematocrit, timetable, has_culture=question.has_culture
        )
        limit = self._bedside.limit(patient)
        standing = standing_of(patient, limit, self.site)
        keep = self._kept_tests(order, question) if order.keep else frozenset()
        chosen = self._choose(order, question, circumstances, standing, keep)
        return self._finish(chosen, order, limit, standing, hematocrit, arrangement)

    def prepare(self, order: Order) -> None:
        """Works out what no test asked changes, so that orders of this access, day and hematocrit take less time.

        Nothing else of the order is looked at. A planner that is not prepared works out the same when it is needed.
        """
        hematocrit = self._bedside.hematocrit(order.patient)
        nothing = Timetable((), ())
        self._stands.prepare(circumstances_of(order, self.site, hematocrit, nothing, has_culture=False))

    def _timetable(self, arrangement: Arrangement) -> Timetable:
        """The one object for these draws."""
        key = (arrangement.slots, arrangement.slot_of)
        found = self._timetables.get(key)
        if found is None:
            if len(self._timetables) >= _KEPT_TIMETABLES:
                self._timetables.clear()
            found = self._timetables[key] = Timetable(*key)
        return found

    def _recall(self, asks: tuple[Ask, ...]) -> _Question | None:
        """This question from the generation before, with its drafts, into the one in use."""
        question = self._older.pop(asks, None)
        if question is not None:
            self._keep(asks, question)
        return question

    def _ask(self, order: Order) -> _Question:
        """What these asks come to, from now on."""
        asked = resolve_asks(order, self.site, self.directory)
        if len(asked) > MOST_TESTS:
            raise OrderError(
                f"found {len(asked)} tests; expected at most {MOST_TESTS} in one order; split it", where="tests"
            )
        tests = self.site.tests
        has_culture = any(tests[a.test].culture is not None for a in asked)
        timetable = self._timetable(arrange(asked, self.site, now=None, events=()))
        question = _Question(asked, timetable, has_culture, {})
        self._keep(order.asks, question)
        return question

    def _keep(self, asks: tuple[Ask, ...], question: _Question) -> None:
        """Keeps this question, with the drafts it has, in the generation in use."""
        self._questions[asks] = question
        self._kept += 1 + len(question.drafts)

    def _kept_tests(self, order: Order, question: _Question) -> frozenset[str]:
        """The keys that the words of `order.keep` stand for: tests of this order, or panels of it."""
        asked = {a.test for a in question.asked}
        found: set[str] = set()
        for number, word in enumerate(order.keep):
            where = f"keep[{number}]"
            words = Order(asks=(Ask(test=word),))
            try:
                named = {a.test for a in resolve_asks(words, self.site, self.directory)} & asked
            except WORD_ERRORS as error:
                raise error_of(msgspec.structs.replace(unsettled_of(error, word), where=where)) from None
            if not named:
                raise OrderError(
                    f"found {word!r}, which this order does not ask for; expected a test of the order; take it out",
                    where=where,
                )
            found |= named
        return frozenset(found)

    def _choose(
        self, order: Order, question: _Question, circumstances: Circumstances, standing: Standing, keep: frozenset[str]
    ) -> _Chosen:
        """The first draft that keeps what it must; where none keeps the limit, the best within it."""
        stated = order.objective or self.site.planning.objective
        # By skin puncture blood comes drop by drop, and what is pressed out for a reserve spoils the rest.
        reserve = 0 if order.access == SKIN_PUNCTURE else self.site.planning.reserve_percent
        objective: PackObjective = "fewest-tubes"
        for objective, reserve_percent, only_far in tries_for(stated, standing, reserve):
            if objective == "least-blood":
                circumstances = msgspec.structs.replace(circumstances, spares_blood=True)
            aim = Aim(objective, reserve_percent, keep=keep)
            draft = self._drafted(question, circumstances, aim)
            if standing.is_far(draft.lost_ul) or (not only_far and standing.is_within(draft.lost_ul)):
                return _Chosen(draft, aim)
        # Blood is short, so it comes before liking whatever the site likes.
        short: PackObjective = "least-blood" if objective == "least-blood" else "fewest-tubes"
        circumstances = msgspec.structs.replace(circumstances, spares_blood=True)
        aim = Aim(short, 0, standing.room_ul, keep)
        draft = self._drafted(question, circumstances, aim)
        return _Chosen(draft, aim, self._choices(question, circumstances, aim, draft))

    def _choices(
        self, question: _Question, circumstances: Circumstances, aim: Aim, draft: PlanDraft
    ) -> tuple[Choice, ...]:
        """For each of the first tests left out, the plan that keeps it: what that leaves out instead."""
        found: dict[tuple[str, ...], Choice] = {}
        for entry in draft.unplaced[:MOST_CHOICES]:
            other = self._drafted(question, circumstances, msgspec.structs.replace(aim, keep=aim.keep | {entry.test}))
            left_out = tuple(each.test for each in other.unplaced)
            if entry.test not in left_out and left_out not in found:
                found[left_out] = Choice(
                    keep=entry.test, left_out=left_out, tubes=other.cost[0], all_blood_ul=other.lost_ul,
                    optimal=other.bound.finished,
                )  # fmt: skip
        return tuple(found.values())

    def _drafted(self, question: _Question, circumstances: Circumstances, aim: Aim) -> PlanDraft:
        """The draft for this aim, from the one before where there is one."""
        key = (circumstances, aim)
        found = question.drafts.get(key)
        if found is None:
            found = self._drafter.draft(circumstances, question.asked, aim)
            self.worked_out += 1
            if len(question.drafts) >= _KEPT_OF_ONE_QUESTION:
                self._kept -= len(question.drafts)
                question.drafts.clear()
            question.drafts[key] = found
            self._kept += 1
        return found

    def _finish(
        self, chosen: _Chosen, order: Order, limit: Limit, standing: Standing, hematocrit: AssumedHematocrit,
        arrangement: Arrangement | None,
    ) -> Plan:  # fmt: skip
        draft, aim, choices = chosen
        draws = draft.draws
        warned = from_limit(limit, draft.lost_ul, order.patient, culture_ul=draft.culture_ul)
        if arrangement is not None:
            draws = _dated(draft, arrangement.due)
            warned += from_due(draws, order.now, arrangement.unneeded, self.site)
        why = why_objective(order.objective, aim.objective, standing, self.site)
        return Plan(
            objective=aim.objective,
            volumes=draft.volumes,
            optimal=draft.bound.finished,
            bound=draft.bound,
            policy=self._stands.sequence(order.access).policy.key,
            site=self.site.name,
            access=order.access,
            draws=draws,
            tubes=draft.tubes,
            totals=Totals(
                tubes=draft.cost[0], blood_ul=draft.cost[1], preference=draft.cost[2],
                all_tubes=len(draft.tubes), all_blood_ul=draft.lost_ul, limit_ul=limit.limit_ul,
                already_drawn_ul=order.patient.drawn_ul, blood_volume_ul=limit.blood_volume_ul,
                discard_ul=draft.discard_ul, returned_ul=draft.returned_ul,
            ),
            unplaced=draft.unplaced,
            choices=choices,
            cautions=cautions.in_order([*warned, *draft.cautions]) if warned else draft.cautions,
            reasons=(hematocrit.reason, *limit.reasons, why, *draft.reasons),
            edition=facts.edition(),
            id=order.id,
        )  # fmt: skip


def _dated(draft: PlanDraft, due: Sequence[Due]) -> tuple[Draw, ...]:
    """The draws with the instants that this patient's events set."""
    return tuple(
        msgspec.structs.replace(draw, due_from=due[slot][0], due_to=due[slot][1])
        for draw, slot in zip(draft.draws, draft.slot_of_draw, strict=True)
    )
