"""How tests stand when blood is short: every shipped test is ranked once, and a site says otherwise."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cubital import facts
from cubital.errors import FactsError
from cubital.exchange.directory_table import read_tests
from cubital.facts.directory import HANDLING, load_ranks, ranked
from cubital.facts.reading import read_table
from cubital.model import Finding, Test
from cubital.model.vocabulary import RANKS

MARK = {"basis": "memory", "source": "memory"}
ENTRY: dict[str, Any] = {"bench": "chemistry", "accepts": [{"matrix": "serum", "tubes": ["serum"], "volume_ul": 10}]}


def read(content: dict[str, Any]) -> tuple[dict[str, Test], list[Finding]]:
    findings: list[Finding] = []
    return read_tests(content, file="tests.toml", findings=findings, handling=HANDLING), findings


def group(rank: str, *tests: str) -> dict[str, Any]:
    return {"rank": rank, "why": "it is so", "tests": list(tests), "marks": [MARK]}


@pytest.mark.parametrize("key", read_table("tests.toml"))
def test_every_shipped_test_has_a_rank_and_says_what_it_rests_on(key: str) -> None:
    entry = facts.tests_table()[key]
    assert entry["rank"] in RANKS
    assert entry["from"]["rank"] == [facts.ranks()[key].marks[0].basis, facts.ranks()[key].marks[0].source]


# Common practice: what decides at the bedside comes before what is followed over months.
@pytest.mark.parametrize(
    ("sooner", "later"),
    [
        ("blood-culture", "c-reactive-protein"),  # nice-early-onset, abstract
        ("type-and-screen", "sodium"),
        ("complete-blood-count", "ferritin"),
        ("glucose", "thyrotropin"),  # adc-hypoglycemia, table 1
        ("insulin", "thyrotropin"),  # uhnm-hypoglycemia
        ("ammonia", "alanine-aminotransferase"),  # metabolic-first-line, table 1
        ("potassium", "total-cholesterol"),
        ("prothrombin-time", "lead"),
        ("c-reactive-protein", "vitamin-d"),
    ],
)
def test_what_decides_now_stands_before_what_can_wait(sooner: str, later: str) -> None:
    assert RANKS.index(facts.ranks()[sooner].rank) < RANKS.index(facts.ranks()[later].rank)


def test_a_site_says_its_own_rank_and_a_wrong_word_is_told_with_the_right_ones() -> None:
    tests, findings = read({"a": {**ENTRY, "rank": "can-wait"}, "b": {**ENTRY, "rank": "can wait"}})
    assert tests["a"].rank == tests["a"].rank_when_short == "can-wait"
    assert [f.entry for f in findings] == ["[b] rank"]
    assert findings[0].expected == "one of before-treatment, cannot-wait, decides-today, useful-today, can-wait"


@given(st.sampled_from([{}, {"rank": False}, *({"rank": rank} for rank in RANKS)]))
def test_a_test_that_the_site_does_not_rank_stands_as_useful_today(said: dict[str, Any]) -> None:
    tests, findings = read({"a": {**ENTRY, **said}})
    assert not findings
    assert tests["a"].rank == (said.get("rank") or None)
    assert tests["a"].rank_when_short == (said.get("rank") or "useful-today")


def test_a_test_without_a_rank_and_a_rank_without_a_test_are_refused() -> None:
    groups = load_ranks({"group": [group("can-wait", "zinc")]}, file="ranks.toml")
    with pytest.raises(FactsError, match=r"tests.toml \[copper\].*no rank"):
        ranked({"zinc": {}, "copper": {}}, groups)
    with pytest.raises(FactsError, match=r"'zinc'.*expected a key of tests\.toml"):
        ranked({}, groups)
