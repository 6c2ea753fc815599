"""Names as a search compares them."""

from __future__ import annotations

import pytest

from cubital.planning.spellings import rank, spelling, words_of


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
