"""What an index means for a test: by slope, by limit, by the site's policy, and once where nobody knows."""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.chemistry.carryover import allowable_error
from cubital.chemistry.hemolysis import rises_of
from cubital.facts.keeping import index_limits
from cubital.handling.indices import index_faults
from cubital.handling.receipt import own_wording, shared_wording
from cubital.handling.receipt_checks import judge
from cubital.handling.record import state_of
from cubital.model.specimen import Verdict
from cubital.model.vocabulary import AccessKey
from tests.contract.events import collected
from tests.published.hemolyzed import BAND, faults_of, plasma
from tests.published.shipped import SHIPPED
from tests.unit.handling.test_receipt import GOOD

SLOPED = [key for key in facts.analytes() if rises_of(key)]


def test_the_analytes_with_a_slope_are_those_that_a_source_or_their_cells_give_one() -> None:
    assert set(SLOPED) == {"potassium", "lactate-dehydrogenase", "aspartate-aminotransferase", "magnesium"}


@pytest.mark.parametrize("key", SLOPED)
def test_an_analyte_is_refused_over_the_index_at_which_its_steepest_slope_uses_up_its_allowable_error(key: str) -> None:
    analyte = facts.analytes()[key]
    allowed = allowable_error(analyte, float(analyte.typical))
    assert allowed is not None
    edge = Decimal(str(allowed[1])) / rises_of(key)[-1].per_g
    if edge < 10:
        assert [f.outcome for f in faults_of(analyte.tests[0], f"{edge + Decimal('0.001'):.4f}")] == ["refuse"]
        below = faults_of(analyte.tests[0], f"{edge - Decimal('0.001'):.4f}")
        assert not any("red cells raise it by" in found.text for found in below)
    else:
        assert not any("red cells raise it by" in found.text for found in faults_of(analyte.tests[0], "9.9"))


def test_a_refusal_by_slope_says_the_slopes_the_error_and_that_nothing_is_corrected() -> None:
    (found,) = faults_of("potassium", "0.7")
    assert "0.33 to 0.51 mmol/L for each g/L" in found.text
    assert "0.3 mmol/L that it may miss by (clia-2025); not corrected" in found.text
    (ld,) = faults_of("lactate-dehydrogenase", "0.4")
    assert "26 U/L that it may miss by at a typical 170" in ld.text


def test_a_range_is_said_only_where_a_source_measured_it() -> None:
    # What red cells hold of AST is from memory: it may refuse, it is no ground for a range.
    (found,) = faults_of("aspartate-aminotransferase", "3", site=BAND)
    assert found.outcome == "refuse"
    assert "too high" not in found.text
    assert "too high" in faults_of("lactate-dehydrogenase", "0.4", site=BAND)[0].text


def test_the_range_changes_no_verdict() -> None:
    for tenths in range(1, 120):
        for test in ("potassium", "sodium", "lactate-dehydrogenase", "iron"):
            plain, banded = (faults_of(test, f"{tenths / 10:g}", site=site) for site in (SHIPPED, BAND))
            assert [found.outcome for found in plain] == [found.outcome for found in banded]


def test_more_hemolysis_never_accepts_what_less_refused() -> None:
    order = {"accept": 0, "comment": 1, "refuse": 2}
    for test in {test for limit in index_limits() for test in limit.tests}:
        worst = 0
        for tenths in range(120):
            found = faults_of(test, f"{tenths / 10:g}")
            now = max((order[fault.outcome] for fault in found), default=0)
            assert now >= worst, (test, tenths)
            worst = now


@pytest.mark.parametrize(
    ("access", "outcomes"),
    [(None, ["comment"]), ("skin-puncture", ["refuse"]), ("straight-needle", [])],
)
def test_of_a_kind_that_the_site_no_longer_has_only_the_recorded_access_tells(
    access: AccessKey | None, outcomes: list[str]
) -> None:
    site = replace(SHIPPED, kinds={})
    heparin = plasma("heparin-gel", access=access)
    found = list(index_faults(SHIPPED.tests["potassium"], heparin, site, {"hemolysis": Decimal("0.4")}))
    assert [fault.outcome for fault in found if fault.outcome != "untold"] == outcomes


def test_a_test_on_whole_blood_is_not_refused_for_the_plasma_above_it() -> None:
    (found,) = faults_of("complete-blood-count", "12", kind="edta")
    assert (found.check, found.outcome) == ("index", "comment")


MANY = (
    "thyrotropin", "free-thyroxine", "vitamin-d", "ferritin", "cortisol", "prolactin", "testosterone", "c-peptide",
    "growth-hormone", "lutropin", "follitropin", "choriogonadotropin", "carcinoembryonic-antigen", "procalcitonin",
    "complement-c3", "complement-c4", "immunoglobulin-g", "immunoglobulin-a", "immunoglobulin-m", "rheumatoid-factor",
    "ceruloplasmin",
)  # fmt: skip


def test_what_is_not_known_of_21_tests_is_said_once_and_stands_in_each_verdict() -> None:
    tube = state_of([collected("t", kind="serum-gel", additive="clot-activator", gel=True, matrix="serum", tests=MANY)])
    indices = {**GOOD.indices, "hemolysis": Decimal("0.7")}
    found = judge(tube, SHIPPED, replace(GOOD, indices=indices))
    ((sentence, tests),) = shared_wording(found)
    assert sentence == "An index was measured of which no limit is known: hemolysis 0.7 g/L."
    judged = [one for one in found if one.outcome == "comment"]
    assert len(judged) >= 18
    assert tests == tuple(one.test for one in judged)
    assert all(sentence in one.wording and sentence not in own_wording(one) for one in judged)
    # The record keeps each verdict whole, and it is parted again from what the record keeps.
    assert shared_wording([one.verdict for one in found]) == shared_wording(found)


def test_what_a_test_has_of_its_own_stays_with_it_and_a_refusal_says_no_index() -> None:
    tube = state_of([collected("t", tests=("vitamin-b12", "sodium"))])
    seen = replace(GOOD, was_dark=None, indices={**GOOD.indices, "lipemia": Decimal(2)})
    vitamin, sodium = judge(tube, SHIPPED, seen)
    assert own_wording(vitamin) == "Not stated at receipt: whether it was kept from light."
    assert own_wording(sodium) == ""
    refused = judge(tube, SHIPPED, replace(seen, is_expired=True))
    assert shared_wording(refused) == ()
    assert own_wording(Verdict(test="a", outcome="accept")) == ""
