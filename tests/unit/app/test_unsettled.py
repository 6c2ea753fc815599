"""A plan of the words that settle: the rest as if the others were not written, and nothing of it is taken."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital.app.collecting import Taken, collect
from cubital.app.draws import Failure, plan_order, plan_orders, verify_plan
from cubital.app.order_log import read_log
from cubital.app.printing import invented_collection, labels_at_chair, labels_of, sheet_of
from cubital.app.tray import lay_tray
from cubital.app.typed_order import answer_typed
from cubital.app.unsettled import refuse_unsettled
from cubital.app.wiring import open_record, open_site, open_takings, order_of_words, upgrade_store
from cubital.errors import OrderError, PlanError, UnknownTest, UnsettledWords
from cubital.model import Order, Plan
from cubital.planning.directory import Directory
from tests.contract.events import MORNING, Clock

SITE = open_site(demo=True)
DIRECTORY = Directory(SITE)
DAY = date(2026, 11, 25)
TAKEN = Taken("D7", "P-17", "ann", "here")
KNOWN = ("PT", "K", "CBC", "lactate", "TSH", "glucose", "type and screen", "blood culture", "arterial blood gas")
UNSETTLED = ("potasium", "xylophone", "strychnine", "troponin", "urine culture", "UA", "pale blue", "2823-4")


def order_of(*words: str, **fields: Any) -> Order:
    return order_of_words({"tests": list(words), **fields}, where="test", today=DAY)


def partly(*words: str, **fields: Any) -> tuple[Order, Plan]:
    order = order_of(*words, **fields)
    return order, plan_order(order, SITE, today=DAY, leave_unsettled=True)


def without(plan: Plan) -> Plan:
    """The plan without what it says of the words that it leaves out."""
    return replace(plan, unsettled=(), cautions=plan.cautions[1:])


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.sampled_from(KNOWN), min_size=1, max_size=5, unique=True),
    st.lists(st.sampled_from(UNSETTLED), min_size=1, max_size=3, unique=True),
    st.randoms(use_true_random=False),
    st.sampled_from([{}, {"patient": {"age": "6 mo", "weight_kg": 6, "drawn_ml": 8}}, {"access": "winged-set"}]),
)
def test_adding_words_that_do_not_settle_never_changes_the_plan_of_the_rest(
    known: list[str], unsettled: list[str], random: Any, fields: dict[str, Any]
) -> None:
    mixed = list(known)
    for word in unsettled:
        mixed.insert(random.randint(0, len(mixed)), word)
    try:
        rest = plan_order(order_of(*known, **fields), SITE, today=DAY)
    except PlanError as error:
        # What the site cannot draw is refused alike.
        with pytest.raises(type(error), match=re.escape(str(error))):
            partly(*mixed, **fields)
        return
    order, plan = partly(*mixed, **fields)
    assert without(plan) == rest
    assert sorted(one.word for one in plan.unsettled) == sorted(unsettled)
    assert verify_plan(plan, order, SITE) == ()


def test_a_plan_stands_under_a_stop_that_names_every_word() -> None:
    order, plan = partly("K", "potasium", "troponin", "CBC")
    assert plan.cautions[0].level == "stop"
    assert "NOT ALL: 2 words of the order not settled" in plan.cautions[0].text
    assert "'potasium', 'troponin'" in plan.cautions[0].text
    tray = lay_tray(plan, order, SITE)
    assert tray.headline.startswith("NOT ALL: 2 words not settled. Take nothing yet.")
    assert tray.unsettled == (
        "'potasium' (tests[1]): no test or panel of this site goes by this name; near: potassium",
        "'troponin' (tests[2]): this name stands for several tests; one of: troponin-t, troponin-i",
    )


def test_one_word_and_tests_left_out_are_both_said_first() -> None:
    order, plan = partly(
        "PT", "CBC", "K", "xylophone", patient={"age": "6 mo", "weight_kg": 6, "drawn_ml": 10}
    )
    assert plan.unplaced
    assert lay_tray(plan, order, SITE).headline.startswith("NOT ALL: 1 word not settled, ")
    assert "left out" in lay_tray(plan, order, SITE).headline


def test_without_being_asked_an_unknown_word_refuses_the_order_as_before() -> None:
    with pytest.raises(UnknownTest):
        plan_order(order_of("K", "potasium"), SITE, today=DAY)


def test_an_order_in_which_nothing_settles_is_refused_as_before() -> None:
    with pytest.raises(UnknownTest) as caught:
        partly("potasium", "troponin")
    assert caught.value.where == "tests[0]"


def test_what_is_wrong_beside_the_words_still_refuses_the_order() -> None:
    with pytest.raises(UnknownTest) as caught:
        partly("K", "xylophone", keep=["zzz"])
    assert caught.value.where == "keep[0]"
    with pytest.raises(OrderError, match="are the same"):
        partly("K", "xylophone", "potassium")


def test_a_kept_word_among_those_that_do_not_settle_is_refused() -> None:
    with pytest.raises(UnknownTest) as caught:
        partly("K", "xylophone", keep=["xylophone"])
    assert caught.value.where == "keep[0]"


def test_many_orders_each_leave_out_their_own_words() -> None:
    orders = [order_of("K", "xylophone"), order_of("xylophone"), order_of("K")]
    first, second, third = plan_orders(orders, SITE, today=DAY, leave_unsettled=True)
    assert isinstance(first, Plan)
    assert [one.word for one in first.unsettled] == ["xylophone"]
    assert isinstance(second, Failure)
    assert isinstance(third, Plan)
    assert third.unsettled == ()


def test_a_plan_that_sets_a_word_apart_which_names_a_test_is_not_sound() -> None:
    order, plan = partly("K", "xylophone")
    false = replace(plan, unsettled=(replace(plan.unsettled[0], word="K"),))
    assert "the plan leaves out 'K' as not settled, which is potassium" in verify_plan(false, order, SITE)
    silent = replace(plan, unsettled=())
    assert any("'xylophone', which is nothing" in finding for finding in verify_plan(silent, order, SITE))


@pytest.fixture
def address(tmp_path: Path) -> str:
    found = f"sqlite:///{tmp_path}/record.db"
    upgrade_store(found)
    return found


def test_nothing_of_it_is_recorded_printed_or_taken_in_hand(address: str) -> None:
    order, plan = partly("PT", "potasium", "K")
    record = open_record(address)
    takings = open_takings(address, record=record, now=Clock(MORNING))
    who = invented_collection(plan, order, today=DAY)
    deeds = (
        lambda: collect(record, plan, order, TAKEN, at=MORNING),
        lambda: labels_of(plan, order, SITE, who, today=DAY),
        lambda: labels_at_chair(plan, order, SITE, who, filled={}, stock="roll-50x25", today=DAY),
        lambda: sheet_of(plan, order, SITE, today=DAY),
        lambda: takings.begin(order, plan, by="ann"),
    )
    for deed in deeds:
        with pytest.raises(UnsettledWords, match="'potasium' \\(unknown, near potassium\\)") as caught:
            deed()
        assert caught.value.words == ("potasium",)
        assert caught.value.where == "tests[1]"
        assert "write the one meant, take the word out, or add it to the tests of the site" in str(caught.value)
    assert record.specimens_of("P-17") == ()
    assert takings.waiting() == ()
    record.close()


def test_once_each_word_is_settled_it_is_recorded(address: str) -> None:
    order, plan = partly("PT", "potassium")
    record = open_record(address)
    refuse_unsettled(plan.unsettled)
    assert len(collect(record, plan, order, TAKEN, at=MORNING).specimens) == 2
    record.close()


def test_typed_lines_go_the_same_way_and_their_plan_is_not_taken_either() -> None:
    answer = answer_typed("K\npotasium\nUA", {}, SITE, directory=DIRECTORY, today=DAY)
    assert answer.plan is not None
    assert [(one.word, one.where) for one in answer.plan.unsettled] == [("potasium", "line 2"), ("UA", "line 3")]
    assert [doubt.is_unknown for doubt in answer.doubts] == [True, False]
    assert without(answer.plan) == plan_order(order_of("K"), SITE, today=DAY)
    with pytest.raises(UnsettledWords):
        refuse_unsettled(answer.plan.unsettled)


def test_a_log_of_orders_keeps_no_order_that_its_reader_could_not_settle(tmp_path: Path) -> None:
    requests = [
        {
            "resourceType": "ServiceRequest", "status": "active", "intent": "order",
            "subject": {"reference": "Patient/1"}, "code": {"coding": [{"code": code} for code in codes]},
        }
        for codes in (["K"], ["Na", "CBC"])
    ]  # fmt: skip
    two = json.dumps({"resourceType": "Bundle", "entry": [{"resource": request} for request in requests]})
    path = tmp_path / "log.jsonl"
    path.write_text(two + "\n")
    with path.open("rb") as stream:
        log = read_log(stream, SITE, where="log", today=DAY)
    assert log.orders == ()
    assert [failure.line for failure in log.bad] == [1]
