"""The posterior over causes: it sums to one, follows the chemistry, and asks for no order and no absent analyte."""

from __future__ import annotations

import numpy as np
import pytest

from cubital.chemistry.additives import load_of, mixed, tube_plasma
from cubital.chemistry.chelation import measured
from cubital.facts.causes import CAUSES
from cubital.inference.population import typical_native
from cubital.inference.posterior import posterior
from cubital.inference.states import HEMATOCRIT, states
from cubital.inference.table import batch_of
from cubital.model.results import Earlier, Result, ResultSet

PANEL = (
    "sodium", "potassium", "chloride", "bicarbonate", "urea", "creatinine", "glucose", "calcium", "magnesium",
    "albumin", "total-protein", "alkaline-phosphatase",
)  # fmt: skip


def sample(values: dict[str, float], *keys: str, **fields: object) -> ResultSet:
    results = tuple(Result(analyte=key, value=values[key]) for key in keys or PANEL)
    return ResultSet(results=results, **fields)  # type: ignore[arg-type]


def with_additive(additive: str, share: float) -> dict[str, float]:
    """Typical results after this share of the plasma came from a tube with this additive."""
    contaminant = tube_plasma(load_of(additive), HEMATOCRIT)
    return dict(measured(mixed(typical_native(), contaminant, share)))


def likely(*samples: ResultSet) -> list[dict[str, float]]:
    found = posterior(batch_of(samples)).causes
    return [dict(zip(CAUSES, row.tolist(), strict=True)) for row in found]


def test_probabilities_of_every_sample_sum_to_one() -> None:
    rows = [with_additive(additive, share) for additive in ("k2-edta", "citrate-9-1") for share in (0.001, 0.1, 0.5)]
    sums = posterior(batch_of([sample(row) for row in rows])).causes.sum(axis=1)
    assert sums == pytest.approx(np.ones(len(rows)), abs=1e-9)


def test_typical_results_are_nothing() -> None:
    assert likely(sample(typical_native()))[0]["none"] > 0.95


def test_a_tenth_of_k2_edta_plasma_is_edta() -> None:
    found = likely(sample(with_additive("k2-edta", 0.1)))[0]
    assert found["k2-edta"] + found["k3-edta"] > 0.85


@pytest.mark.parametrize("additive", ["k2-edta", "fluoride-oxalate"])
def test_more_of_an_additive_is_never_less_likely_to_be_found(additive: str) -> None:
    shares = (0.0, 0.02, 0.05, 0.1, 0.2)
    nothing = [row["none"] for row in likely(*(sample(with_additive(additive, share)) for share in shares))]
    assert nothing == sorted(nothing, reverse=True)
    assert nothing[-1] < 0.01


def test_the_order_of_results_changes_nothing() -> None:
    values = with_additive("k2-edta", 0.05)
    forth, back = likely(sample(values, *PANEL), sample(values, *reversed(PANEL)))
    assert forth == pytest.approx(back)


def test_an_analyte_alone_changes_little() -> None:
    found = likely(sample(typical_native(), "sodium"))[0]
    assert found["none"] > 0.9


def test_the_tube_s_own_heparin_is_not_what_contaminated_it() -> None:
    found = likely(sample(with_additive("sodium-heparin", 0.9), additive="sodium-heparin"))[0]
    assert found["sodium-heparin"] == 0


def test_another_patient_is_thought_of_only_beside_earlier_results() -> None:
    values = {**typical_native(), "creatinine": 60.0, "alkaline-phosphatase": 45.0, "total-protein": 62.0}
    before = {**values, "creatinine": 420.0, "alkaline-phosphatase": 260.0, "total-protein": 80.0}
    earlier = tuple(Earlier(analyte=key, value=before[key], hours_before=30.0) for key in PANEL)
    alone, beside = likely(sample(values), sample(values, previous=earlier))
    assert alone["other-patient"] < 0.01
    assert beside["other-patient"] > 0.5


def test_the_rows_of_each_cause_share_its_whole() -> None:
    table = states()
    for place, cause in enumerate(CAUSES):
        weights = np.exp(table.log_prior[table.cause == place])
        assert (weights.sum() == pytest.approx(1.0)) if cause != "other-patient" else weights.size == 0


def test_no_samples_are_no_answers() -> None:
    assert posterior(batch_of([])).causes.shape == (0, len(CAUSES))
