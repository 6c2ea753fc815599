"""The table of causes: what is shipped, and what of it is refused."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from cubital.errors import FactsError
from cubital.facts.causes import causes, load_causes
from cubital.facts.reading import read_table


def shipped() -> dict[str, Any]:
    return {key: dict(entry) for key, entry in read_table("causes.toml").items()}


def refusal_of(table: Mapping[str, Any]) -> str:
    with pytest.raises(FactsError) as caught:
        load_causes(table, file="causes.toml")
    return str(caught.value)


@pytest.mark.parametrize(
    ("key", "change", "said"),
    [
        ("sodium-citrate", {"fluid_part": None}, "expected fluid_dose and fluid_part with an additive and fluids"),
        ("sodium-citrate", {"fluid_dose": None}, "expected fluid_dose and fluid_part with an additive and fluids"),
        ("sodium-citrate", {"fluids": None}, "expected fluid_dose and fluid_part with an additive and fluids"),
        ("saline", {"fluid_part": 0.5}, "expected fluid_dose and fluid_part with an additive and fluids"),
        ("sodium-citrate", {"fluid_part": 1}, "found a fluid_part of 1; expected above 0 and below 1"),
        ("sodium-citrate", {"fluid_dose": {"low": 0.1, "high": 1.5}}, "found a dose of 1.5; expected a share"),
        ("saline", {"fluids": ["sea-water"]}, "found sea-water, which no facts know"),
        ("k2-edta", {"additive": "k4-edta"}, "found k4-edta, which no facts know"),
        ("k2-edta", {"doubted": ["gold"]}, "found gold, which no facts know"),
        ("k2-edta", {"doubted_mark": None}, "expected doubted_mark with doubted analytes"),
        ("saline", {"share": None}, "expected a share of every cause but none"),
        ("saline", {"share": 1}, "found a share of 1; expected above 0 and below 1"),
        ("saline", {"dose": None}, "expected a dose with an additive or fluids"),
    ],
)  # fmt: skip
def test_a_faulty_cause_is_refused_with_its_place(key: str, change: Mapping[str, Any], said: str) -> None:
    table = shipped()
    entry = table[key] | change
    table[key] = {name: value for name, value in entry.items() if value is not None}
    found = refusal_of(table)
    assert said in found
    assert f"causes.toml [{key}]" in found


def test_a_missing_cause_is_refused() -> None:
    table = shipped()
    del table["hemolysis"]
    assert "expected none, k2-edta" in refusal_of(table)


def test_what_is_shipped_is_read() -> None:
    citrate = causes()["sodium-citrate"]
    assert (citrate.additive, len(citrate.fluids)) == ("citrate-9-1", 3)
    assert load_causes(shipped(), file="causes.toml") == causes()
