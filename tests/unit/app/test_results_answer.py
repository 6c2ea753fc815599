"""The answer about results as a page shows it. Values are invented unless a source is named."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import msgspec
import pytest

from cubital.app.results_answer import MOST_SHOWN, ResultsAnswer, answer_file, answer_typed_results, odds_of
from cubital.app.suspicion import suspect
from cubital.app.wiring import open_site, read_samples
from cubital.facts.causes import CAUSES
from cubital.inference.verdict import Fraction, Suspicion
from cubital.model import Site
from cubital.web.results_page import EXAMPLE


@pytest.fixture(scope="module")
def site() -> Site:
    return open_site(demo=True)


def typed(site: Site, text: str, earlier: str = "", hours: int | None = None, **fields: Any) -> ResultsAnswer:
    hours_before = None if hours is None else Decimal(hours)
    return answer_typed_results(text, earlier, fields, site, hours_before=hours_before)


def test_the_example_is_suspected_drawn_again_and_says_what_to_trust(site: Site) -> None:
    (found,) = typed(site, EXAMPLE["results"], EXAMPLE["earlier"], 24).samples
    assert found.headline.startswith("Suspect: K2 EDTA")
    assert found.odds == "over 99 % likely; nothing, under 1 %"
    assert found.act == "Draw again before acting"
    assert found.why.startswith("potassium 6.2 mmol/L would call for action")
    assert [row.name for row in found.results if row.is_trusted] == ["sodium", "creatinine", "albumin"]
    potassium = next(row for row in found.results if row.name == "potassium")
    assert potassium.without is not None
    assert potassium.without.startswith("4.")
    assert found.share is not None
    assert found.share.low < 0.11 < found.share.high
    assert "never replaces it" in found.caution
    assert "davidson-2002" in {key for part in found.told.sections for one in part.statements for key in one.sources}


def test_what_is_suspected_while_nothing_is_likelier_says_both() -> None:
    chances = {"none": 0.72, "k2-edta": 0.2, "k3-edta": 0.05, "hemolysis": 0.03}
    found = Suspicion(
        causes=tuple((key, chances.get(key, 0.0)) for key in CAUSES), fraction=Fraction(), trusted=(), reasons=("", ""),
        verdict="suspect", redraw=False,
    )  # fmt: skip
    assert odds_of(found) == "25 % likely; nothing, 72 %"
    assert odds_of(msgspec.structs.replace(found, verdict="cannot tell")) == ""


def test_the_page_says_what_the_command_says(site: Site) -> None:
    data = b"code,value,unit\nK,6.2,mmol/L\nCa,2.0,mmol/L\nMg,0.4,mmol/L\nNa,139,mmol/L\n"
    (found,) = suspect(read_samples(data, site))
    (shown,) = answer_file(data, site, where="file").samples
    (lines,) = typed(site, "K 6.2 mmol/L\nCa 2.0 mmol/L\nMg 0.4 mmol/L\nNa 139 mmol/L").samples
    assert shown == lines
    assert {one.key: one.chance for one in shown.likelihoods}.items() <= dict(found.causes).items()
    assert (shown.verdict, shown.is_drawn_again) == (found.verdict, found.redraw)
    names = {"potassium", "total calcium", "magnesium", "sodium"}
    assert {row.name for row in shown.results} == names


def test_the_likelihoods_come_likeliest_first_and_never_say_certain(site: Site) -> None:
    (found,) = typed(site, EXAMPLE["results"]).samples
    chances = [one.chance for one in found.likelihoods]
    assert chances == sorted(chances, reverse=True)
    assert all(one.words not in ("0 %", "100 %") for one in found.likelihoods)


def test_usual_results_are_nothing_found_and_no_more_than_that(site: Site) -> None:
    (found,) = typed(site, "K 4.2 mmol/L\nNa 140 mmol/L\nCa 2.3 mmol/L").samples
    assert (found.headline, found.is_drawn_again, found.share) == ("Nothing found", False, None)
    assert found.act == "A small share is never excluded."


def test_one_refused_line_keeps_everything_from_being_weighed(site: Site) -> None:
    found = typed(site, "K 6.2 mmol/L\nNa 139 mEq/L\nCa 2.0 mmol/L")
    assert found.samples == ()
    assert [line.number for line in found.refused_lines] == [2]


def test_an_unknown_test_is_said_and_the_rest_is_weighed(site: Site) -> None:
    found = typed(site, "K 4.2 mmol/L\ntroponin 3 ng/L\nNa 140 mmol/L")
    assert found.samples[0].headline == "Nothing found"
    assert "takes no part" in found.lines[1].said


def test_only_unknown_tests_are_nothing_to_weigh(site: Site) -> None:
    found = typed(site, "troponin 3 ng/L")
    assert (found.samples, found.refusal, len(found.lines)) == ((), None, 1)


def test_the_tube_the_index_and_the_patient_reach_the_answer(site: Site) -> None:
    (lithium,) = typed(site, "Li 0.9 mmol/L\nNa 140 mmol/L\nK 4 mmol/L", tube="heparin-gel").samples
    assert lithium.is_drawn_again
    assert any("cannot be measured in a tube with lithium-heparin" in reason for reason in lithium.reasons)
    (red,) = typed(site, "K 6.0 mmol/L\nNa 140 mmol/L\nLD 400 U/L", hemolysis_g_l=Decimal(3)).samples
    assert red.headline == "Suspect: hemolysis"
    (child,) = typed(site, "K 4.2 mmol/L\nNa 140 mmol/L", patient={"age": "4 a"}).samples
    assert any("child" in reason for reason in child.reasons)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"tube": "bucket"}, "expected a tube kind"),
        ({"hemolysis_g_l": Decimal(300)}, "0 to 200"),
        ({"patient": {"age": "200 a"}}, "130 years"),
    ],
)
def test_a_field_that_cannot_be_is_refused_by_its_name(site: Site, fields: dict[str, Any], said: str) -> None:
    found = typed(site, "K 4.2 mmol/L", **fields)
    assert found.samples == ()
    assert said in str(found.refusal)


def test_a_pasted_table_says_that_the_fields_beside_it_are_not_used(site: Site) -> None:
    found = typed(site, "code,value,unit\nK,4.2,mmol/L\nNa,140,mmol/L\n", tube="heparin-gel")
    assert len(found.samples) == 1
    assert "not used" in found.note
    assert typed(site, "code,value,unit\nK,4.2,mmol/L\nNa,140,mmol/L\n").note == ""


def test_a_file_of_more_samples_than_a_page_shows_is_refused(site: Site) -> None:
    rows = [{"results": [{"code": "K", "value": 4.2, "unit": "mmol/L"}]}] * (MOST_SHOWN + 1)
    found = answer_file(json.dumps(rows).encode(), site, where="file")
    assert found.samples == ()
    assert "cubital suspect" in str(found.refusal)
    assert len(answer_file(json.dumps(rows[1:]).encode(), site, where="file").samples) == MOST_SHOWN


def test_more_lines_than_a_sample_has_are_refused(site: Site) -> None:
    found = typed(site, "K 4.2 mmol/L\n" * 251)
    assert "at most 250" in str(found.refusal)


def test_nothing_typed_is_neither_answer_nor_refusal(site: Site) -> None:
    found = typed(site, " \n")
    assert (found.samples, found.refusal, found.lines) == ((), None, ())
