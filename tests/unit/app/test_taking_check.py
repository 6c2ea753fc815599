"""The check of two identifiers of a draw in hand: for whom it counts, how long, and what voids it."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from cubital.app.draws import plan_order
from cubital.app.patient_check import Said
from cubital.app.taking_check import HOLDS, check_of
from cubital.app.taking_steps import steps_of
from cubital.app.wiring import open_site
from cubital.errors import PaperError, TakingError, WrongPatient
from cubital.model import Ask, Order
from tests.unit.app.identity_cases import REQUEST
from tests.unit.app.test_taking import OTHER, SAID, Chair, chair, printed

__all__ = ["chair"]


def test_no_tube_is_taken_before_the_two_identifiers_were_checked_at_the_same_device(chair: Chair) -> None:
    taking = chair.begin()
    with pytest.raises(TakingError, match="no check of two identifiers at this device"):
        chair.tap(taking, "filled", 1)
    chair.tap(taking, "identified", 1, station=OTHER)
    with pytest.raises(TakingError, match="no check of two identifiers at this device"):
        chair.tap(taking, "filled", 1)


def test_a_check_counts_for_whoever_made_it_and_not_for_the_next_at_the_same_device(chair: Chair) -> None:
    taking = chair.begin()
    chair.tap(taking, "identified", 1)
    chair.tap(taking, "filled", 1)
    with pytest.raises(TakingError, match="by another person; expected your own"):
        chair.tap(taking, "filled", 2, by="bob")
    chair.tap(taking, "identified", 1, by="bob", key="bob-checks")
    chair.tap(taking, "filled", 2, by="bob", key="bob-fills")


@pytest.mark.parametrize(("after", "is_held"), [(HOLDS, True), (HOLDS + timedelta(seconds=1), False)], ids=str)
def test_a_check_holds_for_a_while_and_then_the_patient_is_asked_again(
    chair: Chair, after: timedelta, is_held: bool
) -> None:
    taking = chair.begin()
    chair.fill_all(taking)
    chair.clock.pass_s(after.total_seconds())

    def label_and_print() -> None:
        chair.tap(taking, "labelled", 2, scanned=f"{taking.code}-2")
        printed(chair, taking, 2)

    if not is_held:
        with pytest.raises(TakingError, match="that is old; expected one within 30 min"):
            printed(chair, taking, 2)
        with pytest.raises(TakingError, match="that is old; expected one within 30 min"):
            label_and_print()
        chair.tap(taking, "identified", 1, key="checked-again")
    label_and_print()


def test_a_check_of_the_next_patient_voids_that_of_the_one_before_until_it_is_made_again(chair: Chair) -> None:
    first, second = chair.begin(), chair.begin()
    chair.tap(first, "identified", 1)
    chair.clock.pass_s(60)
    chair.tap(second, "identified", 1, by="bob")
    chair.tap(second, "identified", 1, station=OTHER)
    before = chair.clock.at
    chair.tap(first, "filled", 1)
    chair.clock.pass_s(60)
    chair.tap(second, "identified", 1, key="ann-checks-second")
    chair.clock.pass_s(60)
    with pytest.raises(TakingError, match="you checked the patient of another draw since"):
        chair.tap(first, "filled", 2)
    assert chair.takings.standing_checks(first.code) == ()
    chair.tap(first, "filled", 2, device_at=before)
    with pytest.raises(TakingError, match="you checked the patient of another draw since"):
        printed(chair, first, 2)
    chair.tap(second, "filled", 1)
    chair.tap(first, "identified", 1, key="ann-checks-first-again")
    printed(chair, first, 2)
    assert [tap.key for tap in chair.takings.standing_checks(first.code)] == ["ann-checks-first-again"]
    with pytest.raises(TakingError, match="you checked the patient of another draw since"):
        chair.tap(second, "filled", 2)


@pytest.mark.parametrize("who", [{"by": "bob"}, {"station": OTHER}], ids=str)
def test_labels_are_printed_only_for_whoever_checked_the_patient_there(chair: Chair, who: dict[str, str]) -> None:
    taking = chair.begin()
    chair.fill_all(taking)
    with pytest.raises(TakingError, match="check them with the patient"):
        printed(chair, taking, 2, **who)
    assert not [tap for tap in chair.takings.look(taking.code)[1] if tap.kind == "printed"]


@pytest.mark.parametrize(
    "said",
    [
        Said(*REQUEST, "Ottoline Invented", "1958-03-03"),
        Said("Invented, Orla", "X-2", "1958-03-02", "Orla Invented", "X-2"),
        Said(*REQUEST[:2], "02.03.1958", "Ottoline Invented", REQUEST[1]),
    ],
    ids=["do not agree", "another request", "cannot be read"],
)
def test_a_check_that_fails_voids_the_one_before_it_until_it_is_made_again(chair: Chair, said: Said) -> None:
    first, second = chair.begin(), chair.begin()
    chair.fill_all(first)
    differs = Said(*REQUEST, "Ottoline Invented", "1958-03-03")
    for taking, failing in ((first, said), (second, differs)):
        chair.clock.pass_s(10)
        for _ in range(2):
            # Sent twice, for the first answer was lost.
            with pytest.raises((WrongPatient, TakingError)):
                chair.tap(taking, "identified", 1, key=f"{taking.code} fails", said=failing)
        chair.clock.pass_s(10)
        with pytest.raises(TakingError, match="a check of two identifiers failed since"):
            chair.tap(first, "labelled", 2, scanned=f"{first.code}-2")
        with pytest.raises(TakingError, match="a check of two identifiers failed since"):
            printed(chair, first, 2)
        assert chair.takings.standing_checks(first.code) == ()
        chair.tap(first, "identified", 1, key=f"after {taking.code}")
    chair.tap(first, "labelled", 2, scanned=f"{first.code}-2")


def test_a_check_that_the_page_stopped_voids_the_one_before_it_too(chair: Chair) -> None:
    taking = chair.begin()
    chair.tap(taking, "identified", 1)
    chair.tap(taking, "filled", 1)
    tapped = chair.clock.at
    chair.clock.pass_s(10)
    chair.tap(taking, "mismatched", 1)
    chair.clock.pass_s(10)
    with pytest.raises(TakingError, match="failed since; expected a new check of this patient"):
        chair.tap(taking, "filled", 2)
    # What was tapped before it and comes after it, from an hour without a connection, is as good as it was.
    chair.tap(taking, "filled", 2, key="earlier", device_at=tapped)
    with pytest.raises(TakingError, match="with the check alone"):
        chair.tap(taking, "filled", 3, said=SAID)


def test_identifiers_that_differ_stop_and_leave_nothing_behind(chair: Chair) -> None:
    taking = chair.begin()
    with pytest.raises(WrongPatient, match="do not draw"):
        chair.tap(taking, "identified", 1, said=Said(*REQUEST, "Ottoline Invented", "1958-03-03"))
    found, taps = chair.takings.look(taking.code)
    assert (found.identity, [tap.kind for tap in taps]) == (None, ["mismatched"])
    with pytest.raises(TakingError, match="no identifiers"):
        chair.tap(taking, "identified", 1, key="another", said=None)


def test_a_second_device_with_another_request_is_stopped(chair: Chair) -> None:
    taking = chair.begin()
    chair.tap(taking, "identified", 1)
    other = Said("Invented, Orla", "X-2", "1958-03-02", "Orla Invented", "X-2")
    with pytest.raises(WrongPatient, match="another request") as refused:
        chair.tap(taking, "identified", 1, station=OTHER, said=other)
    assert not any(secret in str(refused.value) for secret in ("Orla", "Ottoline", "X-2", "X-000123"))


def test_a_birth_date_that_the_age_of_the_plan_contradicts_is_stopped(chair: Chair) -> None:
    taking = chair.begin(patient={"age": "4 a", "weight_kg": 16})
    with pytest.raises(PaperError, match="birth date and an age that do not agree"):
        chair.tap(taking, "identified", 1)
    assert chair.takings.look(taking.code)[0].identity is None


def test_every_draw_of_a_series_needs_its_own_check_and_names_its_own_specimens(chair: Chair) -> None:
    taking = chair.begin("glucose-tolerance-75-g", access="straight-needle")
    assert len(taking.plan.draws) > 1
    chair.tap(taking, "identified", 1)
    steps = steps_of(taking)
    assert len({step.specimen for step in steps}) == len(steps)
    second = next(step for step in steps if step.tube.draw == 2)
    with pytest.raises(TakingError, match="no check of two identifiers"):
        chair.tap(taking, "filled", second.number)
    chair.tap(taking, "identified", 2)
    chair.tap(taking, "filled", second.number)
    assert chair.record.specimen(f"{taking.code}-2-{second.tube.position}") is not None


def test_draws_of_one_time_at_another_site_of_the_body_share_one_check(chair: Chair) -> None:
    taking = chair.begin("K", "blood culture")
    assert [draw.at_min for draw in taking.plan.draws] == [0, 0]
    chair.fill_all(taking)
    with pytest.raises(TakingError, match="no identifiers for a draw"):
        chair.tap(taking, "identified", 2)


def test_draws_whose_times_only_events_fix_have_a_check_each_and_those_of_one_time_share_one() -> None:
    site = open_site(demo=True)

    def checks(*tests: str) -> list[int]:
        plan = plan_order(Order(asks=tuple(Ask(test=test) for test in tests), on=date(2026, 11, 25)), site)
        return [check_of(plan, draw.number) for draw in plan.draws]

    assert checks("vancomycin-trough", "vancomycin-peak", "gentamicin-peak") == [1, 2, 3]
    assert checks("group and screen", "group check") == [1, 2]
    assert checks("blood culture") == [1, 1]
