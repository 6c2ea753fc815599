"""What holds of every panel: sums, orders, no contaminant, and several causes at once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cubital.chemistry.additives import fluid, load_of, mixed, tube_plasma
from cubital.chemistry.chelation import measured
from cubital.inference.population import typical_native
from cubital.inference.posterior import posterior
from cubital.inference.states import HEMATOCRIT
from cubital.inference.table import batch_of
from cubital.inference.verdict import suspicions
from cubital.model.results import Earlier, Result, ResultSet
from tests.unit.inference.test_posterior import PANEL, likely, sample, with_additive

NATIVE = typical_native()
factors = st.lists(st.floats(0.3, 3.0), min_size=len(PANEL), max_size=len(PANEL))


def panel(values: list[float], *, has_earlier: bool = False) -> ResultSet:
    results = tuple(Result(analyte=key, value=NATIVE[key] * by) for key, by in zip(PANEL, values, strict=True))
    earlier = tuple(Earlier(analyte=key, value=NATIVE[key], hours_before=12) for key in PANEL)
    return ResultSet(results=results, previous=earlier if has_earlier else ())


@settings(max_examples=40, deadline=None)
@given(factors, st.booleans())
def test_every_posterior_sums_to_one_and_has_no_negative_part(values: list[float], has_earlier: bool) -> None:
    found = posterior(batch_of([panel(values, has_earlier=has_earlier)]))
    assert found.causes.sum() == pytest.approx(1, abs=1e-9)
    assert (found.causes >= 0).all()
    assert (found.rows >= 0).all()
    assert np.isfinite(found.distance).all()


@settings(max_examples=25, deadline=None)
@given(factors, st.permutations(PANEL))
def test_the_order_of_results_and_of_earlier_ones_changes_nothing(values: list[float], order: list[str]) -> None:
    one = panel(values, has_earlier=True)
    results, earlier = ({x.analyte: x for x in list_} for list_ in (one.results, one.previous))
    other = ResultSet(
        results=tuple(results[key] for key in order),  # type: ignore[misc]
        previous=tuple(earlier[key] for key in reversed(order)),  # type: ignore[misc]
    )
    assert likely(one)[0] == likely(other)[0]


@pytest.mark.parametrize("additive", ["k2-edta", "k3-edta", "citrate-9-1", "fluoride-oxalate", "lithium-heparin"])
def test_no_contaminant_changes_nothing(additive: str) -> None:
    none = dict(measured(mixed(NATIVE, tube_plasma(load_of(additive), HEMATOCRIT), 0.0)))
    assert likely(sample(none))[0] == likely(sample(NATIVE))[0]


def test_no_fluid_changes_nothing() -> None:
    assert likely(sample(dict(mixed(NATIVE, fluid("saline"), 0.0))))[0] == likely(sample(NATIVE))[0]


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_more_edta_never_lowers_the_potassium_of_a_mix(one: float, other: float) -> None:
    less, more = sorted((one, other))
    assert with_additive("k2-edta", more)["potassium"] >= with_additive("k2-edta", less)["potassium"] - 1e-9


def test_hemolysis_can_hide_edta_and_does_not_exclude_it() -> None:
    values = with_additive("k2-edta", 0.05)
    clear, red = likely(sample(values, hemolysis_g_per_l=0.05), sample(values, hemolysis_g_per_l=3.0))
    assert red["hemolysis"] > 0.5
    # Hemolysis explains the potassium and leads; EDTA beside it stays likelier than in an unknown sample.
    assert red["k2-edta"] + red["k3-edta"] > 0.0046
    assert clear["hemolysis"] < 0.01


def test_zinc_shows_edta_behind_hemolysis() -> None:
    values = with_additive("k2-edta", 0.05)
    values["potassium"] += 1.0
    hidden, seen = likely(
        sample(values, hemolysis_g_per_l=3.0), sample(values, *PANEL, "zinc", hemolysis_g_per_l=3.0)
    )  # fmt: skip
    assert hidden["hemolysis"] > hidden["k2-edta"] + hidden["k3-edta"]
    assert seen["k2-edta"] + seen["k3-edta"] > 0.8


@settings(max_examples=25, deadline=None)
@given(factors)
def test_a_critical_result_is_trusted_and_nothing_found_or_it_is_drawn_again(values: list[float]) -> None:
    values[PANEL.index("potassium")] = 7.5 / NATIVE["potassium"]
    found = suspicions([panel(values)])[0]
    assert found.redraw or "potassium" in found.trusted
    assert found.redraw or found.verdict != "cannot tell"
