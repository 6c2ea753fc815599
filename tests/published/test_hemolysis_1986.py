"""Haemolysis as an interference factor in clinical chemistry. J Clin Chem Clin Biochem 1986;24:127 (abstract read):
26 tests with hemolysate to 6.6 g/L; and Koseoglu and others. Biochem Med 2011;21:79 (abstract read): 16 volunteers to
4.5 g/L.
"""

from __future__ import annotations

import pytest

from tests.published.hemolyzed import faults_of

# Erroneously high or low from above this: no test of these is silent there, whatever stricter source decides.
DISTURBED = {
    "lactate-dehydrogenase": "0.21", "aspartate-aminotransferase": "1.51", "potassium": "1.51",
    "creatine-kinase": "2.51", "alanine-aminotransferase": "3.41", "total-bilirubin": "0.81",
    "alkaline-phosphatase": "1.51", "gamma-glutamyltransferase": "3.01",
}  # fmt: skip


@pytest.mark.parametrize(("test", "grams_per_l"), DISTURBED.items())
def test_what_was_found_disturbed_is_never_silent(test: str, grams_per_l: str) -> None:
    assert faults_of(test, grams_per_l)


@pytest.mark.parametrize("test", ["calcium", "creatinine", "sodium", "urea-nitrogen", "transferrin"])
def test_what_was_undisturbed_to_6_6_grams_is_silent_to_there_and_not_beyond(test: str) -> None:
    assert faults_of(test, "6.6") == []
    (found,) = faults_of(test, "6.7")
    assert (found.check, found.outcome) == ("hemolysis", "comment")
    assert "and no further" in found.text


@pytest.mark.parametrize(
    "test",
    ["chloride", "glucose", "hdl-cholesterol", "magnesium", "total-protein", "triglycerides", "urate"],
)
def test_what_two_studies_found_within_limits_is_silent_as_far_as_the_shorter_one_looked(test: str) -> None:
    assert faults_of(test, "4.5") == []
    assert [found.outcome for found in faults_of(test, "4.6")] == ["comment"]


@pytest.mark.parametrize("test", ["albumin", "amylase", "iron"])
def test_where_sources_disagree_the_comment_says_so(test: str) -> None:
    assert faults_of(test, "0.49") == []
    (found,) = faults_of(test, "0.5")
    assert found.outcome == "comment"
    assert "sources disagree" in found.text
