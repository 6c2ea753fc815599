"""A plan without what is one patient's own: its draws and tubes, what is left out, and the cautions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import NamedTuple

import msgspec

from cubital.model import Bound, Caution, Draw, PlannedTube, Reason, Site, Unplaced
from cubital.planning import cautions
from cubital.planning.asks import Asked
from cubital.planning.choices import Shelf
from cubital.planning.circumstances import Circumstances
from cubital.planning.cleared import Cleared
from cubital.planning.cost import Levels, PackObjective, levels_of
from cubital.planning.cultures import Bottles, CulturePlan, plan_cultures, steps_down
from cubital.planning.discards import clearing_of, plan_discard
from cubital.planning.layout import Layout
from cubital.planning.left_out import unplaced_culture, unplaced_test
from cubital.planning.parts import Packed
from cubital.planning.ranking import loss, rank_of
from cubital.planning.stands import Stand, Stands
from cubital.planning.tubing import Tubing, TubingMaker
from cubital.planning.wanted import Due, Wishes


class Aim(msgspec.Struct, frozen=True, gc=False):
    """What a draft is asked beside the tests: the objective, the reserve, the blood, and what stays in.

    `room_ul` is the most blood that the patient may lose by it, None for no limit. `keep` are keys of tests that are
    left out after all others.
    """

    objective: PackObjective
    reserve_percent: int = 0
    room_ul: int | None = None
    keep: frozenset[str] = frozenset()


class PlanDraft(msgspec.Struct, frozen=True, gc=False):
    """What of a plan patients alike share.

    `cost` is (tubes, blood with discards, preference), `loss` by rank. `lost_ul` is all blood that the patient loses,
    `discard_ul` what of it is thrown away before tubes; `returned_ul` clears the way and goes back.
    """

    volumes: str
    reserve_percent: int
    cost: Levels
    draws: tuple[Draw, ...]
    tubes: tuple[PlannedTube, ...]
    lost_ul: int
    culture_ul: int
    discard_ul: int
    returned_ul: int
    unplaced: tuple[Unplaced, ...]
    loss: tuple[int, ...]
    cautions: tuple[Caution, ...]
    reasons: tuple[Reason, ...]
    bound: Bound
    slot_of_draw: tuple[int, ...]


# Of so many draws with cultures every choice is tried; of more, the most urgent of each number.
_MOST_CHOSEN = 4


class _Allotted(NamedTuple):
    """The bottles of each moment, the cultures left out, the blood left for tubes, the tubes, and the loss.

    `is_proved` tells whether nothing that was not looked at could be better.
    """

    cultures: Mapping[int, CulturePlan]
    left_cultures: list[Due]
    budget_ul: int | None
    tubing: Tubing
    loss: tuple[int, ...]
    is_proved: bool


class Drafter:
    """Makes the drafts of one site's plans; holds no order beyond the call."""

    def __init__(self, site: Site, stands: Stands, *, node_limit: int) -> None:
        self.site = site
        self._stands = stands
        self._tubing = TubingMaker(Wishes(site), node_limit=node_limit)
        self._programs = frozenset(limit.program for limit in site.limits.values())
        self._notable = frozenset(key for key, test in site.tests.items() if cautions.may_warn(test))

    def draft(self, circumstances: Circumstances, asked: Sequence[Asked], aim: Aim) -> PlanDraft:
        """The best draft of these tests in these circumstances for this aim."""
        stand = self._stands.stand(circumstances)
        dues = [
            Due(a.test, draw, a.priority, a.via) for a, draw in zip(asked, circumstances.timetable.slot_of, strict=True)
        ]
        bottled = [due for due in dues if self.site.tests[due.test].culture is not None]
        packed = [due for due in dues if self.site.tests[due.test].culture is None] if bottled else dues
        allotted = self._allot(packed, bottled, circumstances, stand, aim)
        left = {(due.draw, due.test) for due in allotted.left_cultures}
        layout = Layout(
            circumstances.timetable.slots, allotted.cultures, [b for b in bottled if (b.draw, b.test) not in left],
            circumstances.access,
        )  # fmt: skip
        tubes = self._rows(layout, allotted.tubing, stand, circumstances)
        unplaced = (
            *(unplaced_culture(due, self.site) for due in allotted.left_cultures),
            *self._left_out(packed, allotted, stand.shelf),
        )
        return self._joined(circumstances, asked, aim, allotted, layout, tubes, unplaced, bottled, stand)

    def _joined(
        self, circumstances: Circumstances, asked: Sequence[Asked], aim: Aim, allotted: _Allotted, layout: Layout,
        tubes: tuple[PlannedTube, ...], unplaced: tuple[Unplaced, ...], bottled: Sequence[Due], stand: Stand,
    ) -> PlanDraft:  # fmt: skip
        tubing = allotted.tubing
        cleared = tubing.cleared
        notable = [a for a in asked if len(a.via) > 1 or a.test in self._notable]
        wanted = _culture_plans(bottled, circumstances, self.site) if bottled else {}
        is_known_way = circumstances.travel_min is not None
        found = [
            *cautions.from_unplaced(unplaced),
            *cautions.from_cultures(wanted, allotted.cultures),
            *cautions.from_patient(circumstances, self._programs),
            *cautions.from_tests(notable, self.site, circumstances),
            *cautions.from_tubes(tubes, circumstances, self.site, is_urgent=all(a.priority == 0 for a in asked)),
            *(cautions.from_travel(asked, tubes, stand.shelf, self.site) if is_known_way else ()),
            *cautions.volume_words(tubing.volumes.key if tubing.wanted else "typical", aim.objective),
            *cautions.standing(),
        ]
        reasons = [reason for plan in allotted.cultures.values() for reason in plan.reasons]
        if is_known_way:
            reasons += cautions.late_kinds(asked, stand.shelf, self.site)
        lost = [tube for tube in tubes if not tube.returned]
        discard_ul = sum([tube.draw_ul for tube in lost if tube.purpose == "discard"])
        bottles_discard_ul = discard_ul - cleared.discard_ul  # before bottles, or where no discard tube is stocked
        return PlanDraft(
            tubing.volumes.key, tubing.reserve_percent, _plus(cleared.cost, bottles_discard_ul),
            _with_blood(layout.draws, lost), tubes, sum([tube.draw_ul for tube in lost]),
            sum([tube.draw_ul for tube in tubes if tube.purpose == "culture"]), discard_ul,
            sum([tube.draw_ul for tube in tubes if tube.returned]), unplaced, allotted.loss,
            cautions.in_order(found), tuple(reasons), _bound(cleared, bottles_discard_ul, allotted.is_proved),
            tuple(layout.slot_of_draw),
        )  # fmt: skip

    def _allot(
        self, packed: list[Due], bottled: list[Due], circumstances: Circumstances, stand: Stand, aim: Aim
    ) -> _Allotted:
        """The bottles and the tubes. Where blood is short: the least loss by rank over every step of the cultures.

        Every choice of the draws that keep their culture is tried, each with every volume from that of the table down
        to the least that is published.
        """
        full = _culture_plans(bottled, circumstances, self.site)
        if aim.room_ul is None:
            tubing = self._tubes(packed, full, circumstances, stand, aim, None)
            return _Allotted(
                full, [], None, tubing, self._loss(packed, [], tubing, aim, 0), tubing.cleared.finished
            )
        need = circumstances.culture
        best: _Allotted | None = None
        is_proved = len(full) <= _MOST_CHOSEN
        for kept in _choices(full, bottled):
            for step in steps_down(need) if need is not None and kept else [need]:
                less = msgspec.structs.replace(circumstances, culture=step)
                plans = full if step is need else _culture_plans(bottled, less, self.site)
                here = {draw: plans[draw] for draw in sorted(kept)}
                found = self._within(packed, bottled, here, circumstances, stand, aim, full)
                is_proved = is_proved and (found is None or found.is_proved)
                if found is not None and (best is None or self._better(found, best, aim)):
                    best = found
                if best is not None and not any(best.loss):
                    return best
        assert best is not None
        return best._replace(is_proved=is_proved)

    def _within(
        self, packed: list[Due], bottled: list[Due], here: Mapping[int, CulturePlan], circumstances: Circumstances,
        stand: Stand, aim: Aim, full: Mapping[int, CulturePlan],
    ) -> _Allotted | None:  # fmt: skip
        """What these cultures leave for the tubes; None where they alone take too much."""
        taken_ul = sum(bottle.fill_ul for plan in here.values() for bottle in plan.bottles)
        taken_ul += sum(clearing_of(circumstances, self.site, has_bottles=True).always_ul for _ in here)
        left_ul = (aim.room_ul or 0) - taken_ul
        if here and left_ul < 0:
            return None
        out = [due for due in bottled if due.draw not in here]
        tubing = self._tubes(packed, here, circumstances, stand, aim, left_ul)
        # A culture that is left out is short of all its blood, so a small one is never worse than none.
        short_ul = sum(plan.blood_ul for plan in full.values()) - sum(plan.blood_ul for plan in here.values())
        lost = self._loss(packed, out, tubing, aim, short_ul)
        return _Allotted(here, out, left_ul, tubing, lost, tubing.cleared.finished)

    def _tubes(
        self, packed: list[Due], cultures: Mapping[int, CulturePlan], circumstances: Circumstances, stand: Stand,
        aim: Aim, budget_ul: int | None,
    ) -> Tubing:  # fmt: skip
        clearings = {}
        if circumstances.access in ("winged-set", "line"):
            for draw in {due.draw for due in packed}:
                clearing = clearing_of(circumstances, self.site, has_bottles=draw in cultures)
                # What is always owed before bottles is theirs, whether a tube follows them or not.
                clearings[draw] = clearing._replace(always_ul=0) if draw in cultures else clearing
        return self._tubing.make(
            packed, stand, clearings, aim.objective, aim.reserve_percent, budget_ul, aim.keep
        )

    def _loss(
        self, packed: Sequence[Due], out: Sequence[Due], tubing: Tubing, aim: Aim, short_ul: int
    ) -> tuple[int, ...]:
        dropped = [*out, *(packed[n] for n in tubing.cleared.packing.dropped)]
        ranks = [rank_of(self.site.tests[d.test], d.priority, is_kept=d.test in aim.keep) for d in dropped]
        return loss(ranks, short_ul=short_ul)

    @staticmethod
    def _better(found: _Allotted, best: _Allotted, aim: Aim) -> bool:
        """Whether this loses less by rank, then keeps typical volumes, then is better by the objective."""
        return _worth(found, aim.objective) < _worth(best, aim.objective)

    def _rows(
        self, layout: Layout, tubing: Tubing, stand: Stand, circumstances: Circumstances
    ) -> tuple[PlannedTube, ...]:
        """Every container, draw by draw, in order of draw, with its position."""
        shelf, sequence, rack = stand
        wanted = tubing.wanted
        bottles = layout.bottle_rows(self.site, sequence)
        pieces: dict[int, list[tuple[tuple[object, ...], Packed | PlannedTube]]] = {d.number: [] for d in layout.draws}
        for bottle in bottles:
            pieces[bottle.draw].append((sequence.sort_key(bottle.kind, 0, bottle.tests), bottle))
        for tube in tubing.cleared.packing.tubes:
            number = layout.number_of(wanted[tube.members[0]].draw)
            pieces[number].append((rack.sort_key(tube, wanted), tube))
        used = Counter((row.kind, row.draw_ul) for row in bottles)
        if circumstances.access == "winged-set":
            sizes = (shelf.items[t.item] for t in tubing.cleared.packing.tubes)
            used.update([(kind.key, size.draw_ul) for kind, size in sizes])
        placed: list[PlannedTube] = []
        for number, unordered in pieces.items():
            here = [
                piece
                if isinstance(piece, PlannedTube)
                else rack.row(piece, wanted, volumes=tubing.volumes, draw=number, position=n)
                for n, (_, piece) in enumerate(sorted(unordered, key=_by_key), start=1)
            ]
            if circumstances.access == "syringe" and bottles:
                here = layout.keep_bottle_order(here)
            discard = plan_discard(here[0] if here else None, here, circumstances, self.site, used)
            if discard is not None:
                used[discard.kind, discard.size_ul or discard.draw_ul] += 1
                here.insert(0, discard)
            if discard is not None or bottles:
                here = [_replace(row, position=n) for n, row in enumerate(here, start=1)]
            placed += here
        return tuple(placed)

    def _left_out(self, packed: Sequence[Due], allotted: _Allotted, shelf: Shelf) -> Iterable[Unplaced]:
        for n in allotted.tubing.cleared.packing.dropped:
            yield unplaced_test(packed[n], shelf, self.site, allotted.budget_ul)


def _worth(found: _Allotted, objective: PackObjective) -> tuple[object, ...]:
    levels = levels_of(objective, *found.tubing.cleared.cost)
    return found.loss, found.tubing.volumes.key == "minimum", levels


def _plus(cost: Levels, blood_ul: int) -> Levels:
    return cost[0], cost[1] + blood_ul, cost[2]


def _choices(full: Mapping[int, CulturePlan], bottled: Sequence[Due]) -> Iterator[tuple[int, ...]]:
    """The draws that may keep their cultures, all of them first, then fewer; none last."""
    ranked = sorted(full, key=lambda draw: _urgency(due for due in bottled if due.draw == draw), reverse=True)
    for count in range(len(ranked), -1, -1):
        if len(ranked) <= _MOST_CHOSEN:
            yield from combinations(ranked, count)
        else:
            yield tuple(ranked[:count])


def _bound(cleared: Cleared, more_ul: int, is_proved: bool) -> Bound:
    tubes, blood_ul, preference = _plus(cleared.bound, more_ul)
    return Bound(
        tubes=tubes, blood_ul=blood_ul, preference=preference, searched=cleared.packing.nodes,
        finished=is_proved,
    )  # fmt: skip


def _with_blood(draws: tuple[Draw, ...], lost: Sequence[PlannedTube]) -> tuple[Draw, ...]:
    blood_ul = Counter[int]()
    for tube in lost:
        blood_ul[tube.draw] += tube.draw_ul
    return tuple([msgspec.structs.replace(draw, blood_ul=blood_ul[draw.number]) for draw in draws])


def _culture_plans(bottled: Sequence[Due], circumstances: Circumstances, site: Site) -> dict[int, CulturePlan]:
    """The bottles of each draw that has a culture, all from one shelf."""
    need, plans = circumstances.culture, {}
    if need is None:
        return {}
    shelf = Bottles(site, circumstances)
    for draw in sorted({due.draw for due in bottled}):
        kinds = {site.tests[due.test].culture for due in bottled if due.draw == draw}
        what = kinds.pop() if len(kinds) == 1 else "set"
        plans[draw] = plan_cultures(what or "set", need, circumstances.access, shelf)
    return plans


def _urgency(dues: Iterable[Due]) -> tuple[int, int, int]:
    """How many of these are stat, timed and routine: compared in this order."""
    count = Counter(due.priority for due in dues)
    return count[0], count[1], count[2]


def _by_key(piece: tuple[tuple[object, ...], object]) -> tuple[object, ...]:
    return piece[0]


def _replace(row: PlannedTube, **changes: object) -> PlannedTube:
    return msgspec.structs.replace(row, **changes)
