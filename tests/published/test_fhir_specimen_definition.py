"""HL7 FHIR R4 (4.0.1), SpecimenDefinition: what we write has only its elements, and its published example is read.

The schema beside the example is ours, from the element table of the specification: tests/data/fhir-r4/README.md.
"""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
from hypothesis import HealthCheck, given, settings

from cubital.app.site_exchange import SiteImport, export_site, import_site
from cubital.app.wiring import open_site, site_files
from cubital.errors import ExchangeError
from tests.generators.site_files import site_files as invented_files
from tests.unit.exchange.test_site_exchange import is_sound, read, unmarked

FHIR = Path(__file__).parents[1] / "data" / "fhir-r4"
SCHEMA = jsonschema_rs.validator_for(json.loads((FHIR / "specimendefinition.schema.json").read_text()))
EXAMPLE: dict[str, Any] = json.loads((FHIR / "specimendefinition-example-serum-plasma.json").read_text())
NAME, DEMO = site_files(demo=True)
HOUSE = "urn:cubital:test"
KIND = "urn:cubital:tube-kind"


def bring(value: Any, onto: dict[str, str] = DEMO, *, replace: bool = False) -> SiteImport:
    data = value if isinstance(value, bytes) else json.dumps(value).encode()
    return import_site(data, onto=onto, name="x", where="ours.json", replace=replace)


def adapted() -> dict[str, Any]:
    """The published example as a test of the demo site: with the test that it is for, and the site's own tubes."""
    example = copy.deepcopy(EXAMPLE)
    example["identifier"] = {"system": HOUSE, "value": "iron"}
    for tested, key in zip(example["typeTested"], ("serum-gel", "heparin-gel"), strict=True):
        tested["container"]["type"]["coding"].append({"system": KIND, "code": key})
    return example


def of_demo(key: str) -> dict[str, Any]:
    bundle = json.loads(export_site(open_site(demo=True), "fhir"))
    return next(e["resource"] for e in bundle["entry"] if e["resource"]["identifier"]["value"] == key)


def test_the_published_example_and_every_test_of_the_demo_site_have_only_elements_of_r4() -> None:
    SCHEMA.validate(EXAMPLE)
    SCHEMA.validate(json.loads(export_site(open_site(demo=True), "fhir")))


def test_the_schema_refuses_an_element_of_another_edition_and_a_missing_preference() -> None:
    assert not SCHEMA.is_valid(EXAMPLE | {"status": "active"})
    broken = copy.deepcopy(EXAMPLE)
    del broken["typeTested"][0]["preference"]
    assert not SCHEMA.is_valid(broken)


def test_the_published_example_says_neither_its_test_nor_a_tube_of_the_site_so_it_is_refused() -> None:
    found = bring(EXAMPLE)
    assert not found.is_usable
    assert [(one.level, one.entry, one.found) for one in found.findings] == [("error", "identifier", "no identifier")]
    named = bring(EXAMPLE | {"identifier": {"system": HOUSE, "value": "iron"}})
    assert [(one.entry, one.found) for one in named.findings if one.level == "error"] == [
        ("typeTested[0] container.type", '"Evacuated blood collection tube, thrombin/clot activator/..."'),
        ("typeTested[1] container.type", '"Evacuated blood collection tube with heparin lithium and ..."'),
    ]


def test_the_published_example_with_a_test_and_tubes_gives_their_matrices_and_microlitres() -> None:
    found = bring(adapted())
    assert found.site is not None
    iron, before = found.site.tests["iron"], open_site(demo=True).tests["iron"]
    assert [(way.matrix, way.tubes, way.volume_ul, way.minimum_ul) for way in iron.accepts] == [
        ("serum", ("serum-gel",), 2000, 2000), ("plasma", ("heparin-gel",), 2000, 2000),
    ]  # fmt: skip
    assert (iron.name, iron.bench, iron.codes, iron.also) == (before.name, before.bench, before.codes, before.also)
    assert iron.timed == "preferrably morning time"


def test_what_a_site_has_no_place_for_is_told_and_listed() -> None:
    found = bring(adapted())
    assert set(found.unread) == {
        "ours.json: typeCollected", "ours.json: patientPreparation", "ours.json: typeTested.handling",
        "ours.json: typeTested.rejectionCriterion", "ours.json: typeTested.container.material",
        "ours.json: typeTested.container.cap",
    }  # fmt: skip
    notes = [one.entry for one in found.findings if one.level == "note"]
    assert {"typeTested.handling", "typeTested[0] container.minimumVolumeQuantity"} <= set(notes)


def test_a_test_is_also_found_by_a_code_of_it_and_a_tube_by_its_name() -> None:
    example = adapted()
    example["identifier"] = {"value": "K01"}
    example["typeTested"] = example["typeTested"][1:]
    example["typeTested"][0]["container"]["type"] = {"text": "Heparin gel, routine chemistry"}
    found = bring(example)
    assert found.site is not None
    assert found.site.tests["potassium"].accepts[0].tubes == ("heparin-gel",)


def test_an_element_for_every_part_of_the_resource() -> None:
    resource = of_demo("lactate")
    tested = resource["typeTested"][0]
    assert tested["preference"] == "preferred"
    assert tested["isDerived"] is True
    assert tested["container"]["minimumVolumeQuantity"]["code"] == "uL"
    assert tested["container"]["additive"][0]["additiveCodeableConcept"]["coding"][0]["code"] in (
        "fluoride-oxalate", "lithium-heparin",
    )  # fmt: skip
    said = [concept["coding"][0]["code"] for concept in resource["collection"]]
    assert said == ["no_tourniquet", "no_fist"]
    assert any("ice" in handling["instruction"] for handling in tested["handling"])
    citrate = of_demo("prothrombin-time")["typeTested"][0]["container"]
    codings = citrate["additive"][0]["additiveCodeableConcept"]["coding"]
    assert {"system": "urn:iso:std:iso:6710:2017", "code": "9NC"} in codings
    assert "Decision support" in resource["text"]["div"]


def test_the_narrative_says_that_it_holds_more_than_the_elements_do() -> None:
    """R4, value set narrative-status (read): `generated` is wholly from core elements, `additional` may hold more."""
    resource = of_demo("lactate")
    assert resource["text"]["status"] == "additional"
    assert "Label at the patient" in resource["text"]["div"]


def test_room_temperature_is_said_by_its_code_and_ice_by_words_alone() -> None:
    """R4, code system handling-condition (read second-hand): room, refrigerated, frozen."""
    handling = {one["extension"][0]["valueCode"]: one for one in of_demo("potassium")["typeTested"][0]["handling"]}
    assert handling["no_chill"]["temperatureQualifier"] == {
        "coding": [{"system": "http://terminology.hl7.org/CodeSystem/handling-condition", "code": "room"}]
    }
    ice = of_demo("lactate")["typeTested"][0]["handling"][0]
    assert "temperatureQualifier" not in ice


@pytest.mark.parametrize("table", ["v2-0372", "v2-0487"])
def test_a_type_of_either_table_of_hl7_is_read(table: str) -> None:
    example = adapted()
    for tested, code in zip(example["typeTested"], ("SER", "PLAS"), strict=True):
        tested["type"] = {"coding": [{"system": f"http://terminology.hl7.org/CodeSystem/{table}", "code": code}]}
    found = bring(example)
    assert found.site is not None
    assert [way.matrix for way in found.site.tests["iron"].accepts] == ["serum", "plasma"]


def test_the_demo_site_goes_out_as_fhir_and_comes_in_without_a_change() -> None:
    found = bring(export_site(open_site(demo=True), "fhir"))
    assert found.findings == ()
    assert found.unread == ()
    assert found.files == DEMO


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(files=invented_files(includes=False).filter(is_sound))
def test_the_tests_of_any_site_go_out_as_fhir_and_come_in_as_the_same_tests(files: dict[str, str]) -> None:
    site = read(files)
    data = export_site(site, "fhir")
    SCHEMA.validate(json.loads(data))
    assert bring(data, files).files == files
    bare = {**files, "tests.toml": '[x]\nbench = "x"\naccepts = [{matrix = "serum", tubes = ["y"], volume_ul = 1}]\n'}
    found = bring(data, bare, replace=True)
    assert found.is_usable, found.findings
    assert found.site is not None
    assert unmarked(found.site).tests == unmarked(site).tests


VOLUME = ("typeTested", 0, "container", "minimumVolumeQuantity")


@pytest.mark.parametrize(
    ("path", "value", "entry"),
    [
        (("modifierExtension",), [{"url": "x"}], "modifierExtension"),
        (("implicitRules",), "http://x", "implicitRules"),
        ((*VOLUME, "code"), "[drp]", "typeTested[0] container.minimumVol"),
        ((*VOLUME, "value"), 0, "typeTested[0] container.minimumVol"),
        ((*VOLUME, "value"), "2", "typeTested[0] container.minimumVol"),
        ((*VOLUME, "value"), 1e300, "typeTested[0] container.minimumVol"),
        ((*VOLUME, "value"), True, "typeTested[0] container.minimumVol"),
        ((*VOLUME, "value"), 0.0001, "typeTested[0] container.minimumVol"),
        ((*VOLUME, "comparator"), "<", "typeTested[0] container.minimumVol"),
        ((*VOLUME, "system"), "x", "typeTested[0] container.minimumVol"),
        (VOLUME, None, "typeTested[0] container.minimumVol"),
        (("typeTested", 0, "type", "coding"), [{"code": "UR"}], "typeTested[0] type"),
        (("typeTested",), [], "([iron] accepts)"),
        (("identifier", "system"), "other", "identifier"),
    ],
)  # fmt: skip
def test_a_fault_is_told_by_its_place_and_nothing_is_changed(path: tuple[Any, ...], value: Any, entry: str) -> None:
    example = adapted()
    example["identifier"]["value"] = "iron" if path[0] != "identifier" else "no such test"
    holder: Any = example
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    found = bring(example)
    errors = [one.entry for one in found.findings if one.level == "error"]
    assert not found.is_usable
    assert any(one.startswith(entry) for one in errors), errors
    assert found.files == DEMO


def test_one_test_twice_resources_of_another_kind_and_no_definition_at_all_are_told() -> None:
    entry = {"resource": of_demo("iron")}
    twice = bring({"resourceType": "Bundle", "type": "collection", "entry": [entry, entry]})
    assert [one.found for one in twice.findings] == ["iron twice"]
    other = {"resource": {"resourceType": "Patient"}}
    mixed = bring({"resourceType": "Bundle", "type": "collection", "entry": [entry, other]})
    assert mixed.unread == ("ours.json: Patient resources",)
    for value in ({"resourceType": "Bundle"}, {"resourceType": "Patient"}, {}, {"resourceType": "Bundle", "entry": 5}):
        assert any("SpecimenDefinitions" in one.found for one in bring(value).findings), value


@pytest.mark.parametrize("data", [b"{", b'{"a": 1, "a": 2}', b"{" * 100_000])
def test_what_is_not_json_is_refused(data: bytes) -> None:
    with pytest.raises(ExchangeError):
        bring(data)
