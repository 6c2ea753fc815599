"""A test directory as FHIR R4 (4.0.1): one SpecimenDefinition a test, in a Bundle."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Iterable
from html import escape
from typing import Any
from urllib.parse import quote

from cubital import facts
from cubital.model import Accept, Site, Test, TubeKind

UCUM = "http://unitsofmeasure.org"
# HL7 table 0372, specimen component, as terminology.hl7.org states it for R4.
COMPONENT = "http://terminology.hl7.org/CodeSystem/v2-0372"
COMPONENTS = {"whole-blood": "BLD", "plasma": "PLAS", "serum": "SER"}
REJECTION = "http://terminology.hl7.org/CodeSystem/rejection-criteria"
# R4 has the codes room, refrigerated and frozen. Ice, 37 C and freezing at once are none of them: words alone say them.
CONDITION = "http://terminology.hl7.org/CodeSystem/handling-condition"
_QUALIFIERS = {"no_chill": "room"}
ISO_6710 = "urn:iso:std:iso:6710:2017"
LOINC = "http://loinc.org"
# Our own systems and extensions; R4 has no element for what they hold.
OURS = "urn:cubital:"
TEST, KIND, ADDITIVE, TERM, SITE, CODES = (
    OURS + name for name in ("test", "tube-kind", "additive", "handling", "site", "code-system:")
)
ABOUT, WAY, VOLUME = (OURS + "specimen-definition:" + name for name in ("test", "way", "volume"))
# Which element of the resource a handling term is said in; the rest are instructions of the handling.
OF_PATIENT = ("fasting", "supine", "posture", "rested")
OF_COLLECTION = (
    "no_tourniquet", "no_fist", "metal_free", "sterile", "no_alcohol_prep", "not_from_infusion_line", "first_use",
    "no_bubbles", "full_tube", "plastic_tube",
)  # fmt: skip
# FHIR R4, datatypes: id, code and an absolute uri.
_ID = re.compile(r"[A-Za-z0-9.-]{1,64}")
_CODE = re.compile(r"\S+( \S+)*")
_URI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:\S+")


def write_definitions(site: Site, *, cautions: tuple[str, ...]) -> bytes:
    """The directory of this site as a Bundle in JSON; the same site makes the same bytes."""
    head = {"resourceType": "Bundle", "identifier": {"system": SITE, "value": site.name}, "type": "collection"}
    entries = [
        {
            "fullUrl": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, f'{TEST}:{site.name}:{test.key}')}",
            "resource": definition_of(test, site, cautions=cautions),
        }
        for test in site.tests.values()
    ]
    # One entry a line: two exports can be compared line by line. A list of none is not written.
    lines = ",\n".join(map(_json, entries))
    body = f', "entry": [\n{lines}\n]' if entries else ""
    return f"{_json(head)[:-1]}{body}}}\n".encode()


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def definition_of(test: Test, site: Site, *, cautions: tuple[str, ...]) -> dict[str, Any]:
    """One test as a SpecimenDefinition."""
    said = escape(f"{test.name} ({test.bench}). {' '.join((*test.cautions, *cautions))}")
    resource = {
        "resourceType": "SpecimenDefinition",
        "id": test.key if _ID.fullmatch(test.key) else None,
        # Not "generated": the cautions stand in no element (R4, value set narrative-status).
        "text": {"status": "additional", "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{said}</div>'},
        "extension": [{"url": ABOUT, "extension": list(_about(test))}],
        "identifier": {"system": TEST, "value": test.key},
        "typeCollected": {"coding": [{"system": COMPONENT, "code": COMPONENTS["whole-blood"]}], "text": "blood"},
        "patientPreparation": [_concept(term) for term in test.handling if term in OF_PATIENT],
        "timeAspect": test.timed,
        "collection": [_concept(term) for term in test.handling if term in OF_COLLECTION],
        "typeTested": [
            _tested(test, number, way, kind, site, is_first=number == place == 0)
            for number, way in enumerate(test.accepts)
            for place, kind in enumerate(way.tubes)
        ],
    }
    return _filled(resource)


def _filled(resource: dict[str, Any]) -> dict[str, Any]:
    """The resource without what is empty, which FHIR does not allow to be written."""
    return {key: value for key, value in resource.items() if value not in (None, [], {})}


def _about(test: Test) -> Iterable[dict[str, Any]]:
    yield {"url": "name", "valueString": test.name}
    yield {"url": "bench", "valueString": test.bench}
    for word in test.also:
        yield {"url": "also", "valueString": word}
    for system, code in test.codes.items():
        yield {"url": "code", **_code(system, code)}
    if test.own_tube:
        yield {"url": "ownTube", "valueBoolean": True}
    if test.culture is not None:
        yield {"url": "culture", "valueCode": test.culture}
    if test.moment is not None:
        yield {"url": "moment", "valueCode": test.moment}
    if test.rank is not None:
        yield {"url": "rank", "valueCode": test.rank}
    for term in test.handling:
        yield {"url": "handling", "valueCode": term}
    for word in test.cautions:
        yield {"url": "caution", "valueString": word}


def _code(system: str, code: str) -> dict[str, Any]:
    """A code as a coding or, where FHIR does not allow its spaces, as two texts."""
    if _CODE.fullmatch(code):
        return {"valueCoding": {"system": system_uri(system), "code": code}}
    return {"extension": [{"url": "system", "valueString": system}, {"url": "code", "valueString": code}]}


def system_uri(system: str) -> str:
    """The uri of a code system of a site's file, so that `exchange.fhir_specimen_reading` finds the same name again.

    >>> system_uri("loinc"), system_uri("urn:example:house"), system_uri("our codes")
    ('http://loinc.org', 'urn:example:house', 'urn:cubital:code-system:our%20codes')
    """
    if system == "loinc":
        return LOINC
    is_own = system == LOINC or system.startswith(OURS) or not _URI.fullmatch(system)
    return CODES + quote(system, safe="") if is_own else system


def _concept(term: str) -> dict[str, Any]:
    return {"coding": [{"system": TERM, "code": term}], "text": facts.handling_terms()[term].instruction}


def _tested(test: Test, number: int, way: Accept, key: str, site: Site, *, is_first: bool) -> dict[str, Any]:
    """One way to run the test in one kind of tube; the order of these is the order of preference."""
    criteria = [("insufficient", "insufficient specimen volume")]
    if "no_hemolysis" in test.handling:
        criteria.append(("hemolized", "hemolized specimen"))
    return _filled(
        {
            "extension": [
                {"url": WAY, "valuePositiveInt": number + 1},
                {"url": VOLUME, "valueQuantity": _volume(way.volume_ul)},
            ],
            "isDerived": way.matrix != "whole-blood",
            "type": {"coding": [{"system": COMPONENT, "code": COMPONENTS[way.matrix]}], "text": way.matrix},
            "preference": "preferred" if is_first else "alternate",
            "container": _container(key, site.kinds.get(key), way),
            "rejectionCriterion": [
                {"coding": [{"system": REJECTION, "code": code, "display": display}]} for code, display in criteria
            ],
            "handling": [
                _handling(term) for term in test.handling if term not in OF_PATIENT and term not in OF_COLLECTION
            ],
        }
    )


def _handling(term: str) -> dict[str, Any]:
    """One instruction of the handling, with the temperature where R4 has a code for it."""
    qualifier = _QUALIFIERS.get(term)
    return _filled(
        {
            "extension": [{"url": TERM, "valueCode": term}],
            "temperatureQualifier": {"coding": [{"system": CONDITION, "code": qualifier}]} if qualifier else None,
            "instruction": _concept(term)["text"],
        }
    )


def _volume(volume_ul: int) -> dict[str, Any]:
    return {"value": volume_ul, "unit": "uL", "system": UCUM, "code": "uL"}


def _container(key: str, kind: TubeKind | None, way: Accept) -> dict[str, Any]:
    """The kind of tube; a kind that the site does not stock is only named."""
    named = {"coding": [{"system": KIND, "code": key}], "text": key if kind is None else kind.name}
    container: dict[str, Any] = {"type": named, "minimumVolumeQuantity": _volume(way.minimum_ul)}
    if kind is None:
        return container
    draws_ml = [size.draw_ul / 1000 for size in kind.sizes]
    additive = facts.additives()[kind.additive]
    coding = [{"system": ADDITIVE, "code": kind.additive}]
    if additive.letter_code is not None:
        coding.append({"system": ISO_6710, "code": additive.letter_code})
    capacity = {"value": draws_ml[0], "unit": "mL", "system": UCUM, "code": "mL"} if len(draws_ml) == 1 else None
    described = f"draws {', '.join(f'{draw_ml:g}' for draw_ml in draws_ml)} mL{'; gel' if kind.gel else ''}"
    return _filled(
        {
            "material": {"text": kind.material} if kind.material else None,
            "type": named,
            "cap": {"text": kind.stopper} if kind.stopper else None,
            "description": described,
            "capacity": capacity,
            "minimumVolumeQuantity": container["minimumVolumeQuantity"],
            "additive": [{"additiveCodeableConcept": {"coding": coding, "text": additive.name}}]
            if kind.additive != "none"
            else None,
        }
    )
