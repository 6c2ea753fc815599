"""Adding tests to what is there and drawing again, on the record: what is booked, drawn, refused, never mixed."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.app.addon import ADDON_FORMAT, answer_addon, answer_document, record_addon, refused_tests
from cubital.app.known import Known, Shelf
from cubital.app.receipt import record_receipt
from cubital.app.record import SpecimenRecord
from cubital.errors import OrderError, RecordError
from cubital.handling.faults import age_faults
from cubital.model import Ask, Order
from tests.contract.events import MORNING, aliquoted, in_order
from tests.published.shipped import SHIPPED
from tests.unit.app.test_bench import SOON, WHO, answer, draw, gel_on_the_shelf, record, spin
from tests.unit.handling.test_receipt import GOOD, label

__all__ = ["record"]


def test_a_test_is_added_and_can_be_reported_and_a_retry_adds_nothing(record: SpecimenRecord) -> None:
    gel_on_the_shelf(record)
    found = answer(record, "creatinine", "calcium")
    known = Shelf(record=record).of_patient("p")
    booked = record_addon(record, found, known, by="ann", station="bench", key="add-1")
    assert booked.added == (("T1", ("creatinine", "calcium")),)
    state = record.specimen("T1")
    assert state is not None
    assert set(state.tests) == {"potassium", "sodium", "creatinine", "calcium"}
    assert state.verdicts["calcium"].outcome == "accept"
    head = record.head()
    again = record_addon(record, answer(record, "creatinine", "calcium"), known, by="ann", station="bench", key="add-1")
    assert (again.is_repeat, again.added) == (True, booked.added)
    assert record.head() == head


def test_an_answer_is_a_document_without_the_patient(record: SpecimenRecord) -> None:
    gel_on_the_shelf(record)
    told = answer_document(answer(record, "creatinine", "fibrinogen"), format=ADDON_FORMAT)
    assert told["format"] == "cubital.addon/1"
    assert [(o["test"], o["specimen"], o["answer"]) for o in told["served"]] == [("creatinine", "T1", "yes")]
    assert told["drawn"] == ["fibrinogen"]
    assert told["optimal"] is True
    assert '"p"' not in str(told)


def test_whole_blood_is_not_booked_before_it_is_spun(record: SpecimenRecord) -> None:
    tube = {"kind": "edta", "additive": "k2-edta", "gel": False, "matrix": "whole-blood", "hematocrit": None}
    from fractions import Fraction

    draw(record, "T1", "complete-blood-count", **{**tube, "hematocrit": Fraction(2, 5)})
    record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, GOOD, WHO)
    found = answer(record, "bnp", now=MORNING + timedelta(hours=1))
    assert found.redraw.served[0].outcome == "comment"
    with pytest.raises(RecordError, match="pour the plasma into an aliquot"):
        record_addon(record, found, Shelf(record=record).of_patient("p"), by="a", station="b", key="k")


def test_specimens_of_two_patients_are_never_mixed(record: SpecimenRecord) -> None:
    one = draw(record)
    other = Known(replace(one.specimen, id="T9", patient="q"))
    with pytest.raises(OrderError, match="several patients"):
        answer_addon(Order(asks=(Ask(test="creatinine"),)), [one, other], SHIPPED, now=SOON)


def test_what_was_refused_and_is_given_by_nothing_else_is_drawn_again(record: SpecimenRecord) -> None:
    draw(record)
    record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, replace(GOOD, label=label(agree=1)), WHO)
    assert refused_tests(Shelf(record=record).of_patient("p")) == ("potassium", "sodium")
    draw(record, "T2", "sodium")
    assert refused_tests(Shelf(record=record).of_patient("p")) == ("potassium",)
    draw(record, "T3", "potassium")
    with pytest.raises(OrderError, match="no refused test"):
        refused_tests(Shelf(record=record).of_patient("p"))


def test_a_specimen_or_a_patient_that_nobody_knows_is_refused(record: SpecimenRecord) -> None:
    for shelf in (Shelf(record=record), Shelf()):
        with pytest.raises(RecordError, match="no specimen 'T404'"):
            shelf.find("T404")
        with pytest.raises(RecordError, match="no specimen of this patient"):
            shelf.of_patient("nobody")


def test_an_added_test_is_judged_by_the_hemolysis_that_was_measured_at_receipt(record: SpecimenRecord) -> None:
    known = draw(record, "T1", "thyrotropin")
    record_receipt(record, known, SHIPPED, replace(GOOD, indices={"hemolysis": Decimal("0.7")}), WHO)
    spin(record, "T1")
    (offer,) = answer(record, "aspartate-aminotransferase").redraw.offers["aspartate-aminotransferase"]
    assert (offer.outcome, offer.reasons[0].about) == ("refuse", "hemolysis")
    # Judged again without a new measurement, the old one still counts.
    again = replace(GOOD, at=SOON, indices={"lipemia": Decimal(0)})
    found = record_receipt(record, Shelf(record=record).find("T1"), SHIPPED, again, WHO, key="again")
    assert "no limit is known: hemolysis 0.7 g/L" in found.judgements[0].wording


def test_what_is_not_known_of_an_index_is_said_once_for_all_the_tests_of_an_answer(record: SpecimenRecord) -> None:
    known = draw(record, "T1", "sodium")
    record_receipt(record, known, SHIPPED, replace(GOOD, indices={"hemolysis": Decimal("0.7")}), WHO)
    spin(record, "T1")
    told = answer_document(answer(record, "thyrotropin", "free-thyroxine", "ferritin"), format=ADDON_FORMAT)
    assert told["unknown"] == [
        {
            "specimen": "T1",
            "wording": "An index was measured of which no limit is known: hemolysis 0.7 g/L.",
            "tests": ["thyrotropin", "free-thyroxine", "ferritin"],
        }
    ]


def test_potassium_of_an_aliquot_is_kept_by_when_it_came_off_the_gel(record: SpecimenRecord) -> None:
    gel_on_the_shelf(record)
    events = record.specimen("T1")
    assert events is not None
    poured = aliquoted("T1", "T1-1", at=MORNING + timedelta(hours=2))
    record.append(*in_order(poured, after=events.events))
    shelf = Shelf(record=record)
    assert shelf.find("T1").life.off_gel_s is None
    assert shelf.find("T1-1").life.off_gel_s == 2 * 3600
    late = MORNING + timedelta(days=5)
    kept = {id: age_faults_of(shelf.find(id), late) for id in ("T1", "T1-1")}
    assert kept["T1-1"] == []
    assert kept["T1"] == ["refuse"]


def age_faults_of(known: Known, now: datetime) -> list[str]:
    """What potassium of this specimen comes to by its age then."""
    age_s = (now - known.specimen.collected_at) // timedelta(seconds=1)
    found = age_faults(SHIPPED.tests["potassium"], known.specimen, known.life, age_s, "strict")
    return [fault.outcome for fault in found]


def citrate_tube(record: SpecimenRecord, **seen: Any) -> None:
    known = draw(record, "T1", "prothrombin-time", kind="citrate", additive="citrate-9-1", gel=False)
    record_receipt(record, known, SHIPPED, replace(GOOD, **seen), WHO)
    spin(record, "T1")


@pytest.mark.parametrize(("percent", "outcome"), [(90, "accept"), (80, "refuse"), (None, "comment")])
def test_no_clotting_test_is_added_to_a_citrate_tube_that_was_not_full(
    record: SpecimenRecord, percent: int | None, outcome: str
) -> None:
    citrate_tube(record, fill_percent=percent)
    (offer,) = answer(record, "fibrinogen").redraw.offers["fibrinogen"]
    assert offer.outcome == outcome
    if percent != 90:
        assert "fill" in [reason.about for reason in offer.reasons]


def test_what_waits_in_a_specimen_already_is_neither_added_nor_drawn(record: SpecimenRecord) -> None:
    gel_on_the_shelf(record)
    found = answer(record, "potassium")
    assert (found.waiting, found.plan, found.redraw.offers) == ((("potassium", "T1"),), None, {})
    found = answer(record, "potassium", "creatinine")
    assert [(offer.test, offer.specimen) for offer in found.redraw.served] == [("creatinine", "T1")]
    assert found.plan is None
    assert answer_document(found, format=ADDON_FORMAT)["waiting"] == [{"test": "potassium", "specimen": "T1"}]


def test_what_waits_in_a_specimen_too_old_for_it_is_drawn(record: SpecimenRecord) -> None:
    draw(record)
    found = answer(record, "potassium", now=MORNING + timedelta(hours=3))
    assert (found.waiting, found.redraw.drawn) == ((), ("potassium",))
