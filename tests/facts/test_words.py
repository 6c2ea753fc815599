"""Words as hospitals write them, each resolved or asked and none wrongly (sources: tests/data/words/README.md)."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest

from cubital.errors import AmbiguousTest, NotBloodTest, UnknownTest
from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED

WORDS = Path(__file__).resolve().parents[1] / "data" / "words" / "words.csv"
DIRECTORY = Directory(SHIPPED)


def listed() -> list[dict[str, str]]:
    with WORDS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def stands_for(word: str) -> str:
    """The key that this word resolves to, or how it is turned away."""
    try:
        return DIRECTORY.resolve(word)[1]
    except AmbiguousTest:
        return "ask"
    except NotBloodTest:
        return "elsewhere"
    except UnknownTest:
        return "unknown"


def test_there_are_at_least_400_words_of_named_sources() -> None:
    words = listed()
    assert len({row["word"] for row in words}) == len(words) >= 400
    readme = (WORDS.parent / "README.md").read_text(encoding="utf-8")
    counts = Counter(row["source"] for row in words)
    assert all(f"`{source}`" in readme for source in counts)
    assert sum(count for source, count in counts.items() if source != "trade") >= 150


def test_none_of_them_stands_for_another_test_than_is_meant() -> None:
    wrong = {row["word"]: stands_for(row["word"]) for row in listed() if stands_for(row["word"]) != row["meaning"]}
    assert wrong == {}


def test_at_least_95_of_100_are_resolved_or_asked() -> None:
    words = [row for row in listed() if row["meaning"] != "elsewhere"]
    found = [row for row in words if stands_for(row["word"]) != "unknown"]
    assert len(found) >= 0.95 * len(words)


@pytest.mark.parametrize(
    ("word", "meaning"),
    [
        ("digoxin level", "digoxin"), ("Digoxin Levels", "digoxin"), ("vancomycin level", "ask"),
        ("gent level", "ask"), ("anti-Xa level", "ask"), ("level", "unknown"), ("unheard-of level", "unknown"),
        ("level of care", "unknown"), ("serum zinc", "zinc"), ("Plasma ammonia level", "ammonia"),
        ("serum ammonia", "unknown"), ("serum renin", "unknown"), ("serum", "unknown"),
    ],
)  # fmt: skip
def test_a_level_or_a_matrix_of_something_is_that_thing_where_it_is_taken_so(word: str, meaning: str) -> None:
    assert stands_for(word) == meaning


@pytest.mark.parametrize(
    ("word", "choices"),
    [
        ("renin", {"renin-activity", "renin-concentration"}),
        ("chest pain", {"chest-pain-troponin-t", "chest-pain-troponin-i"}),
        ("CBG", {"capillary-blood-gas", "glucose-skin-puncture"}),
        ("Coombs test", {"direct-antiglobulin-test", "antibody-screen"}),
    ],
)  # fmt: skip
def test_a_word_of_several_meanings_is_asked_with_all_of_them(word: str, choices: set[str]) -> None:
    with pytest.raises(AmbiguousTest) as caught:
        DIRECTORY.resolve(word)
    assert set(caught.value.choices) == choices
