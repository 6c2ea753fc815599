"""What is shipped of keeping, drift, timing and indices is of tests that exist; nothing remembered lengthens."""

from __future__ import annotations

from cubital import facts
from cubital.facts.keeping import (
    INDICES,
    biases,
    checks,
    drifts,
    house_rules,
    index_limits,
    keeping_claims,
    timings,
)
from cubital.handling.keeping import POLICIES, rules_of

DIRECTORY = facts.tests_table()


def test_every_claim_is_of_tests_that_exist() -> None:
    named = [entry.tests for entry in keeping_claims()]
    named += [entry.tests for entry in drifts()] + [entry.tests for entry in index_limits()]
    for tests in named:
        assert set(tests) <= set(DIRECTORY), tests
    assert {bias.test for bias in biases()} <= set(DIRECTORY)
    assert set(timings()) <= set(DIRECTORY)


def test_only_a_text_that_was_read_lengthens() -> None:
    for claim in keeping_claims():
        if claim.held_min is not None:
            assert facts.sources()[claim.mark.source].seen != "memory", claim


def test_a_time_after_a_dose_is_said_in_the_directory_too() -> None:
    for test in timings():
        assert "timed" in DIRECTORY[test], test


def test_the_house_rules_are_called_what_they_are() -> None:
    assert set(house_rules()) == {"at_once", "passing"}
    assert {rule.mark.basis for rule in house_rules().values()} == {"common-practice"}


def test_limits_that_nobody_gave_are_not_there() -> None:
    assert {limit.index for limit in index_limits()} == {"hemolysis"}
    assert set(INDICES) <= set(checks())


def test_no_rule_of_the_strict_policy_ends_after_that_of_the_extended_one() -> None:
    for key in DIRECTORY:
        terms = tuple(term for term in facts.handling_terms() if term in DIRECTORY[key])
        for family in ("none", "heparin", "edta", "citrate", "fluoride"):
            strict, extended = (rules_of(key, terms, family, policy) for policy in POLICIES)
            assert set(strict) == set(extended)
            for place, rule in strict.items():
                assert rule.end(600)[0] <= extended[place].end(600)[0], (key, place)
                assert rule.end(600)[0] <= extended[place].sure_end(place[0], 600), (key, place)
