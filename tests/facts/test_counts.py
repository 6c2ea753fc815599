"""The page of facts counts marks from the data: each once, by how its source was seen."""

from __future__ import annotations

import importlib
from collections import Counter
from pathlib import Path
from types import ModuleType

import pytest

from cubital import facts

SCRIPTS = Path(__file__).resolve().parents[2] / "scripts"


@pytest.fixture
def counting(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(SCRIPTS))
    return importlib.import_module("facts_reference.counts")


def test_every_claim_of_a_test_and_every_mark_of_stability_is_counted_once(counting: ModuleType) -> None:
    found = counting.count_marks()
    tests = facts.tests_table().values()
    claims = [claim for test in tests for claim in test["from"].values() if isinstance(claim, list)]
    counted = sum(sum(each.values()) for key, each in found.items() if key.startswith("tests.toml"))
    # Each test gets its rank from ranks.toml, whose marks count there.
    assert counted == len(claims) - len(facts.tests_table())
    keeps = [*facts.stability().values(), *facts.unknown_stability().values()]
    of_keeping = found["stability.toml"] + found["stability.toml rival"]
    assert sum(of_keeping.values()) == sum(len(each.marks) for each in keeps)


def test_a_published_value_counts_by_how_its_source_was_seen(counting: ModuleType) -> None:
    ways = {
        ("published", "kim-2021"): "abstract", ("standard", "clsi-gp41"): "second-hand",
        ("published", "mimic-loinc-map"): "read", ("memory", "who-2010"): "memory",
        ("common-practice", "common-practice"): "common practice", ("computed", "computed"): "computed",
    }  # fmt: skip
    assert {pair: counting._how(*pair) for pair in ways} == ways


def test_the_share_that_is_not_first_hand_is_of_memory_and_second_hand(counting: ModuleType) -> None:
    assert counting._row("x", Counter({"memory": 2, "second-hand": 1, "read": 1}))[-1] == "75"
    assert counting._row("x", Counter())[-1] == ""
