"""Events and minutes that cannot be, or not together, are refused by name; each beside the ones that can."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from cubital.errors import OrderError
from cubital.model import Event
from cubital.planning.moments import arrange
from tests.published.shipped import SHIPPED
from tests.unit.planning.moment_cases import arranged, asked_for, at, event


def refusal(*words: str | tuple[str, int], now: str | None = None, events: tuple[Event, ...] = ()) -> str:
    with pytest.raises(OrderError) as caught:
        arranged(*words, now=now, events=events)
    return str(caught.value)


@pytest.mark.parametrize(
    ("test", "what"),
    [("digoxin", "dose"), ("acetaminophen", "ingestion"), ("vancomycin-peak", "infusion-end"), ("tryptase", "event")],
)
def test_what_is_said_to_have_happened_may_not_lie_after_now(test: str, what: str) -> None:
    said = refusal(test, now="07:40", events=(event(what, "07:41"),))
    assert said.startswith("events[0]: found ")
    assert "after now, 2026-11-25 07:40+00:00; expected one that has happened" in said
    assert len(arranged(test, now="07:40", events=(event(what, "07:40"),)).slots) == 1


def test_a_dose_ahead_is_no_fault_where_the_instant_of_the_plan_is_not_known() -> None:
    assert len(arranged("digoxin", events=(event("dose", "23:00"),)).slots) == 1


def test_an_infusion_or_a_drink_may_lie_ahead_where_blood_before_it_is_asked() -> None:
    events = (event("infusion-end", "09:30", "vancomycin"),)
    assert len(arranged("vancomycin-trough", "vancomycin-peak", now="07:40", events=events).slots) == 2
    drink = (event("drink", "08:00"),)
    assert len(arranged("fasting glucose", "glucose 2 h post 75 g", now="07:40", events=drink).slots) == 2


def test_a_next_dose_may_not_be_past() -> None:
    said = refusal("vancomycin-trough", now="08:01", events=(event("next-dose", "08:00"),))
    assert "found the next dose of vancomycin at 2026-11-25 08:00+00:00, which is past" in said
    assert len(arranged("vancomycin-trough", now="08:00", events=(event("next-dose", "08:00"),)).slots) == 1


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("fasting glucose", "glucose 2 h post 75 g"), "drink"), (("glucose-tolerance-75-g",), "drink"),
        (("insulin-tolerance",), "stimulus"), (("platelet-increment",), "infusion-end"),
    ],
)  # fmt: skip
def test_blood_before_a_drink_or_dose_that_is_past_is_refused(words: tuple[str, ...], what: str) -> None:
    said = refusal(*words, now="08:00", events=(event(what, "07:59"),))
    assert "and blood asked that is drawn before it; expected it ahead" in said
    assert len(arranged(*words, now="07:59", events=(event(what, "07:59"),)).slots) >= 2


def test_the_blood_of_a_first_draw_that_was_made_is_not_asked_again() -> None:
    said = refusal("troponin-t-0-1-h", now="08:00", events=(event("first-draw", "07:30"),))
    assert "and that of the first draw asked" in said
    assert len(arranged(("troponin-t", 60), now="08:00", events=(event("first-draw", "07:30"),)).slots) == 1


def test_a_drink_without_a_first_draw_is_refused_until_that_is_asked_or_said() -> None:
    said = refusal("glucose 2 h post 75 g", events=(event("drink", "09:30"),))
    assert "events[0]: found the drink of 75 g of glucose and no first draw" in said
    assert len(arranged("glucose 2 h post 75 g", "FPG", events=(event("drink", "09:30"),)).slots) == 2
    first = (event("first-draw", "09:25"), event("drink", "09:30"))
    assert len(arranged("glucose 2 h post 75 g", events=first).slots) == 1


def test_a_drink_not_said_asks_for_itself_and_for_its_first_draw() -> None:
    (slot,) = arranged("glucose 2 h post 75 g").slots
    assert slot.asks[0] == "time of the drink of 75 g of glucose"
    assert "time of the first draw, before the drink of 75 g of glucose" in slot.asks


def test_a_first_draw_after_the_drink_is_refused() -> None:
    said = refusal("glucose 2 h post 75 g", events=(event("first-draw", "09:31"), event("drink", "09:30")))
    assert said.startswith("events[0]: found the first draw at 2026-11-25 09:31")


@pytest.mark.parametrize(
    "words",
    [
        (("vancomycin-peak", 30), ("vancomycin-trough", 60)), (("vancomycin-peak", 60), ("vancomycin-trough", 60)),
        (("vancomycin-peak", 0), ("vancomycin-trough", 60)), (("gentamicin-peak", 0), "gentamicin-trough"),
    ],
)  # fmt: skip
def test_a_peak_before_its_trough_or_beside_it_is_refused(words: tuple[str | tuple[str, int], ...]) -> None:
    assert "expected the blood before the dose first" in refusal(*words)


def test_a_peak_after_its_trough_or_of_another_drug_is_not() -> None:
    assert len(arranged(("vancomycin-trough", 0), ("vancomycin-peak", 60)).slots) == 2
    assert len(arranged(("vancomycin-trough", 30), "vancomycin-peak").slots) == 2
    assert len(arranged(("vancomycin-peak", 0), ("gentamicin-trough", 60)).slots) == 2


def test_an_unknown_anchor_is_refused_with_those_there_are() -> None:
    said = refusal("K", events=(event("dosis", "08:00"),))
    assert said.startswith("events[0].what: found 'dosis'; expected what happened, one of dose, next-dose")
    assert "did you mean dose" in said


def test_an_unknown_subject_is_refused_with_near_ones() -> None:
    said = refusal("vancomycin-peak", events=(event("infusion-end", "08:00", "vankomycin"),))
    assert said.startswith("events[0].of: found 'vankomycin'")
    assert "did you mean vancomycin" in said


def test_an_event_of_no_subject_is_refused_where_the_order_has_several() -> None:
    said = refusal("vancomycin-peak", "gentamicin-peak", events=(event("infusion-end", "08:00"),))
    assert "of nothing named, and the order has several: vancomycin, gentamicin" in said


def test_two_times_of_one_event_are_refused_and_one_said_twice_is_not() -> None:
    said = refusal("digoxin", events=(event("dose", "02:00"), event("dose", "03:00", "digoxin")))
    assert said.startswith("events[1]: found dose at 2026-11-25 03:00+00:00, and at 2026-11-25 02:00+00:00 in events")
    assert len(arranged("digoxin", events=(event("dose", "02:00"), event("dose", "02:00"))).slots) == 1


@pytest.mark.parametrize(("first", "then"), [("infusion-start", "infusion-end"), ("dose", "next-dose")])
def test_an_event_before_the_one_that_it_follows_is_refused(first: str, then: str) -> None:
    events = (event(first, "09:00", "vancomycin"), event(then, "08:59", "vancomycin"))
    assert "expected it after; correct one of the two" in refusal("vancomycin-peak", events=events)
    fine = (event(first, "09:00", "vancomycin"), event(then, "09:00", "vancomycin"))
    assert len(arranged("vancomycin-peak", events=fine).slots) == 1


def test_minutes_and_events_that_no_instant_fits_are_refused() -> None:
    words: tuple[str | tuple[str, int], ...] = (("vancomycin-peak", 60),)
    events = (event("first-draw", "07:00"), event("infusion-end", "09:30", "vancomycin"))
    assert "no instant fits them all" in refusal(*words, events=events)
    fits = (event("first-draw", "10:00"), event("infusion-end", "09:30", "vancomycin"))
    assert len(arranged(*words, events=fits).slots) == 1


def test_draws_that_would_each_have_to_come_before_the_other_are_refused() -> None:
    words = (("vancomycin-peak", 30), ("gentamicin-peak", 60))
    events = (event("infusion-end", "11:00", "vancomycin"), event("infusion-end", "09:00", "gentamicin"))
    assert "each of two draws would have to come before the other" in refusal(*words, events=events)
    turned = (event("infusion-end", "09:00", "vancomycin"), event("infusion-end", "11:00", "gentamicin"))
    assert len(arranged(*words, events=turned).slots) == 2


def test_a_draw_said_to_be_the_first_is_refused_where_another_is_due_before_it() -> None:
    words: tuple[str | tuple[str, int], ...] = (("vancomycin-peak", 0), "tacrolimus")
    events = (event("infusion-end", "09:30", "vancomycin"), event("next-dose", "08:00", "tacrolimus"))
    assert "come before the other" in refusal(*words, events=events)
    assert len(arranged("vancomycin-peak", "tacrolimus", events=events).slots) == 2


def test_a_minute_is_refused_where_the_events_put_its_draw_after_a_later_minute() -> None:
    """Clozapine is due 12 h after its dose; at 30 min it would stand between the draws at 20 and 40 min."""
    words: tuple[str | tuple[str, int], ...] = (("clozapine", 30), "gonadotropin-releasing-hormone-test")
    given = event("stimulus", "08:00", "gonadotropin-releasing-hormone")
    said = refusal(*words, events=(given, event("dose", "01:00", "clozapine")))
    assert said.startswith("events: found times that contradict one another: by the events a draw would come sooner or")
    evening = Event(what="dose", of="clozapine", at=at("08:00") - timedelta(hours=12) + timedelta(minutes=30))
    assert [slot.at_min for slot in arranged(*words, events=(given, evening)).slots] == [0, 20, 30, 40, 60]


def test_a_test_said_for_a_minute_never_goes_with_a_draw_that_the_events_put_hours_later() -> None:
    """The draws of the first drink are from 07:50 to 10:00; that of 30 min is with the second of them or alone."""
    words: tuple[str | tuple[str, int], ...] = (("ammonia", 30), "glucose-tolerance-insulin", "glucose-tolerance-child")
    events = (event("drink", "08:00", "glucose-75-g"), event("drink", "18:00", "glucose-by-weight"))
    found = arranged(*words, events=events)
    slot = found.slot_of[[one.test for one in asked_for(*words)].index("ammonia")]
    begin, _ = found.due[slot]
    assert found.slots[slot].at_min == 30
    assert begin is None or begin < at("08:40")


def test_two_tests_said_of_the_first_draw_are_refused_where_the_events_put_them_apart() -> None:
    """Clozapine is due from 07:00 to 09:00, tacrolimus at most 30 min before its next dose."""
    words: tuple[str | tuple[str, int], ...] = (("clozapine", 0), ("tacrolimus", 0))
    taken = Event(what="dose", of="clozapine", at=at("08:00") - timedelta(hours=12))
    said = refusal(*words, events=(taken, event("next-dose", "12:00", "tacrolimus")))
    assert "clozapine and tacrolimus are both said of the first draw" in said
    assert len(arranged(*words, events=(taken, event("next-dose", "08:30", "tacrolimus"))).slots) == 1


def test_times_that_contradict_one_another_are_refused_at_once_however_much_else_is_asked() -> None:
    # Each of the others may be drawn with any of the rest: there are over a million ways to put them together.
    loose = ("digoxin", "lithium", "acetaminophen", "fasting glucose", "phenytoin", "valproate", "carbamazepine",
             "lamotrigine", "levetiracetam", "tacrolimus", "sirolimus", "vancomycin-trough")  # fmt: skip
    events = (event("infusion-end", "11:00", "vancomycin"), event("infusion-end", "09:00", "gentamicin"))
    words = (("vancomycin-peak", 30), ("gentamicin-peak", 60), *loose)
    assert "come before the other" in refusal(*words, events=events)


def test_an_instant_without_a_zone_is_refused() -> None:
    bare = datetime.fromisoformat("2026-11-25T08:00")
    assert "without its zone" in refusal("digoxin", events=(Event(what="dose", at=bare),))
    with pytest.raises(OrderError, match="now: found an instant without its zone"):
        arrange(asked_for("digoxin"), SHIPPED, now=bare, events=(Event(what="dose", at=at("02:00")),))
