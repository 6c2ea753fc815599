"""Draws at moments that are wrong, out of order, without their steps or with untrue instants are found."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.model import Ask, Event, Order, Plan
from cubital.planning import plan_draw
from cubital.planning.verify import verify
from tests.published.shipped import SHIPPED
from tests.unit.planning.verify.sound_plan import settled

MORNING = datetime(2026, 11, 25, 8, tzinfo=UTC)


def order_of(*words: str | tuple[str, int], **fields: Any) -> Order:
    pairs = [(word, None) if isinstance(word, str) else word for word in words]
    return Order(asks=tuple(Ask(test=test, at_min=minute) for test, minute in pairs), **fields)


def event(what: str, minutes: int, of: str | None = None) -> Event:
    return Event(what=what, of=of, at=MORNING + timedelta(minutes=minutes))


def sound(order: Order) -> Plan:
    """The planner's plan, once the verifier has found nothing."""
    plan = plan_draw(order, SHIPPED)
    assert verify(plan, order, SHIPPED) == ()
    return plan


def found(words: str, plan: Plan, order: Order) -> None:
    """One finding at least, and one says this."""
    findings = verify(plan, order, SHIPPED)
    assert any(words in finding for finding in findings), findings


def drawn_in(plan: Plan, test: str, draw: int, but: int = 0) -> Plan:
    """The plan with the tubes of this test in this draw; one in draw `but` stays."""
    tubes = [replace(t, draw=draw) if test in t.tests and t.draw != but else t for t in plan.tubes]
    tubes.sort(key=lambda tube: tube.draw)
    counted = [
        replace(tube, position=1 + sum(other.draw == tube.draw for other in tubes[:n])) for n, tube in enumerate(tubes)
    ]
    return settled(replace(plan, tubes=tuple(counted)))


def with_draw(plan: Plan, number: int, **fields: Any) -> Plan:
    return replace(plan, draws=tuple(replace(d, **fields) if d.number == number else d for d in plan.draws))


def exchanged(plan: Plan, first: int, second: int) -> Plan:
    """The plan with all of two draws in each other's place."""
    number = {first: second, second: first}
    draws = sorted((replace(d, number=number.get(d.number, d.number)) for d in plan.draws), key=lambda d: d.number)
    tubes = sorted((replace(t, draw=number.get(t.draw, t.draw)) for t in plan.tubes), key=lambda t: t.draw)
    return replace(plan, draws=tuple(draws), tubes=tuple(tubes))


LEVELS = order_of("vancomycin-trough", "vancomycin-peak")
DRINK = order_of("fasting glucose", "glucose 2 h post 75 g")
SERIES = order_of("glucose-tolerance-insulin")
GROUPS = order_of("group-check", "type-and-screen")


# Who shares a draw


def test_a_trough_and_its_peak_in_one_draw_are_found() -> None:
    found("are drawn at moments that exclude each other", drawn_in(sound(LEVELS), "vancomycin-peak", 1), LEVELS)


def test_fasting_glucose_and_that_after_the_drink_in_one_draw_are_found() -> None:
    found("are drawn at moments that exclude each other", drawn_in(sound(DRINK), "glucose-tolerance-120-min", 1), DRINK)


def test_two_draws_of_one_series_in_one_are_found() -> None:
    """The series draws glucose and insulin at 0, 30, 60, 90 and 120 min."""
    plan = sound(SERIES)
    found("glucose is in 5 tubes of draw 1", drawn_in(plan, "glucose", 1), SERIES)


def test_a_step_of_a_series_in_the_draw_of_another_is_found() -> None:
    """Creatine kinase is drawn at 0 min alone, so that it is known of which step it is."""
    order = order_of("forearm-exercise")
    plan = sound(order)
    assert len(plan.draws) == 7
    found("are two draws of one series, forearm-exercise", drawn_in(plan, "creatine-kinase", 2), order)


def test_a_second_sample_from_the_needle_of_the_first_is_found() -> None:
    found("are drawn at moments that exclude each other", drawn_in(sound(GROUPS), "group-check", 1), GROUPS)


def test_times_that_are_not_known_to_meet_in_one_draw_are_found() -> None:
    order = order_of("vancomycin-peak", "gentamicin-peak")
    found("are drawn at times that are not known to meet", drawn_in(sound(order), "gentamicin-peak", 1), order)
    known = replace(order, events=(event("infusion-end", 0, "vancomycin"), event("infusion-end", 20, "gentamicin")))
    plan = sound(known)
    assert len(plan.draws) == 2
    earlier = next(tube.draw for tube in plan.tubes if "gentamicin-peak" in tube.tests) % 2 + 1
    found("have no instant in common", drawn_in(plan, "gentamicin-peak", earlier), known)


def test_a_test_of_another_minute_is_found() -> None:
    order = order_of(("potassium", 0), ("lactate", 60))
    found("lactate at 60 min (routine) is in no tube", drawn_in(sound(order), "lactate", 1), order)


def test_a_test_of_no_moment_in_a_later_draw_is_found() -> None:
    order = order_of("vancomycin-trough", "vancomycin-peak", "complete-blood-count")
    plan = sound(order)
    later = drawn_in(plan, "complete-blood-count", 2)
    found("complete-blood-count is in draw 2 and may be drawn at once", later, order)


# Their order


def test_a_peak_before_its_trough_is_found() -> None:
    found("draw 1 has vancomycin-peak and comes before draw 2", exchanged(sound(LEVELS), 1, 2), LEVELS)


def test_blood_after_a_drink_before_blood_that_it_needs_first_is_found() -> None:
    found("it must come after", exchanged(sound(DRINK), 1, 2), DRINK)


def test_a_later_step_of_a_series_before_an_earlier_one_is_found() -> None:
    assert verify(exchanged(sound(SERIES), 2, 3), SERIES, SHIPPED) != ()


def test_draws_whose_instants_follow_one_another_in_the_wrong_order_are_found() -> None:
    order = order_of("vancomycin-peak", "gentamicin-peak")
    order = replace(order, events=(event("infusion-end", 0, "vancomycin"), event("infusion-end", 200, "gentamicin")))
    found("it must come after", exchanged(sound(order), 1, 2), order)


# Minutes and instants


def test_a_draw_at_a_minute_that_nothing_in_it_says_is_found() -> None:
    found("draw 1 is at 45 min, and nothing in it is wanted then", with_draw(sound(GROUPS), 1, at_min=45), GROUPS)


TIMED = replace(LEVELS, events=(event("next-dose", 60, "vancomycin"),), now=MORNING)


@pytest.mark.parametrize(("end", "minutes"), [("due_from", -1), ("due_from", 1), ("due_to", -1), ("due_to", 1)])
def test_an_instant_that_is_a_minute_off_is_found(end: str, minutes: int) -> None:
    plan = sound(TIMED)
    draw = plan.draws[0]
    assert (draw.due_from, draw.due_to) == (MORNING + timedelta(minutes=30), MORNING + timedelta(minutes=60))
    changed = getattr(draw, end) + timedelta(minutes=minutes)
    found("draw 1 is due from", with_draw(plan, 1, **{end: changed}), TIMED)


def test_an_instant_that_is_missing_or_of_no_event_is_found() -> None:
    found("draw 1 is due from any time", with_draw(sound(TIMED), 1, due_from=None, due_to=None), TIMED)
    found("due at an instant, and no event fixes one", with_draw(sound(LEVELS), 1, due_from=MORNING), LEVELS)


def test_events_that_nobody_defines_or_that_differ_are_found() -> None:
    plan = sound(TIMED)
    strange = replace(TIMED, events=(*TIMED.events, Event(what="moonrise", at=MORNING)))
    found("tells of 'moonrise'", plan, strange)
    twice = replace(TIMED, events=(*TIMED.events, event("next-dose", 90, "vancomycin")))
    found("two times of next-dose", plan, twice)


# Steps, questions, labels


def test_a_step_that_is_missing_or_stands_before_another_draw_is_found() -> None:
    plan = sound(GROUPS)
    steps = plan.draws[1].steps
    assert len(steps) == 2
    found("draw 2 has no step 'new puncture, disinfect again'", with_draw(plan, 2, steps=steps[1:]), GROUPS)
    found("draw 1 has the step 'new puncture, disinfect again' of no test", with_draw(plan, 1, steps=steps), GROUPS)
    found("draw 2: its steps are out of order", with_draw(plan, 2, steps=steps[::-1]), GROUPS)


def test_a_drink_that_is_not_given_or_given_before_the_wrong_draw_is_found() -> None:
    plan = sound(DRINK)
    (drink,) = plan.draws[1].steps
    assert "drink 75 g of glucose" in drink
    found("draw 2 has no step 'let the patient drink", with_draw(plan, 2, steps=()), DRINK)
    moved = with_draw(with_draw(plan, 2, steps=()), 1, steps=(drink,))
    found("draw 1 has the step 'let the patient drink", moved, DRINK)


def test_a_drink_is_given_at_once_after_the_blood_before_it() -> None:
    """Clonidine is given after the first draw, though a draw of the drink's series comes before that at 180 min."""
    order = order_of("clonidine-suppression", "glucose-tolerance-insulin")
    plan = sound(order)
    given = [draw.number for draw in plan.draws if any(step.startswith("clonidine is given") for step in draw.steps)]
    before = next(draw.number for draw in plan.draws if "before clonidine" in draw.label)
    assert given == [before + 1]


def test_what_must_be_known_and_is_not_asked_is_found() -> None:
    plan = sound(LEVELS)
    asks = plan.draws[0].asks
    found("draw 1 does not ask for the time of the next dose", with_draw(plan, 1, asks=asks[1:]), LEVELS)
    found("draw 1 asks for the time of the next dose of vancomycin, which is told", with_draw(
        sound(TIMED), 1, asks=asks
    ), TIMED)  # fmt: skip


def test_what_a_series_asks_and_its_first_draw_does_not_is_found() -> None:
    plan = sound(SERIES)
    found("begins glucose-tolerance-insulin and does not ask", with_draw(plan, 1, asks=()), SERIES)


@pytest.mark.parametrize("label", ["blood", "draw at 30 min", "130 min after the drink of 75 g of glucose"])
def test_a_label_of_a_series_without_its_minute_or_its_event_is_found(label: str) -> None:
    plan = sound(SERIES)
    found("on its label", with_draw(plan, 2, label=label), SERIES)


# Sets of cultures

SETS = order_of("blood-culture", on=MORNING.date())


def test_two_sets_from_one_puncture_are_found() -> None:
    plan = sound(SETS)
    assert len(plan.draws) == 2
    found("two sets of a culture are taken from one puncture", drawn_in(plan, "blood-culture", 1), SETS)


def test_a_further_set_without_its_puncture_is_found() -> None:
    plan = sound(SETS)
    found("a further culture set has no step for its new site", with_draw(plan, 2, steps=()), SETS)
    found("a further culture set has no step", with_draw(plan, 2, steps=("wash the hands",)), SETS)


def test_a_minute_that_the_instants_of_its_draw_do_not_allow_is_found() -> None:
    """Each trough is due in the 30 min before its dose, and the second is said for 30 min after the first."""
    order = order_of(("vancomycin-trough", 0), ("gentamicin-trough", 30))
    doses = event("next-dose", 60, "vancomycin"), event("next-dose", 90, "gentamicin")
    order = replace(order, events=doses)
    plan = sound(order)
    for minutes in (300, -300):
        later = replace(order, events=(doses[0], event("next-dose", 90 + minutes, "gentamicin")))
        by = timedelta(minutes=minutes)
        second = plan.draws[1]
        assert second.due_from is not None
        assert second.due_to is not None
        moved = with_draw(plan, 2, due_from=second.due_from + by, due_to=second.due_to + by)
        found("draw 2 is said for 30 min, and its instants are not so long after", moved, later)
