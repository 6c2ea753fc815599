"""Words as hospitals write them, each resolved or asked and none wrongly (sources: tests/data/words/README.md)."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest

from cubital.errors import AmbiguousTest, NotBloodTest, UnknownTest
from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED

FOLDER = Path(__file__).resolve().parents[1] / "data" / "words"
LISTS = ("words", "fresh", "later")
DIRECTORY = Directory(SHIPPED)


def listed(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def stands_for(word: str) -> str:
    """The key that this word resolves to, or how it is turned away."""
    return resolved(word)[0]


def resolved(word: str) -> tuple[str, str]:
    """The key that this word resolves to, or how it is turned away, and what is asked where it is asked."""
    try:
        return DIRECTORY.resolve(word)[1], ""
    except AmbiguousTest as error:
        return "ask", "|".join(error.choices)
    except NotBloodTest:
        return "elsewhere", ""
    except UnknownTest:
        return "unknown", ""


def test_there_are_at_least_400_words_and_250_fresh_ones_of_named_sources() -> None:
    assert len(listed("words")) >= 400
    assert len(listed("fresh")) >= 250
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    counts = Counter(row["source"] for name in LISTS for row in listed(name))
    assert all(f"`{source}`" in readme for source in counts)
    assert sum(count for source, count in counts.items() if source != "trade") >= 500


def test_no_word_stands_twice_in_the_lists() -> None:
    words = Counter(row["word"].casefold() for name in ("fresh", "later") for row in listed(name))
    known = {row["word"].casefold() for row in listed("words")}
    assert [word for word, count in words.items() if count > 1 or word in known] == []
    assert len({row["word"] for row in listed("words")}) == len(listed("words"))


@pytest.mark.parametrize("name", LISTS)
def test_none_of_them_stands_for_another_test_or_is_asked_otherwise_than_is_meant(name: str) -> None:
    wrong = {
        row["word"]: found
        for row in listed(name)
        if (found := resolved(row["word"])) != (row["meaning"], row["choices"])
    }
    assert wrong == {}


@pytest.mark.parametrize(("name", "least"), [("words", 0.99), ("fresh", 0.95), ("later", 0.80)])
def test_so_many_words_of_blood_are_resolved_or_asked(name: str, least: float) -> None:
    words = [row for row in listed(name) if row["meaning"] != "elsewhere"]
    found = [row for row in words if stands_for(row["word"]) != "unknown"]
    assert len(found) >= least * len(words)


@pytest.mark.parametrize("name", LISTS)
def test_the_readme_says_how_many_of_each_list_are_resolved_now(name: str) -> None:
    counts = Counter(
        meaning if (meaning := stands_for(row["word"])) in {"ask", "elsewhere", "unknown"} else "planned"
        for row in listed(name)
    )
    line = f"| `{name}.csv` | {counts['planned']} | {counts['ask']} | {counts['elsewhere']} | {counts['unknown']} |"
    assert line in (FOLDER / "README.md").read_text(encoding="utf-8")


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
