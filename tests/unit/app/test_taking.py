"""Taking a draw: what may be tapped, once, by whom first, and what the record of specimens holds then."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cubital.app.draws import plan_order
from cubital.app.patient_check import Said
from cubital.app.printing import DEFAULT_STOCK
from cubital.app.record import SpecimenRecord
from cubital.app.taking import LONGEST, Takings
from cubital.app.taking_labels import print_filled
from cubital.app.taking_rules import Told, instant_of
from cubital.app.taking_steps import least_fill_ul, settled, steps_of
from cubital.app.wiring import open_record, open_site, open_takings, order_of_words, upgrade_store
from cubital.errors import KeyReused, RecordUnavailable, TakingError, TubeTaken, WrongPatient
from cubital.model.taking import Taking, TapKind
from tests.contract.events import MORNING, Clock
from tests.unit.app.identity_cases import REQUEST

SITE = open_site(demo=True)
DAY = date(2026, 11, 25)
SAID = Said(*REQUEST, "Ottoline Invented", "1958-03-02")
ONE, OTHER = "device-1", "device-2"


class Chair:
    """Draws in hand on a new record, with a clock that the test moves."""

    def __init__(self, address: str) -> None:
        self.clock = Clock(MORNING)
        self.record: SpecimenRecord = open_record(address, now=self.clock)
        self.takings: Takings = open_takings(address, record=self.record, now=self.clock)

    def begin(self, *tests: str, **fields: Any) -> Taking:
        """A new draw of these tests with a winged set, where a discard comes first."""
        words = {"tests": list(tests or ("PT", "K", "CBC")), "access": "winged-set", **fields}
        order = order_of_words(words, where="test", today=DAY)
        return self.takings.begin(order, plan_order(order, SITE, today=DAY), by="ann", site_version=2)

    def tap(self, taking: Taking, kind: TapKind, step: int, *, station: str = ONE, **told: Any) -> Any:
        """Tap at the moment of the clock, under a key of its own."""
        said = SAID if kind == "identified" else None
        values: dict[str, Any] = {
            "key": f"{station}/{taking.code}/{kind}/{step}", "code": taking.code, "kind": kind, "step": step,
            "device_at": self.clock.at, "device_now": self.clock.at, "by": "ann", "station": station, "said": said,
        }  # fmt: skip
        return self.takings.tap(Told(**values | told))

    def fill_all(self, taking: Taking) -> None:
        """Check the patient and fill every tube."""
        self.tap(taking, "identified", 1)
        for step in steps_of(taking):
            self.tap(taking, "filled", step.number)


@pytest.fixture
def chair(tmp_path: Path) -> Iterator[Chair]:
    """A new record in a file."""
    address = str(tmp_path / "record.db")
    upgrade_store(address)
    found = Chair(address)
    yield found
    found.takings.close()
    found.record.close()


def test_each_filled_tube_becomes_a_specimen_and_a_discard_none(chair: Chair) -> None:
    taking = chair.begin()
    assert next(step.tube.purpose for step in steps_of(taking)) == "discard"
    chair.fill_all(taking)
    names = [step.specimen for step in steps_of(taking) if step.specimen is not None]
    assert [specimen.id for specimen in chair.record.specimens_of("X-000123")] == names
    assert names == [f"{taking.code}-{number}" for number in range(2, len(taking.plan.tubes) + 1)]
    first = chair.record.specimen(names[0])
    assert first is not None
    assert (first.tests, first.collected_at) == (("prothrombin-time",), MORNING)


def test_a_tap_sent_again_is_the_same_tap_and_doubles_nothing(chair: Chair) -> None:
    taking = chair.begin()
    chair.fill_all(taking)
    head = chair.record.head()
    chair.clock.at += timedelta(minutes=5)
    assert chair.tap(taking, "filled", 2, device_at=MORNING).at == MORNING
    assert chair.record.head() == head
    assert len(chair.takings.look(taking.code)[1]) == 1 + len(taking.plan.tubes)
    with pytest.raises(KeyReused):
        chair.tap(taking, "filled", 3, key=f"{ONE}/{taking.code}/filled/2")


def test_an_answer_lost_between_the_tap_and_the_record_is_made_good_by_sending_again(
    chair: Chair, monkeypatch: pytest.MonkeyPatch
) -> None:
    taking = chair.begin("K", access="straight-needle")
    chair.tap(taking, "identified", 1)
    with monkeypatch.context() as broken:
        broken.setattr(chair.record, "append", lambda *steps: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            chair.tap(taking, "filled", 1)
    assert chair.record.specimen(f"{taking.code}-1") is None
    chair.tap(taking, "filled", 1)
    assert chair.record.specimen(f"{taking.code}-1") is not None


def test_a_draw_is_not_closed_before_all_that_was_filled_is_in_the_record(
    chair: Chair, monkeypatch: pytest.MonkeyPatch
) -> None:
    taking = chair.begin("K", access="straight-needle")
    chair.tap(taking, "identified", 1)
    with monkeypatch.context() as broken:
        broken.setattr(chair.record, "append", lambda *steps: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            chair.tap(taking, "filled", 1)
        with pytest.raises(ZeroDivisionError):
            chair.tap(taking, "set-aside", 0, why="other")
    chair.tap(taking, "set-aside", 0, why="other")
    assert chair.record.specimen(f"{taking.code}-1") is not None


def test_of_two_devices_one_wins_a_tube_and_the_other_is_told_who_was_first(chair: Chair) -> None:
    taking = chair.begin()
    for station in (ONE, OTHER):
        chair.tap(taking, "identified", 1, station=station)
    chair.tap(taking, "filled", 1)
    with pytest.raises(TubeTaken, match=r"ann at device-1 was first: filled at .*; do not label this tube") as told:
        chair.tap(taking, "filled", 1, station=OTHER)
    assert (told.value.station, told.value.at) == (ONE, MORNING)
    with pytest.raises(TubeTaken):
        chair.tap(taking, "not-drawn", 1, station=OTHER, why="vein")
    chair.tap(taking, "filled", 2, station=OTHER)
    with pytest.raises(TubeTaken, match="device-2 was first"):
        chair.tap(taking, "filled", 2)
    assert len(chair.record.history(f"{taking.code}-2")) == 1


def printed(chair: Chair, taking: Taking, step: int, *, by: str = "ann", station: str = ONE) -> bytes:
    return print_filled(
        chair.takings, SITE, taking.code, [step], stock=DEFAULT_STOCK, by=by, station=station, today=DAY
    )


def test_tubes_are_taken_in_order_and_one_may_be_left_out_with_a_reason(chair: Chair) -> None:
    taking = chair.begin()
    chair.tap(taking, "identified", 1)
    with pytest.raises(TakingError, match="not settled"):
        chair.tap(taking, "filled", 2)
    with pytest.raises(TakingError, match="no reason; expected one of vein"):
        chair.tap(taking, "not-drawn", 1)
    chair.tap(taking, "not-drawn", 1, why="missing")
    chair.tap(taking, "not-drawn", 2, why="underfilled")
    assert chair.record.specimen(f"{taking.code}-2") is None
    tap = settled(chair.takings.look(taking.code)[1], 2)
    assert tap is not None
    assert (tap.kind, tap.why) == ("not-drawn", "underfilled")
    for step in (0, 99):
        with pytest.raises(TakingError, match=f"found tube {step}"):
            chair.tap(taking, "filled", step)


def test_labels_are_printed_after_filling_and_a_wrong_one_stops(chair: Chair) -> None:
    taking = chair.begin()

    def pdf(*numbers: int) -> bytes:
        told: dict[str, Any] = {"stock": "roll-50x25", "by": "ann", "station": ONE, "today": DAY}
        return print_filled(chair.takings, SITE, taking.code, numbers, **told)

    with pytest.raises(TakingError, match="no check of two identifiers"):
        pdf(2)
    chair.tap(taking, "identified", 1)
    with pytest.raises(TakingError, match="expected a label after filling"):
        pdf(2)
    with pytest.raises(TakingError, match="expected the tube to be filled first"):
        chair.tap(taking, "labelled", 2, scanned=f"{taking.code}-2")
    chair.tap(taking, "filled", 1)
    chair.tap(taking, "filled", 2)
    assert pdf(2).startswith(b"%PDF")
    with pytest.raises(TakingError, match="expected a label after filling"):
        pdf(1)
    with pytest.raises(TakingError, match="found no tube"):
        pdf()
    for wrong in (f"{taking.code}-3", "", "X-000123"):
        with pytest.raises(WrongPatient, match="another tube or patient"):
            chair.tap(taking, "labelled", 2, scanned=wrong)
    chair.tap(taking, "labelled", 2, scanned=f" {taking.code.lower()}-2 ")
    kinds = [tap.kind for tap in chair.takings.look(taking.code)[1]]
    assert kinds == ["identified", "filled", "filled", "printed", "labelled"]


def test_a_draw_ends_when_every_tube_is_settled_and_labelled_and_then_forgets_whose_it_was(chair: Chair) -> None:
    taking = chair.begin()
    chair.fill_all(taking)
    with pytest.raises(TakingError, match="without their label"):
        chair.tap(taking, "finished", 0)
    assert [found.code for found, _ in chair.takings.waiting()] == [taking.code]
    for step in steps_of(taking):
        if step.specimen is not None:
            chair.tap(taking, "labelled", step.number, scanned=step.specimen)
    chair.tap(taking, "finished", 0)
    assert chair.takings.waiting() == ()
    assert chair.takings.look(taking.code)[0].identity is None
    chair.tap(taking, "filled", 2)
    with pytest.raises(TakingError, match="a draw that is closed"):
        chair.tap(taking, "filled", 2, station=OTHER)


def test_a_draw_left_open_is_closed_in_the_end_and_whose_it_was_is_forgotten(chair: Chair) -> None:
    taking = chair.begin()
    chair.tap(taking, "identified", 1)
    chair.clock.at += LONGEST
    assert len(chair.takings.waiting()) == 1
    chair.clock.at += timedelta(seconds=1)
    assert chair.takings.waiting() == ()
    found, _ = chair.takings.look(taking.code)
    assert (found.identity, found.closed_at) == (None, chair.clock.at)


def test_a_draw_left_open_is_closed_only_once_all_that_was_filled_is_in_the_record(
    chair: Chair, monkeypatch: pytest.MonkeyPatch
) -> None:
    taking = chair.begin("K", access="straight-needle")
    chair.tap(taking, "identified", 1)

    def fail(*steps: object) -> None:
        raise RecordUnavailable("found no record", where="test")

    with monkeypatch.context() as broken:
        broken.setattr(chair.record, "append", fail)
        with pytest.raises(RecordUnavailable):
            chair.tap(taking, "filled", 1)
        chair.clock.at += LONGEST + timedelta(seconds=1)
        assert [found.code for found, _ in chair.takings.waiting()] == [taking.code]
        assert chair.takings.look(taking.code)[0].identity is not None
    assert chair.takings.waiting() == ()
    assert chair.takings.look(taking.code)[0].identity is None
    assert chair.record.specimen(f"{taking.code}-1") is not None


@pytest.mark.parametrize("code", ["", "NONE22", "ÄÖ"])
def test_a_draw_that_is_not_there_is_refused(chair: Chair, code: str) -> None:
    with pytest.raises(TakingError, match="no such draw"):
        chair.takings.look(code)


MINUTE = timedelta(minutes=1)


@pytest.mark.parametrize(
    ("tapped", "sent", "now", "found"),
    [
        (2 * MINUTE, 2 * MINUTE, 2 * MINUTE, 2 * MINUTE),
        # Sent an hour later, after a dropped connection: the instant of the tap stays.
        (2 * MINUTE, 62 * MINUTE, 62 * MINUTE, 2 * MINUTE),
        # A device three minutes ahead: as long ago as it says, by the server's clock.
        (5 * MINUTE, 6 * MINUTE, 3 * MINUTE, 2 * MINUTE),
        # A device that stands in another year.
        (-600_000 * MINUTE, -599_990 * MINUTE, 12 * MINUTE, 2 * MINUTE),
        # A few seconds ahead agree, and no tap lies in the future.
        (2 * MINUTE + timedelta(seconds=4), 2 * MINUTE + timedelta(seconds=4), 2 * MINUTE, 2 * MINUTE),
    ],
)
def test_a_tap_keeps_its_instant_by_the_clock_of_the_server(
    chair: Chair, tapped: timedelta, sent: timedelta, now: timedelta, found: timedelta
) -> None:
    taking = chair.begin("K")
    told = Told(
        key="k", code=taking.code, kind="filled", step=1, device_at=MORNING + tapped, device_now=MORNING + sent,
        by="ann", station=ONE,
    )  # fmt: skip
    assert instant_of(told, taking, MORNING + now) == MORNING + found


@pytest.mark.parametrize(
    ("tapped", "sent", "said"),
    [(10 * MINUTE, 8 * MINUTE, "after the moment it was sent"), (-2 * MINUTE, 5 * MINUTE, "before the draw was begun")],
)
def test_an_absurd_time_is_refused(chair: Chair, tapped: timedelta, sent: timedelta, said: str) -> None:
    taking = chair.begin("K")
    chair.clock.at += 5 * MINUTE
    with pytest.raises(TakingError, match=said):
        chair.tap(taking, "identified", 1, device_at=MORNING + tapped, device_now=MORNING + sent)


def test_both_times_of_a_tap_are_kept_where_they_differ(chair: Chair) -> None:
    taking = chair.begin("K", access="straight-needle")
    chair.clock.at += 10 * MINUTE
    ahead: datetime = chair.clock.at + 60 * MINUTE
    tap = chair.tap(taking, "identified", 1, device_at=ahead - MINUTE, device_now=ahead)
    assert (tap.at, tap.device_at, tap.received_at) == (
        chair.clock.at - MINUTE, ahead - MINUTE, chair.clock.at,
    )  # fmt: skip
    assert chair.takings.look(taking.code)[1] == (tap,)


def test_the_least_fill_is_the_tube_s_own_and_rounded_up(chair: Chair) -> None:
    tubes = {tube.kind: tube for tube in chair.begin().plan.tubes if tube.purpose == "collect"}
    citrate = next(tube for tube in tubes.values() if tube.fill_min_percent is not None)
    assert least_fill_ul(citrate) == -(-citrate.draw_ul * 90 // 100)
    assert any(least_fill_ul(tube) is None for tube in tubes.values())


def test_nothing_of_the_patient_is_in_a_repr(chair: Chair) -> None:
    taking = chair.begin("K")
    chair.tap(taking, "identified", 1)
    assert "X-000123" not in repr(chair.takings.look(taking.code)[0])
