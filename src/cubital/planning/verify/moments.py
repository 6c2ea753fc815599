"""Is every draw at a moment of all its tests, in an order that can be, with what is done and asked before it?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from itertools import combinations, product

from cubital.facts import anchors, moment_facts, series_moments, subjects
from cubital.model import Draw, Order, Plan, Site
from cubital.planning.verify.times import (
    FIRST_DRAW,
    Clock,
    Known,
    Wanted,
    Window,
    common,
    is_nothing,
    span_of,
)

# What is wanted in each draw, by its number; a further set of a culture belongs to the draw of the first.
Served = Mapping[int, Sequence[Wanted]]


def why_apart(one: Wanted, other: Wanted, known: Known) -> str | None:
    """Why the blood of two asked tests may not be taken in one draw; None where it may."""
    if one.names & other.excludes or other.names & one.excludes:
        return "are drawn at moments that exclude each other"
    for panel, minute in one.asked.steps:
        if any(panel == of and minute != at for of, at in other.asked.steps):
            return f"are two draws of one series, {panel}"
    if one.key == other.key:
        return "are the same test at two times"
    shared = [(v, w) for v, w in product(one.windows, other.windows) if v.clock == w.clock]
    if any(_is_over(v, w) or _is_over(w, v) for v, w in shared):
        return "are drawn at moments that exclude each other"
    mine, theirs = span_of(one, known), span_of(other, known)
    if mine is not None and theirs is not None:
        return "have no instant in common" if is_nothing(common([mine, theirs])) else None
    if any(not v.is_any_time for v, _ in shared) or not one.real or not other.real:
        return None
    if any(window.is_narrow for window in (*one.real, *other.real)):
        return "are drawn at times that are not known to meet"
    return None


def _is_over(earlier: Window, later: Window) -> bool:
    """Whether the first window has closed when the second opens."""
    return earlier.closes is not None and later.opens is not None and earlier.closes < later.opens


def must_precede(one: Wanted, other: Wanted, known: Known, now: datetime | None) -> bool:
    """Whether the blood of the one is drawn before that of the other, wherever it is not drawn with it."""
    if one.minute == 0 and one.real and other.minute != 0:
        return True
    if any(panel == of and minute < at for panel, minute in one.asked.steps for of, at in other.asked.steps):
        return True
    if any(v.clock == w.clock and _is_over(v, w) for v, w in product(one.windows, other.windows)):
        return True
    mine, theirs = span_of(one, known), span_of(other, known)
    if mine is not None and theirs is not None:
        return mine[1] is not None and theirs[0] is not None and mine[1] < theirs[0]
    return any(
        (v.is_before and w.is_after and _is_same_subject(v, w) and not _was_given(v.clock, w.clock, known, now))
        or (v.is_after and w.is_before and _was_given(w.clock, v.clock, known, now))
        for v, w in product(one.real, other.real)
    )


def _is_same_subject(one: Window, other: Window) -> bool:
    return one.clock[1] is not None and one.clock[1] == other.clock[1]


def _was_given(ahead: Clock, behind: Clock, known: Known, now: datetime | None) -> bool:
    """Whether the dose that blood is drawn after was given already, so that the one ahead is another dose."""
    if ahead[1] is None or ahead[1] != behind[1] or anchors()[ahead[0]].ahead != "always":
        return False
    return now is not None and behind in known and known[behind] <= now


def check_moments(plan: Plan, order: Order, served: Served, known: Known, site: Site) -> list[str]:
    """What is wrong with who shares a draw, with the order of draws, their instants, steps, questions and labels."""
    findings: list[str] = []
    for number in sorted(served):
        for one, other in combinations(served[number], 2):
            why = None if one.is_plain and other.is_plain and one.key != other.key else why_apart(one, other, known)
            if why is not None:
                findings.append(f"draw {number}: {one.key} and {other.key} {why}")
    is_whole = not plan.unplaced and not plan.unsettled
    findings += _check_order(served, known, order.now)
    findings += _check_first_chance(served, known)
    findings += _check_minutes(plan, served) if is_whole else []
    findings += _check_agreement(plan, served, known)
    for draw in plan.draws:
        if draw.number in served:
            findings += _check_instants(draw, order, served[draw.number], known, is_whole=is_whole)
    findings += _check_steps(plan, served, is_whole=is_whole)
    return findings + _check_questions(plan, served, known, site)


def _check_order(served: Served, known: Known, now: datetime | None) -> list[str]:
    findings = []
    for earlier, later in combinations(sorted(served), 2):
        wrong = (
            f"draw {earlier} has {early.key} and comes before draw {later} with {late.key}; it must come after"
            for early, late in product(_unlike(served[earlier]), _unlike(served[later]))
            if must_precede(late, early, known, now)
        )
        findings += [words for words in [next(wrong, None)] if words is not None]
    return findings


def _unlike(wanted: Sequence[Wanted]) -> list[Wanted]:
    """One of all that are wanted at the same time."""
    return list({(one.windows, one.asked.steps, one.minute): one for one in wanted}.values())


def _check_first_chance(served: Served, known: Known) -> list[str]:
    """The tests of no moment of a draw may not all be drawn with an earlier one."""
    findings = []
    for earlier, later in combinations(sorted(served), 2):
        plain = [one for one in served[later] if one.is_plain]
        if plain and all(why_apart(one, other, known) is None for one, other in product(plain, served[earlier])):
            findings.append(f"{plain[0].key} is in draw {later} and may be drawn at once, in draw {earlier}")
    return findings


def _check_minutes(plan: Plan, served: Served) -> list[str]:
    """The minute of a draw is one that the order or a series says of what is in it, 0 of the first."""
    findings = []
    for draw in plan.draws:
        here = served.get(draw.number, ())
        minutes = {one.minute for one in here} | {minute for one in here for _, minute in one.asked.steps}
        if here and draw.at_min not in {*minutes, None, 0 if draw.number == 1 else None}:
            findings.append(f"draw {draw.number} is at {draw.at_min} min, and nothing in it is wanted then")
    return findings


def _check_agreement(plan: Plan, served: Served, known: Known) -> list[str]:
    """A draw said for a minute can be so long after the first draw, by the instants that events give to both."""
    first = next((draw for draw in plan.draws if draw.number == 1), None)
    if first is None or FIRST_DRAW in known:
        return []
    findings = []
    for draw in plan.draws:
        said = [w for one in served.get(draw.number, ()) for w in one.windows if w.clock == FIRST_DRAW and w.opens]
        for window in said[:1]:
            minutes = window.opens or 0
            is_late = _is_longer(first.due_to, draw.due_from, minutes + window.later)
            if is_late or _is_longer(draw.due_to, first.due_from, -(minutes - window.sooner)):
                words = f"draw {draw.number} is said for {minutes} min"
                findings.append(f"{words}, and its instants are not so long after the first")
    return findings


def _is_longer(begin: datetime | None, end: datetime | None, minutes: int) -> bool:
    """Whether more than these minutes lie between; False where an end is open."""
    return begin is not None and end is not None and (end - begin).total_seconds() > 60 * minutes


def _check_instants(
    draw: Draw, order: Order, wanted: Sequence[Wanted], known: Known, *, is_whole: bool
) -> Iterator[str]:
    """The instants of a draw are those that the windows of all its tests have in common."""
    said = draw.due_from, draw.due_to
    if not order.events:
        if said != (None, None):
            yield f"draw {draw.number} is due at an instant, and no event fixes one"
        return
    right = common([span for one in wanted if (span := span_of(one, known)) is not None])
    if is_whole and said != right:
        yield f"draw {draw.number} is due from {_at(said[0])} to {_at(said[1])}; its tests from {_at(right[0])} to " + (
            _at(right[1])
        )
    elif common([said, right]) != said:
        yield f"draw {draw.number} is due from {_at(said[0])} to {_at(said[1])}, outside a window of its tests"


def _at(instant: datetime | None) -> str:
    return "any time" if instant is None else instant.isoformat(sep=" ", timespec="minutes")


def _check_steps(plan: Plan, served: Served, *, is_whole: bool) -> list[str]:
    """Each draw has the steps of its own tests, in order, after the drink or dose that comes before it."""
    findings = []
    acts = _acts(served, sorted({draw.number for draw in plan.draws} - further_sets(plan)))
    for draw in plan.draws:
        if draw.number not in served:
            continue
        rules = [one.moment.steps for one in served[draw.number] if one.moment is not None]
        given = acts[draw.number]
        wanted = [*given, *dict.fromkeys(step for steps in rules for step in steps)]
        # What belongs before a draw of which all is left out stands in a draw that is not looked at here.
        elsewhere = () if is_whole else {step for other in plan.draws for step in other.steps}
        missing = [step for step in wanted if step not in draw.steps and not (step in given and step in elsewhere)]
        findings += [f"draw {draw.number} has no step {step!r}" for step in missing]
        if is_whole and not missing:
            findings += [f"draw {draw.number} has the step {s!r} of no test" for s in draw.steps if s not in wanted]
        orders = [[*act, *steps] for steps in rules for act in ([], *([each] for each in given))]
        places = [[draw.steps.index(step) for step in steps if step in draw.steps] for steps in orders]
        if any(each != sorted(each) for each in places):
            findings.append(f"draw {draw.number}: its steps are out of order")
    return findings


def _acts(served: Served, mains: Sequence[int]) -> dict[int, list[str]]:
    """What is given to the patient before each draw: between blood drawn before it, and the draw that comes next.

    It is given where a later draw has blood after it, and as soon as the last blood before it is drawn.
    """
    found: dict[int, list[str]] = {draw: [] for draw in served}
    waiting: dict[str, int] = {}
    for draw in mains:
        windows = [w for one in served.get(draw, ()) for w in one.real if w.clock[1] is not None]
        for of in dict.fromkeys(w.clock[1] for w in windows if not w.is_before):
            if of in waiting and of is not None:
                act = subjects()[of].act
                following = mains[mains.index(waiting.pop(of)) + 1]
                found.setdefault(following, []).extend([act] if act is not None else [])
        waiting |= {w.clock[1]: draw for w in windows if w.is_before and w.clock[1] is not None}
    return found


def further_sets(plan: Plan) -> set[int]:
    """The draws that are a further set of a culture, and nothing else."""
    seen: set[tuple[int | None, str]] = set()
    found = set()
    for draw in plan.draws:
        if any(tube.draw == draw.number and tube.purpose == "culture" for tube in plan.tubes):
            if (draw.at_min, draw.moment) in seen:
                found.add(draw.number)
            seen.add((draw.at_min, draw.moment))
    return found


def _check_questions(plan: Plan, served: Served, known: Known, site: Site) -> list[str]:
    """What fixes a moment and was not said is asked; what was said is not. A label of a series has its minute."""
    words = moment_facts()
    have = {name for wanted in served.values() for one in wanted for name in one.names}
    have |= {site.tests[entry.test].moment or "" for entry in plan.unplaced if entry.test in site.tests}
    findings = []
    by_number = {draw.number: draw for draw in plan.draws}
    told = {words.asks_words(*clock) for clock in known}
    for number, wanted in sorted(served.items()):
        draw = by_number[number]
        timed = [*_unlike(wanted), *(one for one in wanted if one.moment is not None)]
        asks = dict.fromkeys(text for one in timed for text in _asks_of(one, known, have))
        findings += [f"draw {number} does not ask for the {text}" for text in asks if text not in draw.asks]
        findings += [f"draw {number} asks for the {text}, which is told" for text in draw.asks if text in told]
        said = dict.fromkeys(words for one in wanted for words in one.said_of_series)
        findings += [f"draw {number} does not say {text!r} on its label" for text in said if text not in draw.label]
    return findings + _check_series_asks(served, by_number)


def _asks_of(one: Wanted, known: Known, have: Iterable[str]) -> Iterator[str]:
    words, moment = moment_facts(), one.moment
    clocks = [window.clock for window in one.real if window.clock != FIRST_DRAW]
    if moment is not None:
        clocks += [] if anchors()[moment.anchor].is_time_of_day else [(moment.anchor, moment.of)]
        yield from moment.ask
        if moment.needs is not None and moment.needs not in have and FIRST_DRAW not in known:
            yield f"time of the first draw, before {words.anchor_words(moment.anchor, moment.of)}"
    yield from (words.asks_words(*clock) for clock in clocks if clock not in known)


def _check_series_asks(served: Served, by_number: Mapping[int, Draw]) -> list[str]:
    """What a series asks is asked by its first draw at the latest."""
    findings = []
    begun: set[str] = set()
    for number in sorted(served):
        panels = {panel for one in served[number] for panel, _ in one.asked.steps}
        for panel in sorted(panels - begun):
            asked = [text for draw in range(1, number + 1) if draw in by_number for text in by_number[draw].asks]
            series = series_moments().get(panel)
            findings += [
                f"draw {number} begins {panel} and does not ask for the {text}"
                for text in (series.ask if series is not None else ())
                if text not in asked
            ]
        begun |= panels
    return findings
