"""Board, receipt, adding on and redraw on a real record: written once, told to the loser of a race, repeated safely."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.app.addon import answer_addon
from cubital.app.bench_board import board_document, look_at_board
from cubital.app.known import Known, Shelf, instant_text
from cubital.app.receipt import Person, compare_label, receipt_document, receive, record_receipt
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, upgrade_store
from cubital.errors import ImpossibleEvent, LostRace, ReceiptError, RecordError
from cubital.model import Ask, Order
from cubital.model.specimen import Added, Aliquoted, Judged, Received, Reported, Spun, Verdict
from tests.contract.events import MORNING, Clock, collected, in_order, said
from tests.published.shipped import SHIPPED
from tests.unit.handling.test_receipt import GOOD, label

SOON = MORNING + timedelta(minutes=30)
WHO = Person(by="ann", station="reception")


@pytest.fixture
def record(tmp_path: Path) -> Iterator[SpecimenRecord]:
    """A new record in a file, whose clock stands at half past seven."""
    address = str(tmp_path / "record.db")
    upgrade_store(address)
    found = open_record(address, now=Clock(MORNING + timedelta(hours=5)))
    yield found
    found.close()


def draw(record: SpecimenRecord, id: str = "T1", *tests: str, **told: Any) -> Known:
    tests = tests or ("potassium", "sodium")
    record.append(*in_order(collected(id, tests=tests, patient="p", **told)))
    return Shelf(record=record).find(id)


def spin(record: SpecimenRecord, id: str, minutes: int = 40) -> None:
    known = Shelf(record=record).find(id).specimen
    told = said(id, "spun", at=MORNING + timedelta(minutes=minutes))
    event = Spun(rcf_g=1500, spin_s=600, temperature_c=20, **told)
    record.append(*in_order(event, after=known.events))


def test_a_receipt_is_written_with_its_verdicts_in_one_step(record: SpecimenRecord) -> None:
    known = draw(record)
    found = record_receipt(record, known, SHIPPED, GOOD, WHO)
    assert found.is_recorded
    assert not found.is_refused
    kinds = [type(entry.content) for entry in record.history("T1")]
    assert kinds[1:] == [Received, Judged]
    state = record.specimen("T1")
    assert state is not None
    assert state.received_at == GOOD.at
    assert {v.outcome for v in state.verdicts.values()} == {"accept"}


def test_a_receipt_sent_again_changes_nothing_and_gets_the_first_answer(record: SpecimenRecord) -> None:
    known = draw(record)
    first = record_receipt(record, known, SHIPPED, replace(GOOD, label=label(agree=1)), WHO)
    head = record.head()
    again = record_receipt(record, known, SHIPPED, replace(GOOD, at=SOON + timedelta(minutes=9)), WHO)
    assert again.is_repeat
    assert record.head() == head
    assert [(j.test, j.outcome, j.wording) for j in again.judgements] == [
        (j.test, j.outcome, j.wording) for j in first.judgements
    ]
    assert again.arrival.at == GOOD.at


def test_of_two_stations_that_receive_one_tube_the_second_is_told(record: SpecimenRecord) -> None:
    known = draw(record)
    record_receipt(record, known, SHIPPED, GOOD, WHO)
    with pytest.raises(LostRace, match="ann at reception was first"):
        record_receipt(record, known, SHIPPED, GOOD, Person(by="bob", station="night"), key="receive/night/T1")


def test_a_specimen_is_judged_again_under_a_new_key_when_its_indices_are_known(record: SpecimenRecord) -> None:
    record_receipt(record, draw(record), SHIPPED, GOOD, WHO)
    later = replace(GOOD, at=SOON, indices={"hemolysis": 6})
    found = record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, later, WHO, key="indices/T1")
    assert {j.test: j.outcome for j in found.judgements} == {"potassium": "refuse", "sodium": "accept"}
    assert [type(entry.content) for entry in record.history("T1")][1:] == [Received, Judged, Judged]


def test_nothing_is_received_that_waits_for_nothing(record: SpecimenRecord) -> None:
    known = draw(record)
    refused = record_receipt(record, known, SHIPPED, replace(GOOD, label=label(agree=1)), WHO)
    assert refused.is_refused
    with pytest.raises(RecordError, match="refused for its identity, which stands"):
        record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, GOOD, WHO, key="again")


def test_an_exception_is_written_with_its_second_person(record: SpecimenRecord) -> None:
    known = draw(record, irreplaceable="drawn with the cerebrospinal fluid")
    person = Person(by="ann", station="reception", second="ben", why="the ward asked")
    late = replace(GOOD, at=MORNING + timedelta(hours=3))
    found = record_receipt(record, known, SHIPPED, late, person)
    assert {j.outcome for j in found.judgements} == {"comment"}
    content = record.history("T1")[-1].content
    assert isinstance(content, Judged)
    assert content.second == "ben"


def test_an_exception_for_a_wrong_label_is_refused_and_nothing_is_written(record: SpecimenRecord) -> None:
    known = draw(record, irreplaceable="cord blood")
    person = Person(by="ann", station="reception", second="ben", why="the ward asked")
    head = record.head()
    with pytest.raises(ReceiptError, match="no exception"):
        record_receipt(record, known, SHIPPED, replace(GOOD, label=label(differ=1)), person)
    assert record.head() == head


def test_a_label_is_compared_and_only_counted() -> None:
    assert compare_label({"name": "Roe  Ann", "number": "17"}, {"name": "ROE ann", "number": "17"}) == (2, 0)
    assert compare_label({"name": "", "number": "18"}, {"name": "", "number": "17"}) == (0, 1)
    assert compare_label({"born": "1990-01-01"}, {"number": "17"}) == (0, 0)


def test_a_board_of_the_record_shows_what_waits(record: SpecimenRecord) -> None:
    draw(record)
    draw(record, "T2", "parathyrin", kind="edta", additive="k2-edta", gel=False)
    view = look_at_board(Shelf(record=record).waiting(), SHIPPED, now=MORNING + timedelta(minutes=112))
    told = board_document(view)
    assert (told["format"], told["late"], told["due"]) == ("cubital.board/1", 1, 1)
    (late, due) = told["lines"]
    assert (late["specimen"], late["urgency"], late["step"]) == ("T1", "late", "deliver")
    assert late["begin_by"] == "2026-03-02T08:50:00Z"
    assert late["save"][0] == {
        "test": "potassium", "due": "2026-03-02T09:00:00Z", "by": "separate", "until": "2026-03-03T08:52:00Z",
        "known": True,
    }  # fmt: skip
    assert due["save"] == []


def test_an_aliquot_of_the_record_keeps_by_when_it_was_poured(record: SpecimenRecord) -> None:
    draw(record, "T1", "chloride", kind="heparin", gel=False)
    record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, GOOD, WHO)
    spin(record, "T1")
    state = record.specimen("T1")
    assert state is not None
    poured = Aliquoted(
        child="T1-1", volume_ul=100, tests=("chloride",), **said("T1", "poured", at=MORNING + timedelta(minutes=60))
    )
    record.append(*in_order(poured, after=state.events))
    known = Shelf(record=record).find("T1-1")
    assert known.specimen.separated_at == MORNING + timedelta(minutes=60)
    assert known.life.separated_s == 3600
    view = look_at_board(Shelf(record=record).waiting(), SHIPPED, now=MORNING + timedelta(hours=4))
    assert [(line.specimen, line.urgency) for line in view.page.lines] == [("T1-1", "due")]


def gel_on_the_shelf(record: SpecimenRecord, id: str = "T1") -> None:
    draw(record, id)
    record_receipt(record, Shelf(record=record).find(id), SHIPPED, GOOD, WHO)
    spin(record, id)


def answer(record: SpecimenRecord, *tests: str, now: datetime = MORNING + timedelta(hours=2)) -> Any:
    order = Order(asks=tuple(Ask(test=test) for test in tests))
    return answer_addon(order, Shelf(record=record).of_patient("p"), SHIPPED, now=now)


def test_a_receipt_of_a_file_is_judged_and_not_written(record: SpecimenRecord) -> None:
    known = draw(record)
    found = receive(known, SHIPPED, GOOD)
    assert not found.is_recorded
    told = receipt_document(found)
    assert (told["format"], told["recorded"], told["at"]) == ("cubital.receipt/1", False, instant_text(GOOD.at))
    assert len(record.history("T1")) == 1


TWO = Person(by="ann", station="reception", second="ben", why="the wrong tube was looked at")


def test_a_label_that_nobody_compared_is_never_written_down_as_a_refusal(record: SpecimenRecord) -> None:
    # Such a refusal would stand for ever, for want of a look.
    known = draw(record)
    with pytest.raises(ReceiptError, match="compared the label"):
        record_receipt(record, known, SHIPPED, replace(GOOD, label=None), WHO)
    assert len(record.history("T1")) == 1
    assert not record_receipt(record, known, SHIPPED, GOOD, WHO).is_refused


def test_a_refusal_by_mistake_is_judged_again_by_two_people_and_stays_in_the_history(record: SpecimenRecord) -> None:
    record_receipt(record, draw(record), SHIPPED, replace(GOOD, is_expired=True), WHO)
    known = Shelf(record=record).find("T1")
    with pytest.raises(RecordError, match="two people may judge a refused one again"):
        record_receipt(record, known, SHIPPED, GOOD, WHO, key="again")
    for person in (WHO, replace(TWO, second="ANN "), replace(TWO, why="")):
        with pytest.raises(ReceiptError):
            record_receipt(record, known, SHIPPED, GOOD, person, key="again", is_again=True)
    with pytest.raises(RecordError, match="found no key"):
        record_receipt(record, known, SHIPPED, GOOD, TWO, is_again=True)
    found = record_receipt(record, known, SHIPPED, GOOD, TWO, key="again", is_again=True)
    assert {j.outcome for j in found.judgements} == {"accept"}
    first, second = [e.content for e in record.history("T1") if isinstance(e.content, Judged)]
    assert {v.outcome for v in first.verdicts} == {"refuse"}
    assert (second.second, second.verdicts[0].reasons[-1].text) == (
        "ben", "judged again by ann and ben: the wrong tube was looked at",
    )  # fmt: skip
    assert record_receipt(record, known, SHIPPED, GOOD, TWO, key="again", is_again=True).is_repeat


def test_judging_again_does_not_excuse_what_can_be_drawn_again(record: SpecimenRecord) -> None:
    record_receipt(record, draw(record), SHIPPED, replace(GOOD, is_expired=True), WHO)
    known = Shelf(record=record).find("T1")
    found = record_receipt(
        record, known, SHIPPED, replace(GOOD, is_expired=True), TWO, key="again", is_again=True
    )  # fmt: skip
    assert {j.outcome for j in found.judgements} == {"refuse"}


def test_an_exception_can_still_be_made_after_the_refusal(record: SpecimenRecord) -> None:
    known = draw(record, irreplaceable="cord blood")
    record_receipt(record, known, SHIPPED, replace(GOOD, is_expired=True), WHO)
    known = Shelf(record=record).find("T1")
    seen = replace(GOOD, is_expired=True)
    found = record_receipt(record, known, SHIPPED, seen, TWO, key="exception", is_again=True)
    assert {j.outcome for j in found.judgements} == {"comment"}
    assert "cannot be drawn again (cord blood)" in str(found.judgements[0].reasons)


def test_a_refusal_for_identity_stands_against_everybody(record: SpecimenRecord) -> None:
    known = draw(record, irreplaceable="cord blood")
    record_receipt(record, known, SHIPPED, replace(GOOD, label=label(differ=1)), WHO)
    known = Shelf(record=record).find("T1")
    with pytest.raises(RecordError, match="for its identity, which stands"):
        record_receipt(record, known, SHIPPED, GOOD, TWO, key="again", is_again=True)
    for event in (
        Judged(verdicts=(Verdict(test="potassium", outcome="accept"),), **said("T1", "accept")),
        Added(tests=("iron",), **said("T1", "add")),
    ):
        with pytest.raises(ImpossibleEvent, match="refused for its identity"):
            record.append(*in_order(event, after=known.specimen.events))


def test_what_was_poured_off_a_tube_refused_for_identity_is_of_nobody_too(record: SpecimenRecord) -> None:
    known = draw(record)
    record_receipt(record, known, SHIPPED, GOOD, WHO)
    spin(record, "T1")
    state = Shelf(record=record).find("T1").specimen
    poured = Aliquoted(child="T1a", volume_ul=100, tests=("potassium",), **said("T1", "pour", at=SOON))
    record.append(*in_order(poured, after=state.events))
    wrong = replace(GOOD, label=label(differ=1))
    record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, wrong, WHO, key="found later")
    aliquot = Shelf(record=record).find("T1a").specimen
    for event in (
        Reported(test="potassium", volume_ul=10, **said("T1a", "report", at=SOON)),
        Added(tests=("iron",), **said("T1a", "add", at=SOON)),
    ):
        with pytest.raises(ImpossibleEvent, match="T1 refused for its identity"):
            record.append(*in_order(event, after=aliquot.events))


def test_blood_poured_before_it_was_spun_is_on_its_cells(record: SpecimenRecord) -> None:
    draw(record, "T1", "chloride", kind="heparin", gel=False)
    poured = Aliquoted(child="T1a", volume_ul=500, tests=("chloride",), **said("T1", "pour", at=MORNING))
    record.append(*in_order(poured, after=1))
    spin(record, "T1a", 90)
    known = Shelf(record=record).find("T1a")
    assert (known.specimen.separated_at, known.life.separated_s, known.life.is_separation_known) == (None, None, True)


def test_an_aliquot_of_an_aliquot_is_off_its_cells_since_the_first_one(record: SpecimenRecord) -> None:
    draw(record, "T1", "chloride", kind="heparin", gel=False)
    spin(record, "T1", 40)
    for number, (id, child, minutes) in enumerate((("T1", "T1a", 60), ("T1a", "T1b", 200))):
        after = 2 if number == 0 else 1
        told = said(id, "pour", at=MORNING + timedelta(minutes=minutes))
        event = Aliquoted(child=child, volume_ul=100, tests=("chloride",), **told)
        record.append(*in_order(event, after=after))
    assert Shelf(record=record).find("T1b").life.separated_s == 3600


def test_plasma_poured_off_a_spun_tube_of_whole_blood_serves_what_needs_plasma(record: SpecimenRecord) -> None:
    tube = {"kind": "edta", "additive": "k2-edta", "gel": False, "matrix": "whole-blood"}
    draw(record, "T1", "complete-blood-count", **tube)
    record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, GOOD, WHO)
    spin(record, "T1", 40)
    state = Shelf(record=record).find("T1").specimen
    poured = Aliquoted(child="T1a", volume_ul=400, tests=(), **said("T1", "pour", at=MORNING + timedelta(minutes=45)))
    record.append(*in_order(poured, after=state.events))
    assert Shelf(record=record).find("T1a").specimen.matrix == "plasma"
    found = answer(record, "bnp", now=MORNING + timedelta(hours=1))
    assert [(offer.specimen, offer.outcome) for offer in found.redraw.served] == [("T1a", "accept")]


def test_two_labels_that_nobody_compared_are_not_written_down_as_a_refusal(record: SpecimenRecord) -> None:
    known = draw(record)
    with pytest.raises(ReceiptError, match="2 labels that nobody compared"):
        record_receipt(record, known, SHIPPED, replace(GOOD, label=label(labels=2)), WHO)
    assert len(record.history("T1")) == 1


def test_how_it_came_is_kept_so_that_an_added_test_knows_it(record: SpecimenRecord) -> None:
    # Unspun blood that came cold: thyrotropin bears it, potassium does not.
    known = draw(record, "T1", "thyrotropin", kind="heparin-gel")
    assert not record_receipt(record, known, SHIPPED, replace(GOOD, came="cold"), WHO).is_refused
    state = Shelf(record=record).find("T1").specimen
    assert [(stay.storage, stay.since) for stay in state.stays] == [("cold", MORNING)]
    spin(record, "T1", 40)
    offer = answer(record, "potassium", now=MORNING + timedelta(hours=1)).redraw.offers["potassium"][0]
    assert offer.outcome == "refuse"
    assert "at 2-8 C" in offer.reasons[0].text


def test_a_tube_that_belonged_on_ice_gives_nothing_that_must_not_be_chilled(record: SpecimenRecord) -> None:
    draw(record, "T1", "lactate", usable_ul=1500)
    found = answer(record, "potassium", "lactate", now=MORNING + timedelta(minutes=20)).redraw.offers["potassium"][0]
    assert found.outcome == "refuse"
    assert "it belonged on ice for another test" in str(found.reasons)


def test_a_fault_of_the_whole_tube_is_said_once(record: SpecimenRecord) -> None:
    known = draw(record)
    record_receipt(record, known, SHIPPED, replace(GOOD, label=label(agree=1)), WHO)
    (offer,) = answer(record, "calcium").redraw.offers["calcium"]
    assert [reason.about for reason in offer.reasons] == ["identifiers"]
