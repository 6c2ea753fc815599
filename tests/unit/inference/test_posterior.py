"""The posterior over causes: it sums to one, follows the chemistry, and asks for no order and no absent analyte."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from cubital.chemistry.additives import load_of, mixed, tube_plasma
from cubital.chemistry.chelation import measured
from cubital.facts.causes import CAUSES
from cubital.inference.population import correlation_of, spread, typical_native
from cubital.inference.posterior import default_log_shares, posterior
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
    assert found["k2-edta"] + found["k3-edta"] > 0.75


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


def test_a_panel_alone_and_in_a_batch_of_other_panels_has_the_same_posterior() -> None:
    rows = [with_additive(additive, share) for additive in ("k2-edta", "citrate-9-1") for share in (0.01, 0.1, 0.4)]
    earlier = tuple(Earlier(analyte=key, value=rows[0][key], hours_before=20.0) for key in PANEL[:5])
    samples = [sample(row) for row in rows] * 30
    samples += [sample(row, *PANEL[:8], previous=earlier, hemolysis_g_per_l=1.5) for row in rows]
    together = posterior(batch_of(samples))
    for place in (0, 4, 100, len(samples) - 1):
        alone = posterior(batch_of([samples[place]]))
        assert together.causes[place] == pytest.approx(alone.causes[0], abs=1e-5)
        assert together.rows[place] == pytest.approx(alone.rows[0], abs=1e-5)
        assert together.distance[place] == pytest.approx(alone.distance[0], rel=1e-4)


def test_the_posterior_is_that_of_the_densities_written_out_for_one_row_at_a_time() -> None:
    edta, citrate = with_additive("k2-edta", 0.05), with_additive("citrate-9-1", 0.2)
    samples = [sample(edta, hemolysis_g_per_l=0.3), sample(citrate)]
    by_hand = np.array([written_out(one) for one in samples])
    assert posterior(batch_of(samples)).causes == pytest.approx(by_hand, abs=1e-4)


def written_out(one: ResultSet) -> list[float]:
    """The posterior without earlier results by the formula in the module's docstring, one row and one number a time."""
    known, table, columns = spread(), states(), spread().columns()
    at = np.array([columns[result.analyte] for result in one.results])
    covariance = correlation_of(at, np.zeros(len(at), dtype=bool))
    shares = dict(zip(CAUSES, default_log_shares().tolist(), strict=True))
    found = dict.fromkeys(CAUSES, 0.0)
    for row, place in enumerate(table.cause.tolist()):
        scores: list[float] = []
        log_slope = 0.0
        for result, column in zip(one.results, at.tolist(), strict=True):
            own = (result.value - table.added[row, column]) / table.slope[row, column]
            if own <= 1e-9:
                scores = []
                break
            reach = known.deviation[column] * known.spread[column] * known.tail[column]
            far = (np.log(own) - known.middle[column]) / reach
            scores.append(known.tail[column] * np.arcsinh(far))
            by_own = 1 / (known.spread[column] * known.deviation[column] * np.sqrt(1 + far * far) * own)
            log_slope += np.log(by_own / table.slope[row, column])
        if not scores:
            continue
        chance = float(table.log_prior[row]) + log_slope + log_normal(np.array(scores), covariance)
        if one.hemolysis_g_per_l is not None:
            free = float(table.free_g_per_l[row])
            meant, width = (free, 0.35) if free else (0.05, 0.7)
            chance += -0.5 * (np.log((one.hemolysis_g_per_l + 0.02) / (meant + 0.02)) / width) ** 2 - np.log(width)
        found[CAUSES[place]] += np.exp(chance + shares[CAUSES[place]])
        if CAUSES[place] in ("none", "hemolysis"):
            either = np.logaddexp(shares["none"], shares["hemolysis"])
            found["other-patient"] += np.exp(chance + shares[CAUSES[place]] - either + shares["other-patient"])
    return [value / sum(found.values()) for value in found.values()]


def log_normal(scores: NDArray[np.float64], covariance: NDArray[np.float64]) -> float:
    """The logarithm of the density of a normal distribution with middle 0."""
    size = np.linalg.slogdet(2 * np.pi * covariance)[1]
    return float(-0.5 * (size + scores @ np.linalg.solve(covariance, scores)))


def test_a_result_at_the_floor_of_its_assay_says_at_most_this_and_not_exactly_this() -> None:
    whole = {**with_additive("k2-edta", 0.43)}
    assert whole["magnesium"] < 0.1
    floored = {**whole, "magnesium": 0.1}
    assert likely(sample(whole))[0] == likely(sample(floored))[0]
    table, found = states(), posterior(batch_of([sample(whole)])).rows[0]
    is_k2 = table.cause == CAUSES.index("k2-edta")
    # Much more EDTA than hides magnesium is not held against the cause.
    assert found[is_k2].sum() > 0.5
    assert np.average(table.share[is_k2], weights=found[is_k2]) == pytest.approx(0.43, abs=0.05)


@pytest.mark.parametrize("calcium", [2.10, 1.70])
def test_the_assays_of_calcium_and_of_phosphatase_may_answer_edta_each_in_its_own_way(calcium: float) -> None:
    # A fifth of EDTA plasma, phosphatase hardly moved: other laboratories' reagents differ from the published ones.
    values = {**with_additive("k2-edta", 0.2), "calcium": calcium, "alkaline-phosphatase": 50.0}
    found = likely(sample(values, *(key for key in PANEL if key != "magnesium")))[0]
    assert found["k2-edta"] + found["k3-edta"] > 0.2
