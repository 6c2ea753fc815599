"""`cubital suspect` as its contract has it: what it takes, what it answers, what it refuses.

Inputs that are refused are files named by their fault and by what the refusal says; all of them are invented.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from cubital import facts
from cubital.exchange.json_bytes import MOST_BYTES
from cubital.exchange.results_file import EARLIER_KEYS, RESULT_KEYS, SAMPLE_KEYS
from cubital.exchange.results_table import HEADINGS
from cubital.facts.causes import CAUSES
from cubital.facts.population import population
from tests.unit.cli.prompt import Said, say

DATA = Path(__file__).parents[2] / "data"
SOUND = DATA / "results" / "sound"
FAULTY = sorted(path for path in (DATA / "results").iterdir() if path.is_file())
# The names of the contract, written apart from the program's own list.
NAMES = [
    "none", "k2-edta", "k3-edta", "sodium-citrate", "fluoride-oxalate", "lithium-heparin", "sodium-heparin", "saline",
    "dextrose", "balanced-fluid", "hemolysis", "delayed-separation", "other-patient",
]  # fmt: skip


def suspect(value: Any, *arguments: str) -> Said:
    data = value if isinstance(value, bytes) else json.dumps(value).encode()
    return say("suspect", "-", *arguments, stdin=data)


def answers(path: Path) -> list[dict[str, Any]]:
    said = say("suspect", str(path), "--json")
    assert (said.status, said.err) == (0, "")
    return said.documents()


def check_document(found: dict[str, Any]) -> None:
    assert found["format"] == "cubital.suspect/1"
    assert [one["cause"] for one in found["causes"]] == NAMES == list(CAUSES)
    assert all(set(one) == {"cause", "probability"} and 0 <= one["probability"] <= 1 for one in found["causes"])
    assert math.fsum(one["probability"] for one in found["causes"]) == pytest.approx(1, abs=1e-4)
    share = found["fraction"]
    assert set(share) == {"estimate", "low", "high"}
    assert share["estimate"] is None or 0 <= share["low"] <= share["estimate"] <= share["high"] <= 1
    assert found["verdict"] in ("nothing found", "suspect", "cannot tell")
    assert isinstance(found["redraw"], bool)
    assert all(isinstance(one, str) for one in (*found["trusted"], *found["reasons"]))
    assert "never replaces" in found["reasons"][-1]


@pytest.mark.parametrize(
    ("name", "count", "ids"),
    [
        ("as_the_contract_says.json", 1, [None]),
        ("bare_results.json", 1, [None]),
        ("two_samples.json", 2, ["A", "B"]),
        ("one_analyte.json", 1, [None]),
        ("unknown_code_beside_known.json", 1, [None]),
        ("one_value_twice.json", 1, [None]),
        ("two_samples_with_byte_order_mark.csv", 2, ["A", "B"]),
        ("report_with_contained_observations.json", 1, ["r1"]),
        ("bundle_of_two_reports.json", 2, ["r1", "r2"]),
    ],
)
def test_every_form_of_input_is_answered_one_line_a_sample(name: str, count: int, ids: list[str | None]) -> None:
    found = answers(SOUND / name)
    assert [one.get("id") for one in found] == ids
    assert len(found) == count
    for one in found:
        check_document(one)


def test_every_sound_file_is_tried() -> None:
    assert len(list(SOUND.iterdir())) == 9


def test_standard_input_is_answered_as_the_file_is() -> None:
    for path in sorted(SOUND.iterdir()):
        said = suspect(path.read_bytes(), "--json")
        assert said.documents() == answers(path), path.name


def test_the_same_results_are_one_sample_in_json_csv_and_fhir() -> None:
    results = [{"code": "2823-3", "value": 5.1, "unit": "mmol/L"}, {"code": "2951-2", "value": 139, "unit": "mmol/L"}]
    of_json = suspect({"results": results}, "--json").documents()[0]
    of_csv = suspect(b"code,value,unit\n2823-3,5.1,mmol/L\n2951-2,139,mmol/L\n", "--json").documents()[0]
    of_fhir = answers(SOUND / "report_with_contained_observations.json")[0]
    del of_fhir["id"]
    assert of_json == of_csv == of_fhir


def test_one_analyte_cannot_tell_and_a_critical_one_is_drawn_again_before_acting() -> None:
    usual, critical = (
        suspect({"results": [{"code": "K", "value": value, "unit": "mmol/L"}]}, "--json").documents()[0]
        for value in (4.2, 6.8)
    )
    assert [usual["verdict"], critical["verdict"]] == ["cannot tell", "cannot tell"]
    assert [usual["redraw"], critical["redraw"]] == [False, True]
    assert "draw again before acting" in critical["reasons"][0]


def test_an_unknown_code_is_kept_and_reported_and_changes_nothing() -> None:
    found = answers(SOUND / "unknown_code_beside_known.json")[0]
    assert len(found["unread"]) == 2
    assert any("89579-7" in line for line in found["unread"])
    assert {key: value for key, value in found.items() if key != "unread"} == answers(SOUND / "one_analyte.json")[0]
    assert "not used: " in say("suspect", str(SOUND / "unknown_code_beside_known.json")).out


def test_one_value_that_is_there_twice_is_taken_once_and_said() -> None:
    found = answers(SOUND / "one_value_twice.json")[0]
    assert found["unread"] == ["results[1]: potassium as at results[0], taken once"]


def test_earlier_reports_of_the_subject_in_a_bundle_are_its_earlier_results() -> None:
    first, second = answers(SOUND / "bundle_of_two_reports.json")
    assert any("no earlier results" in reason for reason in first["reasons"])
    assert not any("no earlier results" in reason for reason in second["reasons"])


def test_observations_that_hl7_published_are_of_blood_and_not_of_plasma_so_kept_and_reported() -> None:
    # HL7 FHIR R4 (4.0.1), CC0: glucose (15074-8) and carbon dioxide (11557-6) in blood, and the report that names both.
    report, glucose, gas = (
        json.loads((DATA / "fhir-r4" / name).read_bytes())
        for name in (
            "diagnosticreport-example-f001-bloodexam.json", "observation-example-f001-glucose.json",
            "observation-example-f003-co2.json",
        )
    )
    alone = suspect(report)
    assert alone.status == 2
    assert "result[0]: found no Observation there" in alone.err
    named = report["entry"][0]["resource"]
    named["result"] = [{"reference": "Observation/f001"}, {"reference": "Observation/f003"}]
    report["entry"] += [{"resource": glucose}, {"resource": gas}]
    both = suspect(report)
    assert both.status == 2
    assert 'found "15074-8", "11557-6"; expected one analyte that is known here at least' in both.err
    potassium = json.loads((SOUND / "report_with_contained_observations.json").read_bytes())["contained"][0]
    named["result"].append({"reference": "Observation/k"})
    report["entry"].append({"resource": potassium})
    said = suspect(report, "--json").documents()[0]
    assert [line.split(": ")[1].split()[0] for line in said["unread"]] == ['"15074-8"', '"11557-6"']


@pytest.mark.parametrize("path", FAULTY, ids=lambda path: path.stem)
def test_every_faulty_file_is_refused_for_its_fault_by_its_place(path: Path) -> None:
    said = suspect(path.read_bytes(), "--json")
    expected = path.stem.split("__")[1].replace("-", " ")
    assert said.status == 2
    assert said.err.startswith("cubital: standard input")
    assert expected in said.err.replace("-", " ").replace("/", " ")
    (document,) = said.documents()
    assert document["format"] == "cubital.error/1"
    assert document["message"] in said.err
    assert "internal" not in said.err


@pytest.mark.parametrize(
    "data",
    [
        b'{"results": [{"code": "K", "value": 4, "unit": "mmol/L"}], "x": "' + b"x" * MOST_BYTES + b'"}',
        b"code,value,unit\n" + b"K,4.2,mmol/L\n" * (MOST_BYTES // 13 + 1),
    ],
    ids=["json", "csv"],
)
def test_a_huge_input_is_refused_and_never_read_in_part(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "huge"
    path.write_bytes(data)
    for said in (suspect(data), say("suspect", str(path))):
        assert (said.status, said.out) == (2, "")
        assert f"at most {MOST_BYTES}" in said.err or "at most so many" in said.err


def test_more_samples_than_are_taken_at_once_are_refused() -> None:
    lines = b"".join(b"%d,K,4.2,mmol/L\n" % number for number in range(10_001))
    said = suspect(b"sample,code,value,unit\n" + lines)
    assert said.status == 2
    assert "found 10001 samples; expected at most 10000" in said.err


def test_a_tube_is_named_by_a_kind_of_the_site_or_by_its_additive() -> None:
    results = [{"code": "Li", "value": 2.4, "unit": "mmol/L"}, {"code": "K", "value": 4.2, "unit": "mmol/L"}]
    kind, additive = (
        suspect({"results": results, "tube": tube}, "--demo", "--json").documents()[0]
        for tube in ("heparin-gel", "lithium-heparin")
    )
    assert kind == additive
    assert kind["redraw"]
    assert "lithium" not in kind["trusted"]


def test_the_sheet_says_the_verdict_first_and_the_same_facts() -> None:
    results = {"K": 6.4, "Ca": 1.9, "Mg": 0.5, "Na": 140.0, "Cl": 103.0}
    value = {"results": [{"code": code, "value": v, "unit": "mmol/L"} for code, v in results.items()], "id": "S1"}
    said, document = suspect(value), suspect(value, "--json").documents()[0]
    assert said.status == 0
    assert said.out.splitlines()[0] == "S1: suspect - draw again"
    assert document["verdict"] == "suspect"
    words = " ".join(said.out.split())
    for reason in document["reasons"]:
        assert " ".join(reason.split()) in words
    assert f"trusted: {', '.join(document['trusted'])}" in words


def test_the_order_of_results_and_their_units_do_not_matter() -> None:
    results = [
        {"code": "K", "value": 6.4, "unit": "mmol/L"}, {"code": "Ca", "value": 1.9, "unit": "mmol/L"},
        {"code": "glucose", "value": 5.0, "unit": "mmol/L"},
    ]  # fmt: skip
    turned = [
        {"code": "glucose", "value": 90.08, "unit": "mg/dL"}, {"code": "17861-6", "value": 3.8, "unit": "meq/L"},
        {"code": "2823-3", "value": 0.0064, "unit": "mol/L"},
    ]  # fmt: skip
    found, other = (suspect({"results": one}, "--json").documents()[0] for one in (results, turned))
    assert [one["probability"] for one in found["causes"]] == pytest.approx(
        [one["probability"] for one in other["causes"]], abs=2e-6
    )
    assert sorted(found["trusted"]) == sorted(other["trusted"])


def test_a_file_that_is_not_there_is_refused_in_words() -> None:
    said = say("suspect", "nowhere.json")
    assert (said.status, said.out) == (2, "")
    assert "nowhere.json: found No such file or directory" in said.err


def test_the_page_of_suspect_names_every_key_column_cause_and_analyte_with_its_codes() -> None:
    page = (Path(__file__).parents[3] / "docs" / "reference" / "suspect.md").read_text(encoding="utf-8")
    for word in (*SAMPLE_KEYS, *RESULT_KEYS, *EARLIER_KEYS, *HEADINGS, *NAMES):
        assert f"`{word}`" in page, word
    for key, analyte in population().analytes.items():
        codes = [facts.tests_table()[test].get("codes", {}).get("loinc") for test in analyte.tests]
        shown = ", ".join(f"`{code}`" for code in (*codes, *analyte.loinc) if code)
        low = "0" if analyte.can_be_zero else analyte.possible.low
        assert f"| `{key}` | `{analyte.unit}` | {shown} | {low} to {analyte.possible.high} |" in page
