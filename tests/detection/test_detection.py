"""A small and steady part of the evaluation, on the development half: fails where detection breaks. Seeds are fixed.

The whole evaluation, on the other half, is `python -m tests.detection.evaluation`; its figures are in
docs/explanation/what-went-into-the-tube.md. Limits here are a little below what was measured.
"""

from __future__ import annotations

import numpy as np
import pytest

from cubital.facts.causes import CAUSES
from cubital.inference.verdict import suspicions
from tests.detection.clean_set import NEEDED, Floats, Half, collections
from tests.detection.rules import RULES
from tests.detection.scores import (
    NONE,
    area_under,
    calibration,
    calibration_error,
    chances,
    curve,
    of_family,
    sensitivity_at,
)  # fmt: skip
from tests.detection.trials import CLEAN, Setting, trial

ALONE, BESIDE = Setting("development", "8", has_earlier=False), Setting("development", "8", has_earlier=True)


@pytest.fixture(scope="module")
def clean() -> Floats:
    """The probabilities of the clean half, without earlier results."""
    return chances(trial(ALONE, CLEAN, 0).samples)


def test_the_clean_set_is_the_whole_one_and_no_subject_is_in_both_halves() -> None:
    names: tuple[Half, Half] = ("development", "evaluation")
    halves = [collections(name) for name in names]
    assert sum(len(half.subject) for half in halves) == 1802
    assert sum(len(set(half.subject.tolist())) for half in halves) == 254
    assert all(np.isfinite(half.values[name]).all() for half in halves for name in NEEDED)
    # Clean by what is known of it: no potassium over 6, no calcium under 1.8.
    assert max(half.values["potassium"].max() for half in halves) <= 6.0
    assert min(half.values["calcium"].min() for half in halves) >= 1.8


def test_a_tenth_of_edta_plasma_is_found_and_a_hundredth_is_not(clean: Floats) -> None:
    found = {dose: of_family(chances(trial(ALONE, "k2-edta", dose).samples), "k2-edta") for dose in (0.01, 0.1)}
    score = of_family(clean, "k2-edta")
    assert sensitivity_at(score, found[0.1]) > 0.94
    assert area_under(score, found[0.1]) > 0.99
    assert sensitivity_at(score, found[0.01]) < 0.2


def test_earlier_results_do_not_hide_a_tenth_of_edta_plasma() -> None:
    score, found = (
        of_family(chances(trial(BESIDE, *kind).samples), "k2-edta") for kind in ((CLEAN, 0), ("k2-edta", 0.1))
    )
    assert sensitivity_at(score, found) > 0.94


@pytest.mark.parametrize(
    ("cause", "dose", "least"),
    [
        ("saline", 0.2, 0.95), ("dextrose", 0.1, 0.85), ("sodium-citrate", 0.3, 0.9), ("fluoride-oxalate", 0.1, 0.97),
        ("citrate-lock", 0.01, 0.7), ("citrate-lock", 0.05, 0.97),
    ],
)  # fmt: skip
def test_larger_shares_of_other_causes_are_found(cause: str, dose: float, least: float, clean: Floats) -> None:
    bad = of_family(chances(trial(ALONE, cause, dose).samples), cause)
    assert sensitivity_at(of_family(clean, cause), bad) > least


def test_hardly_a_clean_sample_is_suspected_or_drawn_again() -> None:
    answers = suspicions(trial(ALONE, CLEAN, 0).samples)
    assert np.mean([answer.verdict == "suspect" for answer in answers]) <= 0.01
    assert np.mean([answer.redraw for answer in answers]) <= 0.02


def test_no_published_rule_without_earlier_results_finds_more_at_its_own_false_alarms(clean: Floats) -> None:
    now = trial(ALONE, CLEAN, 0).now
    for rule in RULES:
        if rule.needs_earlier or rule.needs_zinc:
            continue
        alarms = int(rule.ask(now, {}).sum())
        for cause in rule.causes[:1]:
            bad = trial(ALONE, cause, 0.2)
            limit = np.sort(of_family(clean, cause))[::-1][alarms]
            ours = float((of_family(chances(bad.samples), cause) > limit).mean())
            assert ours >= float(rule.ask(bad.now, {}).mean()), rule.name


def test_as_common_as_in_routine_the_probabilities_are_about_the_shares(clean: Floats) -> None:
    bad = chances(trial(ALONE, "k2-edta", 0.1).samples)
    probability = 1 - np.concatenate([clean, bad])[:, NONE]
    is_bad = np.repeat([False, True], [len(clean), len(bad)])
    weight = np.where(is_bad, 0.0046, 1 - 0.0046)
    assert calibration_error(calibration(probability, is_bad, weight)) < 0.03


def test_the_scores_themselves_are_right_on_what_can_be_counted() -> None:
    good, bad = np.array([0.1, 0.2, 0.3, 0.4]), np.array([0.25, 0.35, 0.5, 0.6])
    assert area_under(good, bad) == pytest.approx(13 / 16)
    assert sensitivity_at(good, bad, 0.75) == 0.5
    false_alarms, sensitivities = curve(good, bad)
    assert (false_alarms[0], sensitivities[0]) == (0, 0)
    assert (false_alarms[-1], sensitivities[-1]) == (1, 1)
    bins = calibration(np.array([0.05, 0.05, 0.95, 0.95]), np.array([False, True, True, True]), np.ones(4))
    assert calibration_error(bins) == pytest.approx(0.5 * 0.45 + 0.5 * 0.05)


def test_a_sample_without_anything_in_it_is_that_of_the_set_but_for_how_it_is_measured() -> None:
    set_, made = collections("development"), trial(ALONE, CLEAN, 0)
    assert np.nanmax(np.abs(made.now["sodium"] / set_.values["sodium"] - 1)) < 0.05
    assert CAUSES[0] == CLEAN
