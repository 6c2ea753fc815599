"""The words of an order that do not say which test is meant are set apart; what else is wrong still refuses it."""

from __future__ import annotations

import pytest

from cubital.app.wiring import open_site
from cubital.errors import AmbiguousTest, NotBloodTest, OrderError, UnknownTest
from cubital.model import Ask, Order, Unsettled
from cubital.planning import Planner
from cubital.planning.directory import Directory
from cubital.planning.settling import error_of, settle, unsettled_of, unsettled_word

SITE = open_site()
DIRECTORY = Directory(SITE)


def order_of(*words: str) -> Order:
    return Order(asks=tuple(Ask(test=word) for word in words))


def test_each_kind_of_trouble_is_set_apart_with_what_the_word_may_mean() -> None:
    found = settle(order_of("K", "potasium", "troponin", "urine culture", "CBC"), DIRECTORY)
    assert found.order is not None
    assert [ask.test for ask in found.order.asks] == ["K", "CBC"]
    assert [(one.word, one.where, one.trouble) for one in found.unsettled] == [
        ("potasium", "tests[1]", "unknown"), ("troponin", "tests[2]", "ambiguous"),
        ("urine culture", "tests[3]", "not-blood"),
    ]  # fmt: skip
    assert found.unsettled[0].near == ("potassium",)
    assert found.unsettled[1].choices == ("troponin-t", "troponin-i")


def test_an_order_of_which_every_word_settles_is_left_as_it_is() -> None:
    order = order_of("K", "CBC")
    assert settle(order, DIRECTORY) == (order, ())


def test_an_order_of_which_no_word_settles_is_none() -> None:
    found = settle(order_of("xylophone"), DIRECTORY)
    assert found.order is None
    assert len(found.unsettled) == 1


def test_what_is_wrong_with_the_rest_is_said_at_the_place_where_it_was_written() -> None:
    found = settle(order_of("xylophone", "K", "potassium"), DIRECTORY)
    assert found.order is not None
    with pytest.raises(OrderError, match="are the same, potassium") as caught:
        Planner(SITE).plan(found.order)
    assert caught.value.where == "tests[2]"


def test_a_word_that_its_reader_could_not_settle_stays_so_though_a_test_goes_by_it() -> None:
    one = Unsettled(word="K", where="request code", trouble="ambiguous", said="codes of two", choices=("potassium",))
    order = Order(asks=(Ask(test="K", unsettled=one), Ask(test="CBC")))
    assert settle(order, DIRECTORY).unsettled == (one,)
    with pytest.raises(AmbiguousTest, match="codes of two"):
        Planner(SITE).plan(order)


@pytest.mark.parametrize(
    ("word", "kind"), [("potasium", UnknownTest), ("troponin", AmbiguousTest), ("chest CT", NotBloodTest)]
)
def test_a_word_set_apart_is_refused_with_the_error_that_it_had(word: str, kind: type[OrderError]) -> None:
    with pytest.raises(kind) as caught:
        DIRECTORY.resolve(word, where="tests[4]")
    again = error_of(unsettled_of(caught.value, word))
    assert type(again) is kind
    assert str(again) == str(caught.value)
    assert unsettled_word(word, DIRECTORY, where="tests[4]") == unsettled_of(caught.value, word)


def test_a_kept_word_that_is_unknown_is_refused_by_its_place() -> None:
    order = Order(asks=(Ask(test="K"),), keep=("xylophone",))
    with pytest.raises(UnknownTest) as caught:
        Planner(SITE).plan(order)
    assert caught.value.where == "keep[0]"


def test_the_look_of_a_stopper_names_the_tube_and_offers_no_test() -> None:
    for text in ("light blue", "pale blue top", "red"):
        found = unsettled_word(text, DIRECTORY, where="tests[0]")
        assert found is not None
        assert found.near == ()
        assert "citrate" in found.looks or "serum" in found.looks
        assert "a tube and no test" in found.said or "which is a tube and no test" in found.said
