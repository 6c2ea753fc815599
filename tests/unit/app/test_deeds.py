"""What was done at the bench: written once, told to the loser of a race, and the board goes on from it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cubital.app.bench_board import look_at_board
from cubital.app.deeds import (
    Doer,
    deed_document,
    named_test,
    record_discard,
    record_pouring,
    record_result,
    record_spin,
    record_storage,
)  # fmt: skip
from cubital.app.known import Shelf
from cubital.app.receipt import record_receipt
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, upgrade_store
from cubital.errors import ImpossibleEvent, KeyReused, OrderError, RecordError
from tests.contract.events import MORNING, Clock, collected, in_order
from tests.published.shipped import SHIPPED
from tests.unit.app.test_bench import WHO
from tests.unit.handling.test_receipt import GOOD

RUN = {"rcf_g": 1500, "spin_s": 600, "temperature_c": 20}


@pytest.fixture
def record(tmp_path: Path) -> Iterator[SpecimenRecord]:
    address = str(tmp_path / "record.db")
    upgrade_store(address)
    found = open_record(address, now=Clock(MORNING + timedelta(hours=9)))
    for id in ("T1", "T2"):
        found.append(*in_order(collected(id, patient="p")))
    yield found
    found.close()


def at(minutes: float) -> datetime:
    return MORNING + timedelta(minutes=minutes)


def doer(minutes: float = 60, *, by: str = "ann", key: str | None = None) -> Doer:
    return Doer(by, "bench", at(minutes), key)


def receive(record: SpecimenRecord, id: str = "T1") -> None:
    record_receipt(record, Shelf(record=record).find(id), SHIPPED, GOOD, WHO)


def steps_on_the_board(record: SpecimenRecord, minutes: float) -> dict[str, str]:
    view = look_at_board(Shelf(record=record).waiting(), SHIPPED, now=at(minutes))
    return {line.specimen: line.step for line in view.page.lines}


def test_after_a_run_the_board_goes_on_to_the_test(record: SpecimenRecord) -> None:
    receive(record)
    assert steps_on_the_board(record, 31) == {"T1": "spin", "T2": "deliver"}
    told = record_spin(record, ("T1", "T2"), doer(), **RUN)
    assert [len(one.spins) for one in told.specimens] == [1, 1]
    assert steps_on_the_board(record, 61) == {"T1": "test", "T2": "test"}


def test_a_retry_keeps_the_first_instant_and_writes_nothing(record: SpecimenRecord) -> None:
    record_spin(record, ("T1",), doer(60), **RUN)
    head = record.head()
    again = record_spin(record, ("T1",), doer(75), **RUN)
    assert again.is_repeat
    assert record.head() == head
    assert again.specimens[0].spins[0].at == at(60)


def test_the_same_run_told_otherwise_is_refused(record: SpecimenRecord) -> None:
    record_spin(record, ("T1",), doer(), **RUN)
    with pytest.raises(KeyReused):
        record_spin(record, ("T1",), doer(), **{**RUN, "rcf_g": 2000})


def test_a_gel_tube_is_not_spun_again_even_under_a_key_of_its_own(record: SpecimenRecord) -> None:
    record_spin(record, ("T1",), doer(), **RUN)
    with pytest.raises(ImpossibleEvent, match="a gel tube spun before"):
        record_spin(record, ("T1",), doer(key="second"), **RUN)


def test_a_run_with_one_tube_that_cannot_be_spun_writes_nothing(record: SpecimenRecord) -> None:
    record_discard(record, ("T2",), doer(), why="broken")
    head = record.head()
    with pytest.raises(ImpossibleEvent):
        record_spin(record, ("T1", "T2"), doer(), **RUN)
    assert record.head() == head


@pytest.mark.parametrize("wrong", [{"rcf_g": 0}, {"rcf_g": -1500}, {"spin_s": 0}, {"temperature_c": 60}])
def test_a_run_that_no_centrifuge_makes_is_refused(record: SpecimenRecord, wrong: dict[str, int]) -> None:
    with pytest.raises(OrderError, match="expected"):
        record_spin(record, ("T1",), doer(), **{**RUN, **wrong})


def test_a_move_to_where_it_is_recorded_to_be_writes_nothing(record: SpecimenRecord) -> None:
    record_storage(record, ("T1",), doer(61), storage="cold")
    again = record_storage(record, ("T1",), doer(65), storage="cold")
    assert again.is_repeat
    record_storage(record, ("T1",), doer(70), storage="ambient")
    told = record_storage(record, ("T1",), doer(80), storage="cold")
    assert [(stay.storage, stay.since) for stay in told.specimens[0].stays] == [
        ("cold", at(61)), ("ambient", at(70)), ("cold", at(80)),
    ]  # fmt: skip


def test_an_aliquot_takes_its_tests_along_and_its_tube_no_longer_waits_for_them(record: SpecimenRecord) -> None:
    receive(record)
    record_spin(record, ("T1",), doer(), **RUN)
    told = record_pouring(record, "T1", doer(62), into="T1a", volume_ul=300, tests=("potassium",))
    assert {one.id: (one.left_ul, one.waiting) for one in told.specimens} == {
        "T1": (700, ("sodium",)), "T1a": (300, ("potassium",)),
    }  # fmt: skip
    again = record_pouring(record, "T1", doer(64), into="T1a", volume_ul=300, tests=("potassium",))
    assert again.is_repeat
    assert {one.id for one in again.specimens} == {"T1", "T1a"}


@pytest.mark.parametrize("volume_ul", [0, -5, 1001])
def test_no_less_than_nothing_and_no_more_than_is_there_is_poured(record: SpecimenRecord, volume_ul: int) -> None:
    with pytest.raises((OrderError, ImpossibleEvent)):
        record_pouring(record, "T1", doer(), into="T1a", volume_ul=volume_ul)


def test_a_result_is_written_once_and_only_of_what_was_accepted(record: SpecimenRecord) -> None:
    with pytest.raises(ImpossibleEvent, match="no verdict"):
        record_result(record, "T1", doer(), test="potassium", volume_ul=10)
    receive(record)
    record_result(record, "T1", doer(90), test="potassium", volume_ul=10)
    again = record_result(record, "T1", doer(95), test="potassium", volume_ul=10)
    assert again.is_repeat
    assert again.specimens[0].left_ul == 990


def test_a_discard_says_why_and_nothing_follows_it(record: SpecimenRecord) -> None:
    with pytest.raises(OrderError, match="why"):
        record_discard(record, ("T1",), doer(), why=" ")
    record_discard(record, ("T1",), doer(), why="broken")
    with pytest.raises(ImpossibleEvent, match="discarded"):
        record_storage(record, ("T1",), doer(70), storage="cold")
    assert record_discard(record, ("T1",), doer(75), why="broken").is_repeat


def test_nobody_and_no_specimen_are_refused(record: SpecimenRecord) -> None:
    with pytest.raises(OrderError, match="nobody"):
        record_storage(record, ("T1",), doer(by=" "), storage="cold")
    with pytest.raises(RecordError, match="no specimen"):
        record_storage(record, ("T1", "T9"), doer(), storage="cold")
    for ids in ((), ("T1", "T1")):
        with pytest.raises(OrderError, match="each once"):
            record_storage(record, ids, doer(), storage="cold")


def test_a_test_is_meant_by_its_word_and_a_panel_is_refused(record: SpecimenRecord) -> None:
    assert named_test(record, "T1", "K", SHIPPED) == "potassium"
    record.append(*in_order(collected("T3", tests=("house-test",))))
    assert named_test(record, "T3", "house-test", SHIPPED) == "house-test"
    panel = next(iter(SHIPPED.panels))
    with pytest.raises(OrderError, match="panel"):
        named_test(record, "T1", panel, SHIPPED)


def test_the_document_names_no_patient(record: SpecimenRecord) -> None:
    told: dict[str, Any] = deed_document(record_storage(record, ("T1",), doer(), storage="ice"))
    assert told == {
        "format": "cubital.did/1", "repeat": False,
        "specimens": [
            {
                "specimen": "T1", "left_ul": 1000, "storage": "ice", "spins": 0, "parent": None,
                "waiting": ["potassium", "sodium"], "reported": [], "discarded": None,
            }
        ],
    }  # fmt: skip
