"""Names as a search compares them: the quick bound never hides a name that difflib would find near."""

from __future__ import annotations

import difflib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cubital.planning.spellings import (
    LEAST_ALIKE,
    MOST_LENGTHS_APART,
    MOST_NEARLY,
    NearSpellings,
    rank,
    spelling,
    words_of,
)

WORDS = st.text(st.sampled_from("aaabcdeiö19%"), min_size=1, max_size=24)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(WORDS, st.lists(WORDS, max_size=12))
def test_what_is_near_is_what_difflib_finds_among_names_of_about_the_length(asked: str, names: list[str]) -> None:
    near = [name for name in names if abs(len(name) - len(asked)) <= MOST_LENGTHS_APART]
    assert NearSpellings(names).near(asked) == difflib.get_close_matches(asked, near, MOST_NEARLY, LEAST_ALIKE)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Vitamin D, total", (0, "vitamin d, total")),
        ("vitam", (1, "vitamin d, total")),
        ("tot vit", (2, "vitamin d, total")),
        ("amind", (3, "vitamin d, total")),
        ("am", None),
        ("vitamin k", None),
    ],
)
def test_a_name_fits_by_itself_by_its_beginning_by_its_words_or_by_a_part(
    text: str, expected: tuple[int, str] | None
) -> None:
    asked = spelling(text).folded
    assert rank(asked, words_of(text), [spelling("vitamin d, total"), spelling("calcidiol")]) == expected


def test_of_two_that_fit_alike_the_shorter_is_better() -> None:
    assert rank("k", ("k",), [spelling("kalium"), spelling("kal")]) == (1, "kal")
