"""Whether a plan meets what is expected of it, counted from its rows and not taken from its totals."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import msgspec

from cubital.model import Bound, Caution, Draw, Plan, PlannedTube, Totals, Unplaced
from tests.requisitions.expectations import Due, Expect, Pairs, alternatives, asked_of, holds, stated

HUGE_UL = 10**9


def failures(expect: Expect, plan: Plan) -> list[str]:
    """Every stated expectation that this plan does not meet, in words."""
    found = []
    for key, value in stated(expect).items():
        found += [f"{key}: {words}" for words in CHECKS[key](plan, value)]
    return found


def _tubes_of(plan: Plan, test: str) -> list[PlannedTube]:
    return [tube for tube in plan.tubes if test in tube.tests]


def _untried(plan: Plan, *tests: str) -> list[str]:
    return [f"{test} is in no tube, so nothing can be said of it" for test in tests if not _tubes_of(plan, test)]


def _pairwise(is_met: Callable[[list[PlannedTube], list[PlannedTube]], bool], words: str) -> Callable[..., list[str]]:
    def check(plan: Plan, pairs: Pairs) -> list[str]:
        found = []
        for one, other in pairs:
            if missing := _untried(plan, one, other):
                found += missing
            elif not is_met(_tubes_of(plan, one), _tubes_of(plan, other)):
                found.append(f"{one} and {other} {words}")
        return found

    return check


def _draws(tubes: Iterable[PlannedTube]) -> set[int]:
    return {tube.draw for tube in tubes}


def _share_tube(ones: list[PlannedTube], others: list[PlannedTube]) -> bool:
    return any(tube in others for tube in ones)


def _share_draw(ones: list[PlannedTube], others: list[PlannedTube]) -> bool:
    return bool(_draws(ones) & _draws(others))


def _are_in_order(ones: list[PlannedTube], others: list[PlannedTube]) -> bool:
    return max(_draws(ones)) < min(_draws(others))


def _equal(name: str, found: Callable[[Plan], object]) -> Callable[[Plan, Any], list[str]]:
    def check(plan: Plan, expected: Any) -> list[str]:
        value = found(plan)
        return [] if value == expected else [f"found {value} {name}; expected {expected}"]

    return check


def _collected(plan: Plan) -> list[PlannedTube]:
    return [tube for tube in plan.tubes if tube.purpose == "collect"]


def _discards(plan: Plan) -> list[PlannedTube]:
    return [tube for tube in plan.tubes if tube.purpose == "discard"]


def _check_minutes(plan: Plan, minutes: tuple[int, ...]) -> list[str]:
    found = tuple(draw.at_min for draw in plan.draws)
    return [] if found == minutes else [f"found draws at {found}; expected {minutes}"]


def _check_draw_of(plan: Plan, expected: Mapping[str, int]) -> list[str]:
    found = _untried(plan, *expected)
    for test, draw in expected.items():
        if (draws := _draws(_tubes_of(plan, test))) and draws != {draw}:
            found.append(f"{test} is in draws {sorted(draws)}; expected {draw}")
    return found


def _check_due(plan: Plan, expected: tuple[Due, ...]) -> list[str]:
    found = []
    draws = {draw.number: draw for draw in plan.draws}
    for due in expected:
        draw = draws.get(due.draw)
        if draw is None:
            found.append(f"there is no draw {due.draw}")
            continue
        if due.not_before is not None and (draw.due_from is None or draw.due_from < due.not_before):
            found.append(f"draw {due.draw} is due from {draw.due_from}; expected not before {due.not_before}")
        if due.not_after is not None and (draw.due_to is None or draw.due_to > due.not_after):
            found.append(f"draw {due.draw} is due to {draw.due_to}; expected not after {due.not_after}")
    return found


def _check_kinds(plan: Plan, expected: tuple[str, ...]) -> list[str]:
    found = sorted(tube.kind for tube in _collected(plan))
    is_met = len(found) == len(expected) and _match(found, [set(one.split("|")) for one in expected])
    return [] if is_met else [f"found {found}; expected {sorted(expected)}"]


def _match(found: list[str], expected: list[set[str]]) -> bool:
    """Whether every kind found can stand for one that is expected, each for another."""
    if not expected:
        return not found
    first, *rest = expected
    return any(_match(found[:i] + found[i + 1 :], rest) for i in range(len(found)) if found[i] in first)


def _check_order(plan: Plan, expected: tuple[str, ...]) -> list[str]:
    kinds = [tube.kind for tube in plan.tubes if tube.purpose != "discard"]
    at = 0
    for one in expected:
        place = next((i for i in range(at, len(kinds)) if kinds[i] in one.split("|")), None)
        if place is None:
            return [f"found {kinds}; expected {one} after what stands before it in {list(expected)}"]
        at = place + 1
    return []


def _first_kind(plan: Plan) -> str | None:
    return next((tube.kind for tube in plan.tubes if tube.purpose != "discard"), None)


def _check_kind_of(plan: Plan, expected: Mapping[str, tuple[str, ...]]) -> list[str]:
    wrong = [
        f"{test} is in {tube.kind}; expected {' or '.join(kinds)}"
        for test, kinds in expected.items()
        for tube in _tubes_of(plan, test)
        if tube.kind not in kinds
    ]
    return _untried(plan, *expected) + wrong


def _check_not_in(plan: Plan, expected: Mapping[str, tuple[str, ...]]) -> list[str]:
    wrong = [
        f"{test} is in {tube.kind}"
        for test, kinds in expected.items()
        for tube in _tubes_of(plan, test)
        if tube.kind in kinds
    ]
    return _untried(plan, *expected) + wrong


def _check_same_kind(plan: Plan, tests: tuple[str, ...]) -> list[str]:
    found = _untried(plan, *tests)
    for test in tests:
        kinds = {tube.kind for tube in _tubes_of(plan, test)}
        if len(_tubes_of(plan, test)) == 1:
            found.append(f"{test} is in one tube, so nothing can be said of two")
        if len(kinds) > 1:
            found.append(f"{test} is in {sorted(kinds)}; expected one kind")
    return found


def _check_handled(plan: Plan, expected: Mapping[str, tuple[str, ...]]) -> list[str]:
    wrong = [
        f"the tube of {test} does not ask for {term}"
        for test, terms in expected.items()
        for tube in _tubes_of(plan, test)
        for term in terms
        if term not in tube.handling
    ]
    return _untried(plan, *expected) + wrong


def _check_left_out(plan: Plan, tests: tuple[str, ...]) -> list[str]:
    left = {entry.test for entry in plan.unplaced}
    return [f"{test} is not left out" for test in tests if test not in left]


def _check_kept(plan: Plan, tests: tuple[str, ...]) -> list[str]:
    left = {entry.test for entry in plan.unplaced}
    out = [f"{test} is left out" for test in tests if test in left]
    return out or [words for test in tests for words in _untried(plan, test)]


def _check_nothing_left_out(plan: Plan, _: bool) -> list[str]:
    return [f"{entry.test} is left out: {entry.why}" for entry in plan.unplaced]


def _check_offers(plan: Plan, tests: tuple[str, ...]) -> list[str]:
    kept = {choice.keep for choice in plan.choices}
    return [f"no choice keeps {test}; found {sorted(kept)}" for test in tests if test not in kept]


def _at_most(found_ul: Callable[[Plan], int]) -> Callable[[Plan, float], list[str]]:
    def check(plan: Plan, most_ml: float) -> list[str]:
        found = found_ul(plan)
        return [] if found <= round(most_ml * 1000) else [f"found {found / 1000} mL; expected at most {most_ml}"]

    return check


def _at_least(found_ul: Callable[[Plan], int]) -> Callable[[Plan, float], list[str]]:
    def check(plan: Plan, least_ml: float) -> list[str]:
        found = found_ul(plan)
        return [] if found >= round(least_ml * 1000) else [f"found {found / 1000} mL; expected at least {least_ml}"]

    return check


def _thrown_ul(plan: Plan) -> int:
    return sum(tube.draw_ul for tube in _discards(plan) if not tube.returned)


def _culture_ul(plan: Plan) -> int:
    return sum(tube.draw_ul for tube in plan.tubes if tube.purpose == "culture")


def _sets(plan: Plan) -> int:
    return len(_draws(tube for tube in plan.tubes if tube.purpose == "culture"))


def _check_within_limit(plan: Plan, _: bool) -> list[str]:
    """That what leaves the patient keeps to the limit, counted from the rows and not taken from the totals."""
    limit_ul = plan.totals.limit_ul
    if limit_ul is None:
        return ["no limit is known"]
    drawn_ul = sum(tube.draw_ul for tube in plan.tubes if not tube.returned) + plan.totals.already_drawn_ul
    return [] if drawn_ul <= limit_ul else [f"found {drawn_ul / 1000} mL with a limit of {limit_ul / 1000}"]


def _check_discard(plan: Plan, expected: str) -> list[str]:
    found = _discards(plan)
    if expected == "none":
        return [f"found a discard of {tube.draw_ul / 1000} mL" for tube in found]
    if not found:
        return ["found none"]
    if expected == "returned":
        return [f"found {tube.draw_ul / 1000} mL thrown away" for tube in found if not tube.returned]
    first = plan.tubes[0]
    return [] if first.purpose == "discard" else [f"found {first.kind} before it"]


def _words_in(texts: Callable[[Plan], Iterable[str]]) -> Callable[[Plan, tuple[str, ...]], list[str]]:
    def check(plan: Plan, expected: tuple[str, ...]) -> list[str]:
        said = list(texts(plan))
        return [f"nothing holds {words!r}" for words in expected if not any(holds(text, words) for text in said)]

    return check


def _said(plan: Plan) -> list[str]:
    """What the collector is told: cautions, the draws with their steps and questions, and why a test is left out."""
    found = [caution.text for caution in plan.cautions]
    for draw in plan.draws:
        found += [draw.label, draw.moment, *draw.steps, *draw.asks]
    return found + [f"{entry.test}: {entry.why}; {entry.needs}" for entry in plan.unplaced]


def _check_never_says(plan: Plan, expected: tuple[str, ...]) -> list[str]:
    said = _said(plan)
    return [f"found {text!r}, which holds {words!r}" for words in expected for text in said if holds(text, words)]


def _check_asks_nothing(plan: Plan, _: bool) -> list[str]:
    return [f"it asks {text!r}" for draw in plan.draws for text in draw.asks]


def _reasons(plan: Plan) -> list[str]:
    return [reason.text for reasons in (plan.reasons, *(tube.reasons for tube in plan.tubes)) for reason in reasons]


def _never(plan: Plan, _: object) -> list[str]:
    return ["the order was planned"]


CHECKS: Mapping[str, Callable[[Plan, Any], list[str]]] = {
    "refused": _never,
    "draws": _equal("draws", lambda plan: len(plan.draws)),
    "minutes": _check_minutes,
    "draw_of": _check_draw_of,
    "drawn_before": _pairwise(_are_in_order, "are not drawn in this order"),
    "separate_draws": _pairwise(lambda ones, others: not _share_draw(ones, others), "share a draw"),
    "same_draw": _pairwise(_share_draw, "are in different draws"),
    "due": _check_due,
    "tubes": _equal("tubes", lambda plan: len(_collected(plan))),
    "kinds": _check_kinds,
    "kinds_in_order": _check_order,
    "first_kind": _equal("first", _first_kind),
    "kind_of": _check_kind_of,
    "not_in": _check_not_in,
    "same_kind": _check_same_kind,
    "handled": _check_handled,
    "never_together": _pairwise(lambda ones, others: not _share_tube(ones, others), "share a tube"),
    "same_tube": _pairwise(_share_tube, "are in different tubes"),
    "left_out": _check_left_out,
    "kept": _check_kept,
    "nothing_left_out": _check_nothing_left_out,
    "offers": _check_offers,
    "blood_at_most_ml": _at_most(lambda plan: sum(tube.draw_ul for tube in plan.tubes if not tube.returned)),
    "blood_at_least_ml": _at_least(lambda plan: sum(tube.draw_ul for tube in _collected(plan))),
    "within_limit": _check_within_limit,
    "sets": _equal("sets", _sets),
    "culture_at_least_ml": _at_least(_culture_ul),
    "culture_at_most_ml": _at_most(_culture_ul),
    "discard": _check_discard,
    "discards": _equal("discards", lambda plan: len(_discards(plan))),
    "discard_at_least_ml": _at_least(_thrown_ul),
    "discard_at_most_ml": _at_most(_thrown_ul),
    "objective": _equal("as the aim", lambda plan: plan.objective),
    "optimal": lambda plan, _: [] if plan.optimal else ["the plan is not proved"],
    "says": _words_in(_said),
    "never_says": _check_never_says,
    "steps": _words_in(lambda plan: [step for draw in plan.draws for step in draw.steps]),
    "asks": _words_in(lambda plan: [ask for draw in plan.draws for ask in draw.asks]),
    "asks_nothing": _check_asks_nothing,
    "reasons_say": _words_in(_reasons),
}


_NOTHING = Plan(
    objective="fewest-tubes", volumes="typical", optimal=False,
    bound=Bound(tubes=0, blood_ul=0, preference=0, searched=0, finished=False), policy="", site="", access="",
    draws=(), tubes=(), totals=Totals(tubes=0, blood_ul=0, preference=0, all_tubes=0, all_blood_ul=0),
)  # fmt: skip


def can_fail(expect: Expect) -> bool:
    """Whether some plan fails this: one that draws and says nothing, or one that does and says all it should not."""
    return bool(failures(expect, _NOTHING) or failures(expect, _worst(expect)))


def _worst(expect: Expect) -> Plan:
    """All tests in each kind they are named with, without end of blood, and every word that should not be said."""
    tests, kinds = asked_of(expect)
    said = [" ".join(option for word in alternatives(words) for option in word) for words in expect.never_says]
    rows = [("collect", kind, tuple(sorted(tests))) for kind in sorted(kinds) or ["any"]]
    rows += [("discard", "any", ()), ("culture", "any", ())]
    tubes = [
        PlannedTube(position=number, draw=1, purpose=purpose, kind=kind, name=kind, additive="", gel=False,  # type: ignore[arg-type]
                    draw_ul=HUGE_UL, tests=held)
        for number, (purpose, kind, held) in enumerate(rows, start=1)
    ]  # fmt: skip
    return msgspec.structs.replace(
        _NOTHING,
        objective="least-blood",
        draws=(Draw(number=1, at_min=0, label="", asks=("anything",)),),
        tubes=tuple(tubes),
        unplaced=(Unplaced(test="anything", priority="routine", why="", needs=""),),
        cautions=tuple(Caution(level="note", text=text) for text in said),
    )
