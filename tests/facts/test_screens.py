"""The table of screens: what is shipped, and what of it is refused."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from cubital.errors import FactsError
from cubital.facts.reading import read_table
from cubital.facts.screens import load_screens, screens


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"parts": []}, "length >= 1"),
        ({"parts": [{"of": "sodium"}]}, "expected at_least or at_most, one of them"),
        ({"parts": [{"of": "sodium", "at_least": 1, "at_most": 2}]}, "expected at_least or at_most, one of them"),
        ({"parts": [{"of": "salt", "at_least": 1}]}, "found salt, which no facts know"),
        ({"parts": [{"of": "sodium", "less": "salt", "at_least": 1}]}, "found salt, which no facts know"),
        ({"doubted": ["salt"]}, "found salt, which no facts know"),
        ({"doubted": []}, "length >= 1"),
        ({"parts": [{"of": "sodium", "measure": "fall", "at_least": 1}]}, "'fall'"),
        ({"parts": [{"of": "sodium", "measure": "rise", "at_least": 1}]}, "expected earlier_max_h with a part"),
        ({"earlier_max_h": 24}, "expected earlier_max_h with a part"),
        (
            {"parts": [{"of": "sodium", "less": "chloride", "measure": "rise", "at_least": 1}], "earlier_max_h": 24},
            "expected it with the value only",
        ),
        ({"marks": [{"basis": "published", "source": "nobody-1900"}]}, "'nobody-1900'"),
        ({"marks": []}, "length >= 1"),
    ],
)
def test_a_faulty_screen_is_refused_with_its_place(change: Mapping[str, Any], said: str) -> None:
    table = {"citrate-by-gap": {**read_table("screens.toml")["citrate-by-gap"], **change}}
    with pytest.raises(FactsError) as caught:
        load_screens(table, file="screens.toml")
    assert said in str(caught.value)
    assert "screens.toml [citrate-by-gap]" in str(caught.value)


def test_every_shipped_screen_begins_with_a_published_mark() -> None:
    assert [screen.marks[0].basis for screen in screens().values()] == ["published"] * len(screens())
