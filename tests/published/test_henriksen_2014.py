"""Henriksen and others. Whole blood stored 10 h at 21 C. Scand J Clin Lab Invest 2014;74:603-610, table II, PMC4219582
(read): 106 patients, lithium heparin and serum. Check 26.
"""

from __future__ import annotations

from cubital.facts.keeping import biases, keeping_claims
from tests.published.waiting import unspun

HEPARIN = "lithium-heparin"


def test_only_phosphate_passes_its_goal_of_bias() -> None:
    over = [bias.test for bias in biases() if abs(bias.percent) > bias.goal_percent]
    assert over == ["phosphate"]
    assert len(biases()) == 29


def test_exactly_what_met_both_goals_is_kept_for_10_hours_by_the_extended_policy() -> None:
    held = {
        test
        for claim in keeping_claims()
        if claim.mark.source == "henriksen-2014" and claim.held_min
        for test in claim.tests
    }
    met = {bias.test for bias in biases() if bias.is_precise and abs(bias.percent) <= bias.goal_percent}
    assert held == met
    # LD was found out of its limits by 7 h in another study (test_williams_2024.py): a failure caps what was held.
    assert unspun("lactate-dehydrogenase", HEPARIN, 10, "extended") == "past"
    for test in met - {"lactate-dehydrogenase"}:
        assert unspun(test, HEPARIN, 10, "extended") == "kept", test


def test_what_broke_a_goal_is_not() -> None:
    for test in ("phosphate", "potassium", "folate-serum"):
        assert unspun(test, HEPARIN, 10, "extended") == "past", test
