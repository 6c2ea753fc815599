"""Oostendorp, van Solinge, Kemperman. Arch Pathol Lab Med 2012;136:1262 (abstract read): potassium rises by 0.38 mmol/L
for each step of the index in 2,620 capillary samples and by 0.17 in 332,760 venous ones; LD by the same in both.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

from cubital.facts.hemolysis import hemolysis_facts
from cubital.model.vocabulary import AccessKey
from tests.published.hemolyzed import BAND, faults_of
from tests.published.shipped import SHIPPED


def test_the_factor_is_that_of_the_two_slopes() -> None:
    (found,) = hemolysis_facts().skin_punctures
    assert (found.analyte, round(Decimal("0.38") / Decimal("0.17"), 1)) == ("potassium", found.times)


@pytest.mark.parametrize(("grams_per_l", "outcomes"), [("0.26", []), ("0.27", ["refuse"])])
def test_potassium_of_a_skin_puncture_is_refused_at_less_than_half_the_index(
    grams_per_l: str, outcomes: list[str]
) -> None:
    # 2.2 x 0.51 x 0.267 = 0.3 mmol/L.
    puncture = faults_of("potassium", grams_per_l, kind="heparin-micro", access="skin-puncture")
    assert [found.outcome for found in puncture] == outcomes
    assert all("by skin puncture, which may be more than the 0.3 mmol/L" in found.text for found in puncture)
    assert faults_of("potassium", grams_per_l) == []


@pytest.mark.parametrize("access", ["syringe", "line"])
@pytest.mark.parametrize(("grams_per_l", "outcomes"), [("0.27", []), ("0.58", ["comment"]), ("0.59", ["refuse"])])
def test_the_same_micro_tube_filled_from_a_vein_is_judged_as_blood_of_a_vein(
    access: AccessKey, grams_per_l: str, outcomes: list[str]
) -> None:
    # 0.51 x 0.588 = 0.3 mmol/L; the comment from 0.5 g/L on is that of every kind.
    micro = faults_of("potassium", grams_per_l, kind="heparin-micro", access=access)
    assert [found.outcome for found in micro] == outcomes
    assert micro == faults_of("potassium", grams_per_l, access="straight-needle")


def test_ld_of_a_skin_puncture_is_judged_as_that_of_a_vein() -> None:
    puncture = faults_of("lactate-dehydrogenase", "0.4", kind="heparin-micro", access="skin-puncture")
    assert puncture == faults_of("lactate-dehydrogenase", "0.4") != []


@pytest.mark.parametrize(
    ("grams_per_l", "outcomes"), [("0.26", []), ("0.27", ["comment"]), ("0.58", ["comment", "comment"])]
)
def test_a_micro_tube_of_which_nobody_recorded_the_access_is_commented_and_not_taken_for_a_skin_puncture(
    grams_per_l: str, outcomes: list[str]
) -> None:
    found = faults_of("potassium", grams_per_l, kind="heparin-micro")
    assert [fault.outcome for fault in found] == outcomes
    for fault in found[:1]:
        assert "0.33 to 1.1 mmol/L for each g/L, the most if it is of a skin puncture, of which" in fault.text
        assert "of which the record does not tell; that may be more than the 0.3 mmol/L" in fault.text
        assert "oostendorp-2012" in fault.sources


def test_over_what_a_vein_allows_a_micro_tube_is_refused_whoever_filled_it() -> None:
    accesses: tuple[AccessKey | None, ...] = (None, "skin-puncture", "line")
    for access in accesses:
        (found,) = faults_of("potassium", "0.59", kind="heparin-micro", access=access)
        assert found.outcome == "refuse"


def test_a_kind_that_a_puncture_alone_fills_needs_no_record_of_the_access() -> None:
    kind = replace(SHIPPED.kinds["heparin-micro"], accesses=("skin-puncture",))
    site = replace(SHIPPED, kinds={**SHIPPED.kinds, "heparin-micro": kind})
    (found,) = faults_of("potassium", "0.27", kind="heparin-micro", site=site)
    assert (found.outcome, "by skin puncture" in found.text) == ("refuse", True)


@pytest.mark.parametrize(("kind", "access"), [("heparin-gel", "skin-puncture"), ("heparin-micro", "straight-needle")])
def test_an_access_that_cannot_fill_the_kind_is_taken_for_no_answer(kind: str, access: AccessKey) -> None:
    (found,) = faults_of("potassium", "0.27", kind=kind, access=access)
    assert found.outcome == "comment"


def test_a_site_whose_kind_every_access_fills_is_told_that_it_may_be_a_skin_puncture() -> None:
    kind = replace(SHIPPED.kinds["heparin-micro"], accesses=None)
    site = replace(SHIPPED, kinds={**SHIPPED.kinds, "heparin-micro": kind})
    (found,) = faults_of("potassium", "0.27", kind="heparin-micro", site=site)
    assert found.outcome == "comment"
    assert faults_of("potassium", "0.27", kind="heparin-micro", site=site, access="winged-set") == []


def test_the_range_that_a_site_wants_said_is_said_once_and_names_what_is_not_known() -> None:
    said = [found.text for found in faults_of("potassium", "0.55", kind="heparin-micro", site=BAND)]
    (told,) = [text for text in said if "too high" in text]
    # 0.33 x 0.55 and 2.2 x 0.51 x 0.55.
    assert "it reads about 0.2 to 0.6 mmol/L too high (the most if it is of a skin puncture)" in told
