"""Moments that exclude each other are draws of their own: as few as can be, in order, with what each asks and does."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.model import Panel, SeriesStep, Site
from cubital.planning.moments import arrange
from tests.published.shipped import SHIPPED
from tests.unit.planning.moment_cases import arranged, asked_for, drawn, due, event


def test_an_order_without_moments_is_one_draw_at_no_cost() -> None:
    found = arranged("K", "CBC")
    assert (found.slots[0].label, found.slots[0].asks, found.slot_of) == ("the draw", (), (0, 0))
    assert arranged("Na", "PT") is found


@pytest.mark.parametrize("drug", ["vancomycin", "gentamicin"])
def test_a_trough_and_a_peak_of_one_drug_are_two_draws_the_trough_first(drug: str) -> None:
    assert drawn(f"{drug}-peak", f"{drug}-trough") == [[f"{drug}-trough"], [f"{drug}-peak"]]


def test_what_fixes_a_moment_and_was_not_said_is_asked_for() -> None:
    trough, peak = arranged("vancomycin-trough", "vancomycin-peak").slots
    assert trough.asks == ("time of the next dose of vancomycin",)
    assert peak.asks == ("time at which the infusion of vancomycin ends",)


def test_what_was_said_is_not_asked_for_and_gives_the_times_of_the_draws() -> None:
    events = (event("next-dose", "08:00", "vancomycin"), event("infusion-end", "09:30", "vancomycin"))
    found = arranged("vancomycin-trough", "vancomycin-peak", now="07:40", events=events)
    assert [slot.asks for slot in found.slots] == [(), ()]
    assert due(found) == [("07:30", "08:00"), ("10:30", "11:30")]


def test_a_label_names_the_moment_and_no_slot_names_a_clock_time() -> None:
    events = (event("infusion-end", "09:30", "vancomycin"),)
    said = arranged("vancomycin-trough", "vancomycin-peak", events=events)
    assert [slot.label for slot in said.slots] == [
        "trough: just before the next dose of vancomycin", "peak: 1 to 2 h after the infusion of vancomycin",
    ]  # fmt: skip
    assert "09:30" not in str(said.slots)


def test_the_dose_is_given_between_trough_and_peak_and_the_plan_says_so() -> None:
    trough, peak = arranged("vancomycin-trough", "vancomycin-peak").slots
    assert trough.steps == ()
    assert "infused now" in peak.steps[0]
    assert arranged("vancomycin-peak").slots[0].steps == ()


def test_a_peak_of_an_infusion_that_is_over_comes_before_the_next_trough() -> None:
    events = (event("infusion-end", "09:30", "vancomycin"),)
    assert drawn("vancomycin-trough", "vancomycin-peak", now="10:00", events=events) == [
        ["vancomycin-peak"], ["vancomycin-trough"],
    ]  # fmt: skip
    assert arranged("vancomycin-trough", "vancomycin-peak", now="10:00", events=events).slots[1].steps == ()


def test_a_fasting_glucose_and_the_one_after_the_drink_are_two_draws_with_the_drink_between() -> None:
    found = arranged("fasting glucose", "glucose 2 h post 75 g")
    assert found.slot_of == (0, 1)
    assert found.slots[0].label == "fasting; before the drink of 75 g of glucose"
    assert found.slots[1].label == "120 min after the drink of 75 g of glucose"
    assert found.slots[1].steps[0].startswith("let the patient drink 75 g of glucose within 5 min: note the time")


def test_a_drink_that_is_said_fixes_both_draws_around_it() -> None:
    found = arranged("fasting glucose", "glucose 2 h post 75 g", events=(event("drink", "09:30"),))
    assert due(found) == [("09:20", "09:30"), ("11:25", "11:35")]


@pytest.mark.parametrize(
    ("panel", "minutes"),
    [
        ("glucose-tolerance-75-g", [0, 120]), ("glucose-tolerance-100-g", [0, 60, 120, 180]),
        ("troponin-t-0-2-h", [0, 120]), ("insulin-tolerance", [0, 30, 45, 60, 90, 120]),
        ("gastrin-secretin", [0, 2, 5, 10, 15, 20]), ("calcitonin-pentagastrin", [0, 1, 2, 5, 10]),
        ("water-deprivation", [0, 240, 360, 420, 480]), ("gentamicin-trough-and-peak", [0, 60]),
    ],
)  # fmt: skip
def test_a_series_is_a_draw_a_minute_and_every_label_carries_it(panel: str, minutes: list[int]) -> None:
    found = arranged(panel)
    assert [slot.at_min for slot in found.slots] == minutes
    assert all(f"draw at {minute} min" in slot.label for minute, slot in zip(minutes, found.slots, strict=True))


def test_the_drink_of_a_series_is_said_once_before_the_first_draw_after_it() -> None:
    found = arranged("glucose-tolerance-100-g")
    said = ["let the patient drink 100 g" in " ".join(slot.steps) for slot in found.slots]
    assert said == [False, True, False, False]


def test_a_series_of_a_risky_test_says_the_risk_and_asks_once() -> None:
    first, *later = arranged("insulin-tolerance").slots
    assert "physician at the bedside" in first.moment
    assert "estrogen off 6 weeks" in first.asks
    assert all("physician at the bedside" not in slot.moment for slot in later)
    assert all(len(slot.asks) == 1 for slot in later)


def test_a_second_sample_for_the_group_is_a_puncture_of_its_own() -> None:
    found = arranged("group check", "group and screen", "CBC")
    assert found.slot_of == (1, 0, 0)
    assert found.slots[1].steps[0] == "new puncture, disinfect again"
    assert "ask both identifiers again" in found.slots[1].steps[1]
    assert found.slots[0].steps == ()


@pytest.mark.parametrize("first", ["abo-rh-group", "type-and-screen", "crossmatch"])
def test_the_second_sample_never_shares_with_what_takes_the_first(first: str) -> None:
    assert drawn("group-check", first) == [[first], ["group-check"]]


def test_a_second_sample_alone_is_simply_the_draw_with_its_step_said() -> None:
    found = arranged("group check", "CBC")
    assert found.slot_of == (0, 0)
    assert found.slots[0].steps[0] == "new puncture, disinfect again"


def test_a_second_sample_goes_with_another_moment_rather_than_take_one_more_draw() -> None:
    assert drawn("group-check", "type-and-screen", "vancomycin-trough", "vancomycin-peak") == [
        ["type-and-screen", "vancomycin-trough"], ["group-check", "vancomycin-peak"],
    ]  # fmt: skip


def test_troughs_of_several_drugs_and_loose_windows_share_a_draw_while_no_time_is_known() -> None:
    assert drawn("vancomycin-trough", "tacrolimus", "lithium", "digoxin", "acetaminophen", "fasting glucose") == [
        ["vancomycin-trough", "tacrolimus", "lithium", "digoxin", "acetaminophen", "glucose-tolerance-0-min"],
    ]  # fmt: skip


def test_troughs_that_are_known_to_be_hours_apart_are_two_draws() -> None:
    events = (event("next-dose", "08:00", "vancomycin"), event("next-dose", "10:00", "tacrolimus"))
    assert drawn("tacrolimus", "vancomycin-trough", events=events) == [["vancomycin-trough"], ["tacrolimus"]]
    near = (event("next-dose", "08:00", "vancomycin"), event("next-dose", "08:30", "tacrolimus"))
    found = arranged("tacrolimus", "vancomycin-trough", events=near)
    assert (len(found.slots), due(found)) == (1, [("07:30", "08:00")])


def test_two_fixed_windows_share_only_where_both_times_are_known_and_meet() -> None:
    assert len(arranged("vancomycin-peak", "gentamicin-peak").slots) == 2
    meet = (event("infusion-end", "09:00", "vancomycin"), event("infusion-end", "09:40", "gentamicin"))
    assert due(arranged("vancomycin-peak", "gentamicin-peak", events=meet)) == [("10:05", "10:15")]
    apart = (event("infusion-end", "09:00", "vancomycin"), event("infusion-end", "09:20", "gentamicin"))
    assert len(arranged("vancomycin-peak", "gentamicin-peak", events=apart).slots) == 2
    half = (event("infusion-end", "09:00", "vancomycin"),)
    assert len(arranged("vancomycin-peak", "gentamicin-peak", events=half).slots) == 2


def test_a_fixed_window_takes_no_loose_one_along_while_its_time_is_not_known() -> None:
    assert drawn("digoxin", "vancomycin-peak") == [["digoxin"], ["vancomycin-peak"]]
    events = (event("dose", "03:00", "digoxin"), event("infusion-end", "09:00", "vancomycin"))
    assert due(arranged("digoxin", "vancomycin-peak", events=events)) == [("10:00", "11:00")]


def test_windows_that_meet_at_one_minute_share_and_those_a_minute_apart_do_not() -> None:
    edge = (event("infusion-end", "08:00", "vancomycin"), event("infusion-end", "09:35", "gentamicin"))
    assert due(arranged("vancomycin-peak", "gentamicin-peak", events=edge)) == [("10:00", "10:00")]
    past = (event("infusion-end", "08:00", "vancomycin"), event("infusion-end", "09:36", "gentamicin"))
    assert len(arranged("vancomycin-peak", "gentamicin-peak", events=past).slots) == 2


def test_tests_without_a_moment_go_with_the_first_draw() -> None:
    assert drawn("CBC", "vancomycin-peak", "vancomycin-trough", "K") == [
        ["complete-blood-count", "vancomycin-trough", "potassium"], ["vancomycin-peak"],
    ]  # fmt: skip


def test_minutes_that_the_order_says_are_draws_of_their_own() -> None:
    found = arranged("CBC", ("lactate", 0), ("lactate", 60), ("K", 60))
    assert ([slot.at_min for slot in found.slots], found.slot_of) == ([0, 60], (0, 0, 1, 1))
    assert [slot.label for slot in found.slots] == ["draw at 0 min", "draw at 60 min"]
    assert found.slots[1].asks == ()


def test_one_draw_at_a_later_minute_alone_asks_when_the_first_was() -> None:
    (slot,) = arranged(("lactate", 60)).slots
    assert (slot.at_min, slot.asks) == (60, ("time of the first draw",))


def test_the_first_draw_that_was_made_gives_the_time_of_the_next_with_the_tolerance_of_its_series() -> None:
    found = arranged(("troponin-t", 60), events=(event("first-draw", "07:00"),))
    assert (due(found), found.slots[0].asks) == ([("07:55", "08:05")], ())


def test_a_time_that_is_only_stated_opens_no_draw_and_is_said() -> None:
    found = arranged("cortisol", "vancomycin-trough", "theophylline")
    assert len(found.slots) == 1
    assert "cortisol: morning, 08:00 to 09:00" in found.slots[0].moment
    assert "time of the last dose of theophylline" in found.slots[0].asks


def test_a_test_of_a_series_is_not_held_to_the_hour_of_the_test_alone() -> None:
    assert all("08:00" not in slot.moment for slot in arranged("corticotropin-stimulation").slots)


def test_a_lone_test_goes_with_the_first_draw_of_a_series_that_has_it() -> None:
    found = asked_for("cortisol", "corticotropin-stimulation")
    assert [(one.test, one.at_min, one.via) for one in found] == [
        ("cortisol", 0, ("cortisol", "corticotropin-stimulation")),
        ("cortisol", 30, ("corticotropin-stimulation",)), ("cortisol", 60, ("corticotropin-stimulation",)),
    ]  # fmt: skip


def test_two_series_of_one_drink_share_their_draws_and_two_of_two_stimuli_never_do() -> None:
    assert [slot.at_min for slot in arranged("growth-hormone-suppression", "glucose-tolerance-75-g").slots] == [
        0, 30, 60, 90, 120,
    ]  # fmt: skip
    found = arranged("corticotropin-stimulation", "insulin-tolerance")
    assert len(found.slots) == 9
    assert any("may be on one day" in text for text in found.slots[0].asks)
    assert [slot.at_min for slot in found.slots] == [0, *[None] * 8]


def test_a_series_around_an_infusion_begins_before_the_infusion_and_not_before_its_end() -> None:
    first, second, *_ = arranged("factor-viii-recovery").slots
    assert first.label == "draw at 0 min, before the start of the infusion of the factor concentrate"
    assert "given now" in second.steps[0]


def test_a_series_without_a_draw_at_0_counts_from_its_event_and_not_from_the_first_draw() -> None:
    assert [slot.at_min for slot in arranged("methotrexate-high-dose").slots] == [0, None, None]


def test_an_event_of_no_subject_is_of_the_only_one_that_the_order_has() -> None:
    assert due(arranged("digoxin", events=(event("dose", "02:00"),))) == [("08:00", None)]


def test_a_subject_goes_by_its_other_names() -> None:
    assert due(arranged("acetaminophen", events=(event("ingestion", "04:00", "Paracetamol"),))) == [("08:00", None)]


def test_an_event_that_no_test_needs_changes_nothing() -> None:
    plain = arranged("K", "CBC")
    found = arranged("K", "CBC", events=(event("dose", "02:00", "digoxin"),))
    assert (found.slots, found.slot_of) == (plain.slots, plain.slot_of)


def test_like_orders_have_the_same_slots_whatever_the_clock() -> None:
    early, late = (arranged("digoxin", "CBC", events=(event("dose", clock),)) for clock in ("01:00", "02:00"))
    assert early.slots == late.slots
    assert early.due != late.due


def test_a_site_that_gives_a_test_another_moment_draws_it_then() -> None:
    tests = {**SHIPPED.tests, "potassium": replace(SHIPPED.tests["potassium"], moment="vancomycin-peak")}
    site = replace(SHIPPED, tests=tests)
    assert drawn("K", "vancomycin-trough", site=site) == [["vancomycin-trough"], ["potassium"]]


def test_a_series_of_a_site_keeps_the_windows_of_its_own_minutes() -> None:
    panel = Panel(
        key="house", name="house", anchor="drink", of="glucose-75-g",
        series=(SeriesStep(at_min=0, tests=("glucose",)), SeriesStep(at_min=45, tests=("glucose",))),
    )  # fmt: skip
    site = replace(SHIPPED, panels={"house": panel}, ambiguous={})
    found = arrange(asked_for("house", site=site), site, now=None, events=(event("drink", "09:00"),))
    assert due(found) == [("08:50", "09:00"), ("09:40", "09:50")]


def house_series(*steps: tuple[int, str]) -> Site:
    """The shipped site with one series of its own around the drink."""
    series = tuple(SeriesStep(at_min=minute, tests=(test,)) for minute, test in steps)
    panel = Panel(key="house", name="house", anchor="drink", of="glucose-75-g", series=series)
    return replace(SHIPPED, panels={"house": panel}, ambiguous={})


def test_two_draws_of_one_series_stay_two_though_their_windows_meet() -> None:
    assert drawn("house", site=house_series((50, "glucose"), (52, "insulin"))) == [["glucose"], ["insulin"]]


def test_a_later_draw_of_a_series_stays_later_though_it_could_join_what_has_no_moment() -> None:
    site = house_series((50, "glucose"), (52, "insulin"))
    assert arranged("glucose", "house", site=site).slot_of == (1, 0, 1)


def test_a_draw_of_a_series_takes_no_loose_window_along_however_wide_its_own_is() -> None:
    # The 48 h draw of methotrexate may be 7 h late; a level of another drug is not held until then.
    assert drawn("digoxin", "methotrexate-high-dose")[0] == ["digoxin"]
    assert len(drawn("digoxin", "methotrexate-high-dose")) == 4


def test_windows_about_one_anchor_that_touch_share_and_those_a_minute_apart_do_not() -> None:
    touching, apart = house_series((50, "insulin")), house_series((49, "insulin"))
    assert drawn("house", "glucose-tolerance-60-min", site=touching) == [["insulin", "glucose-tolerance-60-min"]]
    assert drawn("house", "glucose-tolerance-60-min", site=apart) == [["insulin"], ["glucose-tolerance-60-min"]]


def test_an_infusion_that_ends_at_this_minute_is_over() -> None:
    events = (event("infusion-end", "10:00", "vancomycin"),)
    assert drawn("vancomycin-trough", "vancomycin-peak", now="10:00", events=events)[0] == ["vancomycin-peak"]


def test_a_trough_stays_before_its_peak_where_the_tests_without_a_moment_may_not_join_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    known = dict(facts.moments())
    known["vancomycin-trough"] = replace(known["vancomycin-trough"], excludes=("vancomycin-peak", "potassium"))
    monkeypatch.setattr(facts, "moments", lambda: known)
    assert drawn("K", "vancomycin-trough", "vancomycin-peak") == [
        ["vancomycin-trough"], ["potassium", "vancomycin-peak"],
    ]  # fmt: skip


# The order of draws by their minutes


def minutes_of(*words: str | tuple[str, int]) -> list[int | None]:
    return [slot.at_min for slot in arranged(*words).slots]


def test_a_minute_that_the_order_says_stands_among_those_of_a_series() -> None:
    assert minutes_of("mixed-meal-c-peptide", ("CBC", 30), "lipase", ("PT", 120)) == [0, 30, 90, 120]


def test_a_draw_of_a_series_begun_before_the_first_draw_comes_by_the_time_between_them() -> None:
    """High-dose methotrexate is drawn 24, 48 and 72 h after its infusion began: two hours are over long before."""
    found = arranged("methotrexate-high-dose", ("PT", 120))
    assert [slot.at_min for slot in found.slots] == [0, 120, None, None]
    assert [slot.label.split(" after")[0] for slot in found.slots[2:]] == ["draw at 2880 min", "draw at 4320 min"]


def test_minutes_after_an_infusion_ends_are_not_minutes_after_the_first_draw_before_it_begins() -> None:
    assert minutes_of("factor-viii-recovery") == [0, None, None, None]


def test_a_test_said_for_the_minute_at_which_a_series_is_said_to_begin_is_drawn_with_its_first_draw() -> None:
    found = drawn(("growth-hormone-suppression", 30), ("CBC", 30), "K")
    assert found[0] == ["potassium"]
    assert found[1] == ["growth-hormone", "glucose", "complete-blood-count"]


def test_what_may_be_drawn_at_any_time_is_in_the_first_draw_that_takes_it() -> None:
    """The series are drawn together first in the search; the level is due before them, and takes it as well."""
    level, series = "anti-xa-low-molecular-weight-heparin", ("dexamethasone-2-days", "glucose-tolerance-100-g")
    events = (event("drink", "20:00", "glucose-100-g"), event("dose", "06:00", "low-molecular-weight-heparin"))
    first = drawn("INR", ("ferritin", 30), level, *series, events=events)[0]
    assert first == ["inr", level]
