"""Our units against ucumvert 0.3.2 (MIT), a reader of UCUM on pint: each is valid there and is worth the same."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from ucumvert import PintUcumRegistry

from cubital import facts
from cubital.errors import UnitError
from cubital.exchange.result_units import _PREFIXES, _USUAL_SLIPS, to_own_unit
from cubital.facts.population import population
from cubital.units import age_hours

# Spelled so they are units of UCUM, of something else: "mg%" is a hundredth of a milligram.
READ_OTHERWISE = {"mg%"}


@cache
def registry() -> Any:
    return PintUcumRegistry()


def is_ucum(unit: str) -> bool:
    try:
        registry().from_ucum(unit)
    except Exception:  # the package raises errors of three families
        return False
    return True


def units_of_data() -> Iterator[tuple[str, str]]:
    for key, analyte in facts.analytes().items():
        yield f"analytes.toml [{key}]", analyte.unit
    for key, measurand in population().analytes.items():
        yield f"population.toml [{key}]", measurand.unit


def test_every_unit_of_the_data_files_is_ucum() -> None:
    found = list(units_of_data())
    assert len(found) >= 20
    assert [where for where, unit in found if not is_ucum(unit)] == []


@pytest.mark.parametrize("kind", ["mol", "g"])
@pytest.mark.parametrize("litre", ["L", "dL", "mL"])
@pytest.mark.parametrize("prefix", sorted(_PREFIXES.keys() - {"d"}))
def test_every_unit_that_results_may_have_is_worth_there_what_it_is_here(prefix: str, kind: str, litre: str) -> None:
    unit = f"{prefix}{kind}/{litre}"
    own = {"mol": "sodium", "g": "albumin"}[kind]
    measurand = population().analytes[own]
    there = float(registry().from_ucum(unit).to(registry().from_ucum(measurand.unit)).magnitude)
    assert float(to_own_unit(Fraction(1), unit, measurand, where="x")) == pytest.approx(there, rel=1e-9)


@pytest.mark.parametrize("unit", ["U/L", "mU/L", "[IU]/L", "meq/L", "ukat/L", "nkat/L"])
def test_units_of_enzymes_and_charges_are_ucum(unit: str) -> None:
    assert is_ucum(unit)


@pytest.mark.parametrize("slip", sorted(_USUAL_SLIPS.keys() - READ_OTHERWISE))
def test_what_we_call_a_slip_is_no_ucum_and_what_we_offer_is(slip: str) -> None:
    assert not is_ucum(slip)
    assert all(is_ucum(offered) for offered in _USUAL_SLIPS[slip].split(" or "))
    with pytest.raises(UnitError, match="write"):
        to_own_unit(Fraction(1), slip, population().analytes["sodium"], where="x")


@pytest.mark.parametrize(("unit", "many"), [("a", 4), ("mo", 24), ("wk", 3), ("d", 5), ("h", 7)])
def test_ages_have_as_many_hours_there(unit: str, many: int) -> None:
    there = float(registry().from_ucum(f"{unit}").to("hour").magnitude) * many
    assert age_hours(f"{many} {unit}", where="x") == int(there)
