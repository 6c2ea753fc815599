"""Tube kinds by the look of a stopper: the site's own words first, then the shipped ones; never a test."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.app.search import find_kinds, find_tests
from cubital.app.wiring import open_site
from cubital.planning.looks import kinds_by_look

DEMO = open_site(demo=True)
SHIPPED = open_site()


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("pale blue", ("citrate",)),
        ("Light-blue top", ("citrate",)),
        ("the ribbed stopper", ("citrate",)),
        ("amber", ("serum-gel",)),
        ("rose", ("edta-blood-bank",)),
        ("mint", ("heparin-gel",)),
    ],
)
def test_a_look_in_the_words_of_the_site_finds_its_kind(text: str, kinds: tuple[str, ...]) -> None:
    assert tuple(found.key for found in find_kinds(text, DEMO)) == kinds


def test_a_shipped_look_finds_the_kind_that_the_site_calls_otherwise() -> None:
    assert DEMO.kinds["serum-gel"].stopper == "amber"
    assert kinds_by_look("gold", DEMO.kinds) == ("serum-gel",)


def test_a_look_that_the_site_gives_to_one_kind_is_not_read_as_the_shipped_one_of_another() -> None:
    kinds = {**DEMO.kinds, "edta": replace(DEMO.kinds["edta"], stopper="gold")}
    assert kinds_by_look("gold", kinds) == ("edta",)


@pytest.mark.parametrize("text", ["lavender", "purple top", "violet"])
def test_words_for_one_look_find_the_same_kinds(text: str) -> None:
    assert "edta" in kinds_by_look(text, SHIPPED.kinds) or "edta-k3" in kinds_by_look(text, SHIPPED.kinds)


def test_one_word_of_a_look_finds_every_stopper_that_has_it() -> None:
    assert {"citrate", "trace-edta"} <= set(kinds_by_look("blue", SHIPPED.kinds))


@pytest.mark.parametrize("text", ["", "top", "tube", "potassium", "blue potassium", "x" * 5000])
def test_what_is_no_look_finds_no_kind(text: str) -> None:
    assert kinds_by_look(text, DEMO.kinds) == ()


@pytest.mark.parametrize("text", ["pale blue", "light blue", "gold", "mint"])
def test_a_look_is_never_guessed_as_a_test(text: str) -> None:
    assert find_tests(text, DEMO) == ()
