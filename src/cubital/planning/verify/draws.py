"""Is every test in one tube of a draw it may share, and does each draw say what it must?"""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import combinations

from cubital.facts import moments
from cubital.model import Plan, Site
from cubital.planning.verify.asked import Asked


def check_placement(plan: Plan, asked: Asked, site: Site) -> list[str]:
    """Every asked test is in exactly one tube of its draw or named as unplaced; nothing else is."""
    findings = []
    numbers = [draw.number for draw in plan.draws]
    if numbers != list(range(1, len(numbers) + 1)):
        findings.append("the draws are not numbered from 1 in order")
    known = [draw.at_min for draw in plan.draws if draw.at_min is not None]
    if known != sorted(known):
        findings.append("the draws are not in the order of their minutes")
    placed, more = _placed(plan, site)
    findings += more
    left_out: Counter[tuple[str, str]] = Counter((entry.test, entry.priority) for entry in plan.unplaced)
    by_test: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for (at_min, key), priority in asked.items():
        by_test[key].append((at_min, priority))
    # The minutes of a series may count from a dose: its first draw is the first of the plan, at 0.
    first_min = min((at_min for at_min, _ in asked), default=0)
    for key, times in sorted(by_test.items()):
        draws = dict(placed.pop(key, {}))
        findings += [f"{key} is in {count} tubes of draw {draw}" for draw, count in draws.items() if count > 1]
        for at_min, priority in sorted(times):
            minute = 0 if at_min == first_min and first_min not in known else at_min
            draw = _draw_for(minute, draws, plan, moving=site.tests[key].moment is not None)
            if draw is not None:
                del draws[draw]
            elif left_out[key, priority]:
                left_out[key, priority] -= 1
            else:
                findings.append(f"{key} at {at_min} min ({priority}) is in no tube and not named as unplaced")
        findings += [f"{key} is in draw {draw} and was not asked for there" for draw in draws]
    findings += [f"{key} is in a tube and was not asked for" for key in sorted(placed)]
    for key, priority in sorted((+left_out).elements()):
        findings.append(f"{key} ({priority}) is named as unplaced and is placed or was not asked for")
    return findings


def _placed(plan: Plan, site: Site) -> tuple[dict[str, Counter[int]], list[str]]:
    """For each test the draws it is in, a culture set counted once; and tubes that belong to no draw."""
    numbers = {draw.number for draw in plan.draws}
    first_at: dict[tuple[int | None, str, str], int] = {}
    placed: dict[str, Counter[int]] = defaultdict(Counter)
    findings = []
    for tube in plan.tubes:
        if tube.draw not in numbers:
            findings.append(f"a tube belongs to draw {tube.draw}, which the plan does not have")
            continue
        for key in tube.tests:
            if tube.purpose == "culture":  # several bottles, and further sets of the same moment, are one culture
                draw = next(each for each in plan.draws if each.number == tube.draw)
                main = first_at.setdefault((draw.at_min, draw.moment, key), tube.draw)
                placed[key][main] = 1
            else:
                placed[key][tube.draw] += 1
    return placed, findings


def _draw_for(at_min: int, draws: dict[int, int], plan: Plan, *, moving: bool) -> int | None:
    """The draw that serves this minute: the very one, else one that an event fixes, or any for a test with a moment."""
    at = {each.number: each.at_min for each in plan.draws}
    times = {draw: at.get(draw) for draw in draws}
    same = [draw for draw, minute in times.items() if minute == at_min]
    open_ = [draw for draw, minute in times.items() if minute is None or moving]
    return min(same or open_, default=None)


def check_draws(plan: Plan, asked: Asked, site: Site) -> list[str]:
    """No draw holds two tests whose moments exclude each other, and each further culture set has a step of its own."""
    findings = []
    tests_of: dict[int, set[str]] = defaultdict(set)
    for tube in plan.tubes:
        tests_of[tube.draw].update(key for key in tube.tests if key in site.tests)
    for draw, keys in tests_of.items():
        for one, other in combinations(sorted(keys), 2):
            if exclude_each_other(one, other, site):
                findings.append(f"draw {draw}: {one} and {other} are drawn at moments that exclude each other")
    cultured: set[tuple[int | None, str]] = set()
    for each in plan.draws:
        bottles = any(tube.draw == each.number and tube.purpose == "culture" for tube in plan.tubes)
        if bottles and (each.at_min, each.moment) in cultured and not each.steps:
            findings.append(f"draw {each.number}: a further culture set has no step for its new site")
        if bottles:
            cultured.add((each.at_min, each.moment))
    return findings


def exclude_each_other(one: str, other: str, site: Site) -> bool:
    """Whether two tests can be of no one draw, whatever the clock says: by name, or by windows of one anchor."""
    known = moments()
    mine, theirs = site.tests[one].moment, site.tests[other].moment
    first, second = known.get(mine or ""), known.get(theirs or "")
    if first is not None and not {other, theirs}.isdisjoint(first.excludes):
        return True
    if second is not None and not {one, mine}.isdisjoint(second.excludes):
        return True
    if first is None or second is None or mine == theirs or not (first.has_window and second.has_window):
        return False
    if (first.anchor, first.of) != (second.anchor, second.of):
        return False
    return not _meet(first.from_min, first.to_min, second.from_min, second.to_min)


def _meet(from_a: int | None, to_a: int | None, from_b: int | None, to_b: int | None) -> bool:
    a_first = to_a is not None and from_b is not None and to_a < from_b
    b_first = to_b is not None and from_a is not None and to_b < from_a
    return not (a_first or b_first)
