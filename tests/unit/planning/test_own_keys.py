"""Tests of a site under a key of its own that the shipped facts know by another."""

from __future__ import annotations

from typing import Any

from cubital.exchange.site_folder import read_site
from cubital.model import Accept, Site, Test
from cubital.planning.own_keys import find_own_keys

SHIPPED = read_site()
ACCEPTS = (Accept(matrix="plasma", tubes=("citrate",), volume_ul=100, minimum_ul=100),)


def found(*tests: Test) -> list[tuple[str, str, str]]:
    site = Site(name="s", kinds={}, tests={test.key: test for test in tests})
    return [(f.level, f.entry, f.found.split()[-1]) for f in find_own_keys(site, SHIPPED)]


def own(key: str, **fields: Any) -> Test:
    return Test(**{"key": key, "name": key, "bench": "b", "accepts": ACCEPTS, **fields})


def test_a_test_that_its_loinc_code_or_its_names_show_to_be_a_shipped_one_is_noted() -> None:
    assert found(own("pt", name="PT")) == [("note", "[pt]", "prothrombin-time")]
    assert found(own("x1", codes={"loinc": "2823-3"})) == [("note", "[x1]", "potassium")]


def test_the_shipped_key_and_what_nobody_knows_are_not_noted() -> None:
    assert found(own("prothrombin-time", name="PT"), own("larkmere-special")) == []
    assert list(find_own_keys(SHIPPED, SHIPPED)) == []


def test_two_meanings_or_a_shipped_test_that_the_site_has_too_are_not_noted() -> None:
    assert found(own("odd", also=("K", "PT"))) == []
    assert found(own("pt", name="PT"), own("prothrombin-time", name="the other")) == []


def test_a_code_goes_before_a_name() -> None:
    assert found(own("odd", name="potassium", codes={"loinc": "9999999-9"})) == []
