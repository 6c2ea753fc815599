"""Results in JSON, CSV and FHIR to samples: units exactly, unknown ones refused, unknown analytes kept and said."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import pytest

from cubital.errors import CubitalError, ExchangeError, OrderError, UnitError
from cubital.exchange.fhir_results import MOST_OF_SUBJECT, read_fhir_results
from cubital.exchange.result_names import meaning_of
from cubital.exchange.result_units import to_own_unit
from cubital.exchange.results_file import MOST_RESULTS, read_results
from cubital.exchange.results_table import read_results_table
from cubital.facts.population import population
from cubital.model.results import ResultSet
from cubital.planning.directory import has_loinc_check_digit

LOINC, UCUM = "http://loinc.org", "http://unitsofmeasure.org"
K: dict[str, Any] = {"code": "K", "value": 4.2, "unit": "mmol/L"}


def known(name: str) -> str:
    if name != "edta":
        raise OrderError("found another; expected edta", where="tube")
    return "k2-edta"


def read(value: Any) -> list[ResultSet]:
    return read_results(json.dumps(value), additive_of=known)


def one(*results: dict[str, Any], **more: Any) -> ResultSet:
    return read({"results": list(results), **more})[0]


# Factors by IUPAC conventional atomic weights (from memory): glucose 18.016 mg/dL, calcium 4.0078 mg/dL, creatinine
# 0.011312 mg/dL per umol/L, urea nitrogen 2.8014 mg/dL, magnesium 2.4305 mg/dL, bilirubin 0.058466 mg/dL.
@pytest.mark.parametrize(
    ("code", "value", "unit", "expected"),
    [
        ("2823-3", 4.2, "meq/L", 4.2),
        ("glucose", 18.016, "mg/dL", 1.0),
        ("Ca", 4.0078, "mg/dL", 1.0),
        ("Ca", 5.0, "meq/L", 2.5),
        ("creatinine", 1.1312, "mg/dL", 100.0),
        ("BUN", 28.014, "mg/dL", 10.0),
        ("urea", 60.06, "mg/dL", 10.0),
        ("Mg", 2.4305, "mg/dL", 1.0),
        ("total-bilirubin", 0.58466, "mg/dL", 10.0),
        ("ALP", 1.0, "ukat/L", 60.0),
        ("ALP", 60, "[IU]/L", 60.0),
        ("albumin", 4.2, "g/dL", 42.0),
        ("zinc", 6538, "ug/L", 100.0),
        ("Na", 0.14, "mol/L", 140.0),
        ("K", 4.2, "mmol/l", 4.2),
    ],
)
def test_units_are_converted_by_molar_mass_and_charge(code: str, value: float, unit: str, expected: float) -> None:
    assert one({"code": code, "value": value, "unit": unit}).results[0].value == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(
    ("code", "value", "unit", "said"),
    [
        ("K", 4.2, "mEq/L", "write meq/L"),
        ("K", 4.2, "mmol", "UCUM unit"),
        ("K", 4.2, "MMOL/L", "UCUM unit"),
        ("K", 4.2, "mmHg", "UCUM unit"),
        ("albumin", 0.6, "mmol/L", "converts to g/L"),
        ("ALP", 70, "g/L", "converts to U/L"),
        ("BUN", 5, "mmol/L", "urea nitrogen"),
        ("phosphate", 2, "meq/L", "converts to mmol/L"),
    ],
)
def test_a_unit_that_is_unknown_or_not_the_analyte_s_is_refused(code: str, value: float, unit: str, said: str) -> None:
    with pytest.raises(UnitError, match=said) as caught:
        one({"code": code, "value": value, "unit": unit})
    assert "results[0].unit" in caught.value.where


def test_a_value_in_another_spelling_of_its_unit_is_the_same_value() -> None:
    spellings = [(Fraction("9.4"), "mg/dL"), (Fraction("94"), "mg/L"), (Fraction("0.094"), "g/L")]
    found = {to_own_unit(value, unit, population().analytes["calcium"], where="x") for value, unit in spellings}
    assert len(found) == 1


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ({"results": []}, "one at least"),
        ({}, "one at least"),
        ({"results": [{"code": "K", "value": 4.2}]}, "expected a UCUM unit"),
        ({"results": [{"value": 4.2, "unit": "mmol/L"}]}, "LOINC code or a name"),
        ({"results": [{"code": "K", "unit": "mmol/L"}]}, "expected a number"),
        ({"results": [{**K, "value": "4.2"}]}, "without quotes"),
        ({"results": [{**K, "value": True}]}, "expected a number"),
        ({"results": [{**K, "value": -1}]}, "0.5 to 80 mmol/L"),
        ({"results": [{**K, "value": 0}]}, "0.5 to 80 mmol/L"),
        ({"results": [{"code": "Ca", "value": 9.4, "unit": "mmol/L"}]}, "check value and unit"),
        ({"results": [K, {**K, "code": "2823-3", "value": 5}]}, "each analyte once"),
        ({"results": [{**K, "low": 3.5}]}, "both"),
        ({"results": [{**K, "low": 5, "high": 4}]}, "interval above 0"),
        ({"results": [{"code": "troponin", "value": 1, "unit": "ng/L"}]}, "one analyte that is known"),
        ({"results": [K] * (MOST_RESULTS + 1)}, "at most"),
        ({"results": [K], "tube": "bucket"}, "expected edta"),
        ({"results": [K], "hemolysis_g_l": -1}, "0 to 200"),
        ({"results": [K], "hemolysis_g_l": 300}, "0 to 200"),
        ({"results": [K], "previous": [K]}, "hours over 0"),
        ({"results": [K], "previous": [{**K, "hours_before": -1}]}, "hours over 0"),
        ({"results": [K], "previous": [{**K, "hours_before": 0}]}, "hours over 0"),
        ({"results": [{**K, "low": 3.5, "high": 81}]}, "up to 80"),
        ({"results": [{**K, "low": 3.5, "high": 3.55}]}, "1.02 times"),
        ({"results": [K], "previous": [{**K, "hours_before": 5}] * 2}, "twice at one time"),
        ({"results": [K], "patient": {"age": 40}}, "UCUM unit of age"),
        ({"result": [K]}, "write results"),
        ([], "expected 1 to"),
        ("K", "expected an object"),
    ],
)
def test_what_is_not_sound_is_refused(value: Any, said: str) -> None:
    with pytest.raises(CubitalError, match=said):
        read(value)


@pytest.mark.parametrize(
    "text", ['{"results": [{"code": "K", "value": NaN, "unit": "mmol/L"}]}', "{", "", '{"a":1,"a":2}']
)
def test_what_is_not_json_is_refused(text: str) -> None:
    with pytest.raises(ExchangeError):
        read_results(text, additive_of=known)


def test_an_analyte_that_is_not_known_is_kept_said_and_takes_no_part() -> None:
    found = one(
        K, {"code": "potasium", "value": 4.0, "unit": "mmol/L"}, {"code": "89579-7", "value": 3, "unit": "ng/L"}
    )
    assert [result.analyte for result in found.results] == ["potassium"]
    assert '"potasium" is not an analyte known here and takes no part, is it potassium?' in found.unread[0]
    assert "89579-7" in found.unread[1]


def test_what_an_additive_hides_wholly_may_be_nothing() -> None:
    assert one({"code": "Ca", "value": 0, "unit": "mmol/L"}).results[0].value == 0


def test_tube_hemolysis_patient_id_and_earlier_results_are_read() -> None:
    found = one(
        {**K, "low": 3.5, "high": 5.2}, previous=[{**K, "hours_before": 30}], tube="edta", hemolysis_g_l=0.3,
        patient={"age": "40 a", "sex": "female"}, id="S1", note="x",
    )  # fmt: skip
    assert (found.additive, found.hemolysis_g_per_l, found.id) == ("k2-edta", 0.3, "S1")
    assert found.previous[0].hours_before == 30
    assert found.results[0].high == 5.2
    assert found.patient.age_h == 40 * 8766
    assert found.unread == ("note",)


def test_urea_and_its_nitrogen_are_told_apart_by_name_and_code() -> None:
    for code, is_nitrogen in (("urea", False), ("22664-7", False), ("BUN", True), ("3094-0", True)):
        meaning = meaning_of(code)
        assert meaning is not None
        assert meaning.is_urea_nitrogen is is_nitrogen


def test_every_loinc_of_the_population_bears_its_check_digit() -> None:
    codes = [code for analyte in population().analytes.values() for code in analyte.loinc]
    assert len(codes) > 10
    assert [code for code in codes if not has_loinc_check_digit(code)] == []


HEADING = b"sample,code,value,unit,hours_before,tube,age\n"
CSV = HEADING + b"A,K,5.1,mmol/L,,edta,40 a\nA,Na,140,mmol/L,,,\nA,K,4.1,mmol/L,24,,\n"


def test_csv_is_read_sample_by_sample() -> None:
    found = read_results_table(b"\xef\xbb\xbf" + CSV + b"B,K,4.0,mmol/L,,,\n", additive_of=known)
    assert [(one.id, len(one.results), len(one.previous), one.additive) for one in found] == [
        ("A", 2, 1, "k2-edta"),
        ("B", 1, 0, None),
    ]
    assert found[0].patient.age_h == 40 * 8766


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"code,value\nK,4\n", "no column unit"),
        (b"code,value,unit,colour\n", "'colour'"),
        (b"code,value,unit\n", "no results"),
        (b"code,value,unit\nK,4\n", "line 2.*2 cells; expected 3"),
        (b"code,value,unit\nK,<4,mmol/L\n", "line 2 value.*'<4'"),
        (b"code,value,unit\nK,4;2,mmol/L\n", "expected a number"),
        (b"code,value,unit\nNa,140,mmol/L\nK,4.2,mEq/L\n", "line 3.unit"),
        (b"code,value,unit\nK,,mmol/L\n", "expected a number"),
        (b"code,value,unit,tube\nK,4,mmol/L,edta\nNa,140,mmol/L,serum\n", "line 3.*another tube"),
        (b"\xff\xfe", "not UTF-8"),
        (b'code,value,unit\n"K,4,mmol/L', "not CSV"),
    ],
)
def test_bad_csv_is_refused_by_its_line(text: bytes, said: str) -> None:
    with pytest.raises(CubitalError, match=said):
        read_results_table(text, additive_of=known)


def observation(code: str, value: Any, unit: str = "mmol/L", **fields: Any) -> dict[str, Any]:
    quantity = {"value": value, "unit": unit, "system": UCUM, "code": unit}
    return {
        "resourceType": "Observation", "id": f"o{code}", "status": "final",
        "code": {"coding": [{"system": LOINC, "code": code}]}, "valueQuantity": quantity, **fields,
    }  # fmt: skip


def report(*observations: dict[str, Any], **fields: Any) -> dict[str, Any]:
    return {
        "resourceType": "DiagnosticReport", "status": "final", "contained": list(observations),
        "result": [{"reference": f"#{one['id']}"} for one in observations], **fields,
    }  # fmt: skip


def read_fhir(value: Any) -> list[ResultSet]:
    return read_fhir_results(json.dumps(value), additive_of=known)


def test_a_report_with_contained_observations_is_a_sample() -> None:
    interval = [{"low": {"value": 3.4, "code": "mmol/L"}, "high": {"value": 5.4, "code": "mmol/L"}}]
    found = read_fhir(report(observation("2823-3", 5.1, referenceRange=interval), observation("2951-2", 140), id="R"))
    assert [(r.analyte, r.value, r.low, r.high) for r in found[0].results] == [
        ("potassium", 5.1, 3.4, 5.4),
        ("sodium", 140, None, None),
    ]
    assert found[0].id == "R"


def bundle_of_two() -> dict[str, Any]:
    entries: list[dict[str, Any]] = []
    for number, (value, moment) in enumerate(((4.1, "2026-11-24T08:00:00Z"), (6.3, "2026-11-25T08:00:00Z"))):
        entries.append({"fullUrl": f"urn:o{number}", "resource": observation("2823-3", value)})
        one = report(
            effectiveDateTime=moment, subject={"reference": "Patient/p"}, result=[{"reference": f"urn:o{number}"}]
        )
        entries.append({"fullUrl": f"urn:r{number}", "resource": {**one, "id": f"r{number}"}})
    entries.append({"resource": {"resourceType": "Patient", "id": "p", "birthDate": "1980-11-25"}})
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}


def test_reports_of_one_subject_are_earlier_results_of_the_later_and_the_age_is_taken() -> None:
    first, second = read_fhir(bundle_of_two())
    assert first.previous == ()
    assert [(e.analyte, e.value, e.hours_before) for e in second.previous] == [("potassium", 4.1, 24.0)]
    assert second.patient.age_h is not None
    assert second.patient.age_h // 8766 in (45, 46)


def test_more_reports_of_one_subject_than_are_held_against_each_other_are_refused() -> None:
    def bundle(count: int) -> dict[str, Any]:
        reports = [
            {**report(observation("2823-3", 4.1)), "subject": {"reference": "Patient/p"},
             "effectiveDateTime": f"2026-11-{1 + number // 24:02}T{number % 24:02}:00:00Z"}
            for number in range(count)
        ]  # fmt: skip
        return {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in reports]}

    assert len(read_fhir(bundle(MOST_OF_SUBJECT))[-1].previous) == MOST_OF_SUBJECT - 1
    with pytest.raises(OrderError, match="split the Bundle"):
        read_fhir(bundle(MOST_OF_SUBJECT + 1))


def test_withdrawn_bounded_and_worded_observations_take_no_part_and_are_said() -> None:
    bounded = observation("2000-8", 1.0)
    bounded["valueQuantity"]["comparator"] = "<"
    worded = {key: value for key, value in observation("2601-3", 1).items() if key != "valueQuantity"}
    found = read_fhir(
        report(observation("2823-3", 5.1), observation("2951-2", 140, status="entered-in-error"), bounded, worded)
    )
    assert len(found[0].results) == 1
    assert len(found[0].unread) == 3


def test_a_report_of_nothing_but_bounds_is_refused_with_each_of_them() -> None:
    bounded = observation("2823-3", 1.5)
    bounded["valueQuantity"]["comparator"] = "<"
    with pytest.raises(CubitalError, match=r"contained\[0\]: a quantity that is a bound \(<\) takes no part; expected"):
        read_fhir(report(bounded))


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ({"resourceType": "Patient"}, "DiagnosticReport or a Bundle"),
        ([], "DiagnosticReport or a Bundle"),
        ({"resourceType": "Bundle", "entry": []}, "no DiagnosticReport"),
        (report(), "no Observation"),
        (report(observation("2823-3", 4), status="cancelled"), "status"),
        (report(observation("2823-3", 4, "mEq/L")), "write meq/L"),
        (report(observation("2823-3", "4")), "without quotes"),
        ({**report(observation("2823-3", 4)), "result": [{"reference": "#x"}]}, "no Observation there"),
        (report(observation("2823-3", 4), observation("6298-4", 5)), "each analyte once"),
        (report(observation("2823-3", 4, modifierExtension=[{}])), "modifierExtension"),
    ],
)
def test_fhir_that_is_not_sound_is_refused(value: Any, said: str) -> None:
    with pytest.raises(CubitalError, match=said):
        read_fhir(value)
