"""Draws in hand and their taps, alike in SQLite and PostgreSQL."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Iterator
from datetime import date
from decimal import Decimal

import pytest
from msgspec.structs import replace

from cubital.app.draws import plan_order
from cubital.app.patient_check import Said
from cubital.app.record import SpecimenRecord
from cubital.app.taking import Takings
from cubital.app.taking_rules import Told
from cubital.app.wiring import open_record, open_site, open_takings, order_of_words
from cubital.errors import KeyReused, TakingError, TubeTaken, UnreadyRecord
from cubital.model.taking import Taking
from cubital.store.engine import open_engine
from cubital.store.takings import sql_takings
from tests.contract import hands
from tests.contract.events import MORNING, Clock

MINUTE = datetime.timedelta(minutes=1)
SITE = open_site(demo=True)
SAID = Said("Invented, Ottoline", "X-1", "1958-03-02", "Ottoline Invented", "X-1")


@pytest.fixture
def record(address: str, clock: Clock) -> Iterator[SpecimenRecord]:
    """A new record."""
    found = open_record(address, now=clock)
    yield found
    found.close()


@pytest.fixture
def takings(address: str, record: SpecimenRecord, clock: Clock) -> Iterator[Takings]:
    """No draw in hand yet."""
    found = open_takings(address, record=record, now=clock)
    yield found
    found.close()


def begin(takings: Takings, site_version: int | None = 4, key: str | None = None) -> Taking:
    order = order_of_words(
        {"tests": ["PT", "K", "CBC"], "patient": {"hematocrit": Decimal("0.6"), "age": "68 a"}}, where="test",
        today=date(2026, 3, 2),
    )  # fmt: skip
    return takings.begin(order, plan_order(order, SITE), by="ann", site_version=site_version, key=key)


def told(taking: Taking, kind: str, step: int, station: str = "one") -> Told:
    said = SAID if kind == "identified" else None
    return Told(
        key=f"{station}/{kind}/{step}", code=taking.code, kind=kind, step=step,  # type: ignore[arg-type]
        device_at=MORNING, device_now=MORNING, by="ann", station=station, said=said,
    )  # fmt: skip


def test_what_is_kept_comes_back_as_it_was(takings: Takings) -> None:
    taking = begin(takings)
    assert takings.look(taking.code) == (taking, ())
    first = takings.tap(told(taking, "identified", 1))
    second = takings.tap(told(taking, "filled", 1))
    found, taps = takings.look(taking.code)
    assert taps == (first, second)
    assert found.identity is not None
    assert replace(found, identity=None) == taking
    assert found.identity.birth_date == datetime.date(1958, 3, 2)


def test_of_many_that_begin_at_once_under_one_key_all_get_the_same_draw(
    address: str, takings: Takings, clock: Clock, record: SpecimenRecord
) -> None:
    found: list[str] = []
    gate = threading.Barrier(6)

    def press() -> None:
        own = open_takings(address, record=record, now=clock)
        gate.wait()
        found.append(begin(own, key="one-key").code)
        own.close()

    threads = [threading.Thread(target=press) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [taking.code for taking, _ in takings.waiting()] * 6
    first, second = begin(takings), begin(takings)
    assert first.code != second.code
    with pytest.raises(KeyReused, match="the key of another draw"):
        takings.begin(first.order, first.plan, by="bob", key="one-key")


@pytest.mark.parametrize("number", [None, 0, 12])
def test_the_version_of_the_site_comes_back_with_the_draw(takings: Takings, number: int | None) -> None:
    assert takings.look(begin(takings, number).code)[0].site_version == number


def test_the_checks_of_one_device_are_asked_for_within_a_time_and_no_more_are_read(
    address: str, takings: Takings, clock: Clock
) -> None:
    taking, other = begin(takings), begin(takings)
    for minute, one in enumerate((taking, other, taking)):
        clock.at = MORNING + 10 * minute * MINUTE
        times = {"device_at": clock.at, "device_now": clock.at}
        takings.tap(replace(told(one, "identified", 1), key=f"checks-{minute}", **times))
    takings.tap(replace(told(other, "mismatched", 1), key="failed", device_at=clock.at, device_now=clock.at))
    takings.tap(replace(told(taking, "identified", 1, "two"), device_at=clock.at, device_now=clock.at))
    store = sql_takings(open_engine(address))
    with store.reading() as book:
        found = {
            since: [
                tap.key
                for tap in book.checks(by="ann", station="one", since=MORNING + since * MINUTE, until=clock.at)
            ]
            for since in (0, 1, 10, 11, 21)
        }
        nobody = book.checks(by="bob", station="one", since=MORNING, until=clock.at)
        early = book.checks(by="ann", station="one", since=MORNING, until=MORNING + 19 * MINUTE)
    store.close()
    assert found == {
        0: ["checks-0", "checks-1", "checks-2", "failed"], 1: ["checks-1", "checks-2", "failed"],
        10: ["checks-1", "checks-2", "failed"], 11: ["checks-2", "failed"], 21: [],
    }  # fmt: skip
    assert (nobody, [tap.key for tap in early]) == ((), ["checks-0", "checks-1"])


def test_of_many_devices_that_tap_at_once_one_wins_each_tube(
    address: str, record: SpecimenRecord, takings: Takings, clock: Clock
) -> None:
    taking = begin(takings)
    stations = [f"device-{number}" for number in range(6)]
    for station in stations:
        takings.tap(told(taking, "identified", 1, station))
    won: list[str] = []
    lost: list[str] = []
    gate = threading.Barrier(len(stations))

    def race(station: str) -> None:
        own_record = open_record(address, now=clock)
        own = open_takings(address, record=own_record, now=clock)
        gate.wait()
        try:
            own.tap(told(taking, "filled", 1, station))
            won.append(station)
        except TubeTaken as error:
            lost.append(error.station)
        finally:
            own.close()
            own_record.close()

    threads = [threading.Thread(target=race, args=(station,)) for station in stations]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 1
    assert lost == won * 5
    assert [entry.content.station for entry in record.history(f"{taking.code}-1")] == won


def test_a_draw_that_another_edition_wrote_is_left_out_and_its_words_are_not_repeated(
    address: str, takings: Takings
) -> None:
    taking, whole = begin(takings), begin(takings)
    hands.run(address, f"UPDATE taking SET body = '{{\"Ottoline\": 1}}' WHERE code = '{taking.code}'")
    found = {one.code for one, _ in takings.waiting()}
    assert whole.code in found
    assert taking.code not in found
    with pytest.raises(TakingError, match="another edition") as refused:
        takings.look(taking.code)
    assert "Ottoline" not in str(refused.value)


def test_a_database_without_the_tables_says_so(address: str, takings: Takings) -> None:
    begin(takings)
    hands.run(address, "ALTER TABLE tap RENAME TO lost")
    try:
        with pytest.raises(UnreadyRecord, match="no tables of a record"):
            takings.waiting()
    finally:
        # The tests after this one share the database of PostgreSQL.
        hands.run(address, "ALTER TABLE lost RENAME TO tap")
