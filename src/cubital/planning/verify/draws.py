"""Is every test in one tube of a draw of its own time, and each set of a culture a puncture of its own?"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime

from cubital.facts import cultures
from cubital.model import Draw, Order, Plan, Site
from cubital.planning.verify.moments import must_precede, why_apart
from cubital.planning.verify.times import Known, Wanted, common, span_of

# So many draws are tried for the tests that are asked more than once, before the first that fit by minute are taken.
_MOST_TRIED = 20_000


def check_placement(plan: Plan, wanted: Sequence[Wanted], draw_of: Mapping[int, int], site: Site) -> list[str]:
    """Every asked test is in exactly one tube of its draw or named as unplaced; nothing else is.

    `draw_of` is the draw of each of `wanted`, by its place there.
    """
    findings = []
    numbers = [draw.number for draw in plan.draws]
    if numbers != list(range(1, len(numbers) + 1)):
        findings.append("the draws are not numbered from 1 in order")
    known = [draw.at_min for draw in plan.draws if draw.at_min is not None]
    if known != sorted(known):
        findings.append("the draws are not in the order of their minutes")
    placed, more = _placed(plan)
    findings += more
    left_out: Counter[tuple[str, str]] = Counter((entry.test, entry.priority) for entry in plan.unplaced)
    asked = {one.key for one in wanted}
    served = {(wanted[place].key, draw) for place, draw in draw_of.items()}
    for key in sorted(asked):
        draws = placed.get(key, Counter[int]())
        findings += [f"{key} is in {count} tubes of draw {draw}" for draw, count in draws.items() if count > 1]
    for place, one in sorted(enumerate(wanted), key=lambda each: (each[1].key, each[1].asked.at_min)):
        entry = (one.key, one.asked.priority)
        if place in draw_of:
            continue
        if left_out[entry]:
            left_out[entry] -= 1
        else:
            words = f"{one.key} at {one.asked.at_min} min ({one.asked.priority})"
            findings.append(f"{words} is in no tube and not named as unplaced")
    for key in sorted(placed):
        if key not in asked:
            findings.append(f"{key} is in a tube and was not asked for")
            continue
        findings += [
            f"{key} is in draw {draw} and was not asked for there" for draw in placed[key] if (key, draw) not in served
        ]
    for key, priority in sorted((+left_out).elements()):
        findings.append(f"{key} ({priority}) is named as unplaced and is placed or was not asked for")
    return findings


def _placed(plan: Plan) -> tuple[dict[str, Counter[int]], list[str]]:
    """For each test the draws it is in, a culture set counted once; and tubes that belong to no draw."""
    by_number = {draw.number: draw for draw in plan.draws}
    first_at: dict[tuple[int | None, str, str], int] = {}
    placed: dict[str, Counter[int]] = defaultdict(Counter)
    findings = []
    for tube in plan.tubes:
        if tube.draw not in by_number:
            findings.append(f"a tube belongs to draw {tube.draw}, which the plan does not have")
            continue
        for key in tube.tests:
            if tube.purpose == "culture":  # several bottles, and further sets of the same moment, are one culture
                draw = by_number[tube.draw]
                main = first_at.setdefault((draw.at_min, draw.moment, key), tube.draw)
                placed[key][main] = 1
            else:
                placed[key][tube.draw] += 1
    return placed, findings


def serve(plan: Plan, wanted: Sequence[Wanted], known: Known, now: datetime | None) -> dict[int, int]:
    """Which draw serves each asked test, by its place in `wanted`: one that breaks no rule of moments, if there is one.

    A test that is asked once is in the draw where it is. One that a series asks several times is given to its draws so
    that all may share and follow one another; where that cannot be, to the first draws in their order.
    """
    placed, _ = _placed(plan)
    by_number = {draw.number: draw for draw in plan.draws}
    places: dict[str, list[int]] = defaultdict(list)
    for place, one in enumerate(wanted):
        if one.key in placed:
            places[one.key].append(place)
    found: dict[int, int] = {}
    open_: list[int] = []
    for key, mine in places.items():
        if len(mine) == 1 == len(placed[key]):
            (draw,) = placed[key]
            if _may_be_at(wanted[mine[0]], by_number[draw]):
                found[mine[0]] = draw
        else:
            open_ += mine
    open_.sort(key=lambda place: (wanted[place].asked.at_min, sorted(wanted[place].asked.steps)))
    left = Counter[tuple[str, str]]((entry.test, entry.priority) for entry in plan.unplaced)
    search = _Serving(wanted, placed, by_number, known, now)
    return search.complete(found, open_, left) or search.in_order(found, open_)


def _may_be_at(one: Wanted, draw: Draw) -> bool:
    return one.minute in (None, 0, draw.at_min)


def _is_said_of(one: Wanted, draw: Draw, known: Known) -> bool:
    """Whether what the draw says of its time, its label and its instants, is true of this test."""
    if any(words not in draw.label for words in one.said_of_series):
        return False
    span, said = span_of(one, known), (draw.due_from, draw.due_to)
    return span is None or common([said, span]) == said


class _Serving:
    """Gives the draws of a plan to the tests that are asked more than once."""

    def __init__(
        self, wanted: Sequence[Wanted], placed: Mapping[str, Mapping[int, int]], draws: Mapping[int, Draw],
        known: Known, now: datetime | None,
    ) -> None:  # fmt: skip
        self._wanted = wanted
        self._placed = placed
        self._draws = draws
        self._known = known
        self._now = now
        likes: dict[object, int] = {}
        self._like = [likes.setdefault((w.windows, w.asked.steps, w.minute), len(likes)) for w in wanted]
        self._fits: dict[tuple[int, int, int], bool] = {}
        self._tried = 0

    def complete(
        self, found: dict[int, int], open_: list[int], left: Mapping[tuple[str, str], int]
    ) -> dict[int, int] | None:
        """The draws of all that is open but what is left out; None where no way breaks no rule."""
        if not open_:
            return found
        self._tried += 1
        if self._tried > _MOST_TRIED:
            return None
        place, rest = open_[0], open_[1:]
        one = self._wanted[place]
        taken = {draw for other, draw in found.items() if self._wanted[other].key == one.key}
        for draw in sorted(self._placed[one.key]):
            if draw in taken or not _may_be_at(one, self._draws[draw]):
                continue
            if not _is_said_of(one, self._draws[draw], self._known):
                continue
            if all(self._may_both_be(place, draw, other, at) for other, at in found.items()):
                whole = self.complete({**found, place: draw}, rest, left)
                if whole is not None:
                    return whole
        entry = (one.key, one.asked.priority)
        if left.get(entry, 0) > 0:
            return self.complete(found, rest, {**left, entry: left[entry] - 1})
        return None

    def _may_both_be(self, place: int, draw: int, other: int, at: int) -> bool:
        a, b = self._wanted[place], self._wanted[other]
        if draw == at and (a.names & b.excludes or b.names & a.excludes or a.key == b.key):
            return False
        key = (self._like[place], self._like[other], (draw > at) - (draw < at))
        fits = self._fits.get(key)
        if fits is None:
            if draw == at:
                fits = why_apart(a, b, self._known) is None
            else:
                early, late = (a, b) if draw < at else (b, a)
                fits = not must_precede(late, early, self._known, self._now)
            self._fits[key] = fits
        return fits

    def in_order(self, found: dict[int, int], open_: list[int]) -> dict[int, int]:
        """The first draw of each test's minute that is free, whatever rule it breaks."""
        served = dict(found)
        for place in open_:
            one = self._wanted[place]
            taken = {draw for other, draw in served.items() if self._wanted[other].key == one.key}
            free = [draw for draw in sorted(self._placed.get(one.key, ())) if draw not in taken]
            free = [draw for draw in free if _may_be_at(one, self._draws[draw])]
            if free:
                served[place] = free[0]
        return served


def by_draw(wanted: Sequence[Wanted], draw_of: Mapping[int, int]) -> dict[int, list[Wanted]]:
    """What is wanted in each draw."""
    found: dict[int, list[Wanted]] = defaultdict(list)
    for place, draw in sorted(draw_of.items()):
        found[draw].append(wanted[place])
    return dict(found)


def check_sets(plan: Plan, order: Order, site: Site) -> list[str]:
    """Each set of a culture is a draw of its own, a further one after a new puncture or another lumen."""
    findings = []
    cultured: set[tuple[int | None, str]] = set()
    rule = cultures().rule("new-lumen" if order.access == "line" else "new-puncture")
    for draw in plan.draws:
        bottles = [tube for tube in plan.tubes if tube.draw == draw.number and tube.purpose == "culture"]
        uses = Counter(site.kinds[tube.kind].use for tube in bottles if tube.kind in site.kinds)
        if max(uses.values(), default=0) > 1:
            findings.append(f"draw {draw.number}: two sets of a culture are taken from one puncture")
        if bottles and (draw.at_min, draw.moment) in cultured and draw.steps != (rule.text,):
            findings.append(f"draw {draw.number}: a further culture set has no step for its new site")
        if bottles:
            cultured.add((draw.at_min, draw.moment))
    return findings
