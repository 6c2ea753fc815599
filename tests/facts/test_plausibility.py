"""What a patient can weigh and measure: wide bands that leave no age out."""

from __future__ import annotations

import copy
from decimal import Decimal
from typing import Any

import pytest

from cubital.errors import FactsError
from cubital.facts.plausibility import FILE, load_plausibility, plausibility
from cubital.facts.reading import read_table

TABLE = read_table(FILE)


def test_an_age_takes_its_band_and_an_unknown_age_the_widest() -> None:
    weight = plausibility().weight_kg
    assert weight.at(None) == (Decimal("0.2"), Decimal(650))
    assert weight.at(0) == weight.at(29 * 24 - 1) == (Decimal("0.2"), Decimal(8))
    assert weight.at(29 * 24) == (Decimal("0.4"), Decimal(20))
    assert weight.at(130 * 8766)[1] == Decimal(650)


@pytest.mark.parametrize("measure", ["weight_kg", "height_cm"])
def test_every_band_lies_within_the_widest_and_says_it_is_from_memory(measure: str) -> None:
    possible = getattr(plausibility(), measure)
    assert possible.mark.basis == "memory"
    assert all(possible.least <= span.least < span.most <= possible.most for span in possible.spans)


def changed(*path: Any, value: Any) -> dict[str, Any]:
    table = copy.deepcopy(TABLE)
    inner: Any = table
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return table


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (changed("weight", "bands", value=[]), "found no bands"),
        (changed("height", value=5), "found no bands"),
        (changed("weight", "bands", 1, "from_d", value=30), "expected it to begin where the last one ends"),
        (changed("weight", "bands", -1, "below_d", value=9999), "found an end to the last band"),
        (changed("weight", "least_kg", value="light"), "correct the entry"),
        (changed("girth", value={}), "girth"),
        (changed("weight", "from", "source", value="nobody"), "nobody"),
    ],
)
def test_a_faulty_table_is_refused(table: dict[str, Any], message: str) -> None:
    with pytest.raises(FactsError) as caught:
        load_plausibility(table, file=FILE)
    assert message in str(caught.value)
