"""The ways to run a test in a SpecimenDefinition of FHIR R4: matrix, tube and volume, each known or told by place."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from cubital.exchange.fhir_specimen_definition import COMPONENT, COMPONENTS, KIND, UCUM, VOLUME, WAY
from cubital.exchange.form import show_json
from cubital.exchange.site_sheet import MOST_LINES_OF_ENTRY
from cubital.model import Finding, Site
from cubital.planning.spellings import fold
from cubital.units import exact

# The codes of the resource's published example; its own system is HL7 table 0372.
_MATRICES = {
    **{(COMPONENT, code): matrix for matrix, code in COMPONENTS.items()},
    # Specimen type, to which R4 binds the element as an example; that it has the same three codes is from memory.
    **{("http://terminology.hl7.org/CodeSystem/v2-0487", code): matrix for matrix, code in COMPONENTS.items()},
    ("http://snomed.info/sct", "119364003"): "serum",
    ("http://snomed.info/sct", "119361006"): "plasma",
    ("http://snomed.info/sct", "119297000"): "whole-blood",
}
_MICROLITRES = {"uL": 1, "ul": 1, "mL": 1000, "ml": 1000, "cL": 10_000, "cl": 10_000, "dL": 100_000, "dl": 100_000}
_READ = {
    "": ("resourceType", "id", "meta", "text", "language", "extension", "identifier", "timeAspect", "typeTested"),
    "typeTested": ("id", "extension", "isDerived", "type", "preference", "container"),
    "container": ("id", "type", "minimumVolumeQuantity"),
}
# What our own resources say once more for people; it follows from the test and the tubes.
_FOLLOWING = {
    "": ("typeCollected", "patientPreparation", "collection"),
    "typeTested": ("rejectionCriterion", "handling"),
    "container": ("material", "cap", "description", "capacity", "additive"),
}


class Context(NamedTuple):
    """What reading one resource needs: its place, the site, and where faults and the unread go."""

    where: str
    place: str
    site: Site
    findings: list[Finding]
    unread: dict[str, None]

    def fault(self, path: str, *, found: str, expected: str, remedy: str, is_error: bool = True) -> None:
        """Note one finding about a place of the resource."""
        self.findings.append(
            Finding(
                level="error" if is_error else "note", file=self.where, entry=f"{self.place} {path}".strip(),
                found=found, expected=expected, remedy=remedy,
            )
        )  # fmt: skip


def read_tested(resource: Mapping[str, Any], is_own: bool, context: Context) -> list[dict[str, Any]]:
    """The ways to run the test: of each way its tubes in order; preferred ones first."""
    ways: dict[object, dict[str, Any]] = {}
    rows = list(enumerate(objects_of(resource.get("typeTested"))))
    if len(rows) > MOST_LINES_OF_ENTRY:
        context.fault(
            "typeTested", found=f"{len(rows)} of them", expected=f"at most {MOST_LINES_OF_ENTRY}", remedy="shorten it"
        )
        return []
    if not is_own:
        rows.sort(key=lambda row: row[1].get("preference") != "preferred")
    for number, tested in rows:
        inner = context._replace(place=f"{context.place} typeTested[{number}]".strip())
        note_unread(tested, "typeTested", is_own, context)
        container = object_of(tested.get("container"))
        note_unread(container, "container", is_own, context)
        matrix = _matrix_of(tested.get("type"), inner)
        kind = _kind_of(container.get("type"), inner)
        least_ul = _microlitres(container, "minimumVolumeQuantity", "container.", inner)
        if matrix is None or kind is None or least_ul is None:
            continue
        marks = {str(one.get("url")): one for one in objects_of(tested.get("extension"))}
        most_ul = _microlitres(marks[VOLUME], "valueQuantity", "volume.", inner) if VOLUME in marks else least_ul
        said = marks.get(WAY, {}).get("valuePositiveInt", (matrix, least_ul))
        way = said if isinstance(said, int | tuple) else str(said)
        first = ways.setdefault(
            way, {"matrix": matrix, "tubes": [], "volume_ul": most_ul, "minimum_ul": least_ul}
        )  # fmt: skip
        if (first["matrix"], first["volume_ul"], first["minimum_ul"]) != (matrix, most_ul, least_ul):
            inner.fault(
                "", found="another matrix or volume", expected="that of the same way before", remedy="number it anew"
            )
        first["tubes"].append(kind)
        if VOLUME not in marks:
            inner.fault(
                "container.minimumVolumeQuantity", found="one volume only", expected="a volume and a minimum",
                remedy="it is taken for both; correct the site where the test can do with less", is_error=False,
            )  # fmt: skip
    return list(ways.values())


def _matrix_of(concept: Any, context: Context) -> str | None:
    codings = objects_of(object_of(concept).get("coding"))
    pairs = [(str(coding.get("system")), str(coding.get("code"))) for coding in codings]
    found = {_MATRICES[pair] for pair in pairs if pair in _MATRICES}
    if len(found) == 1:
        return found.pop()
    context.fault(
        "type", found=_say(concept), expected="whole blood, plasma or serum, by HL7 table 0372",
        remedy=f"write BLD, PLAS or SER of {COMPONENT}",
    )  # fmt: skip
    return None


def _kind_of(concept: Any, context: Context) -> str | None:
    """The tube kind that is meant: by our own coding, else by the name or key of a kind of the site."""
    own = [one.get("code") for one in objects_of(object_of(concept).get("coding")) if one.get("system") == KIND]
    if own and isinstance(own[0], str):
        return own[0]
    text = object_of(concept).get("text")
    near = [
        key
        for key, kind in context.site.kinds.items()
        if isinstance(text, str) and fold(text) in (fold(key), fold(kind.name))
    ]
    if len(near) == 1:
        return near[0]
    context.fault(
        "container.type", found=_say(concept), expected="a tube kind of this site",
        remedy=f"write its key as a coding of {KIND}, or its name as text",
    )  # fmt: skip
    return None


def _microlitres(holder: Mapping[str, Any], field: str, path: str, context: Context) -> int | None:
    quantity = object_of(holder.get(field))
    factor = _MICROLITRES.get(str(quantity.get("code"))) if quantity.get("system") == UCUM else None
    value = quantity.get("value")
    try:
        written = exact(None if isinstance(value, str) else value, where=field)
    except ValueError:
        written = Fraction(0)  # refused below, with what was found
    volume_ul = written * (factor or 0)
    if volume_ul > 0 and volume_ul.denominator == 1 and not quantity.get("comparator"):
        return volume_ul.numerator
    said = " ".join(str(quantity[name])[:20] for name in ("comparator", "value", "code") if name in quantity)
    context.fault(
        path + field, found=said or "nothing", expected="whole microlitres as a UCUM quantity in uL or mL",
        remedy='write it as {"value": 2, "system": "http://unitsofmeasure.org", "code": "mL"}',
    )  # fmt: skip
    return None


def note_unread(element: Mapping[str, Any], level: str, is_own: bool, context: Context) -> None:
    """Note every element that nothing reads at this level of the resource."""
    known = (*_READ[level], *(_FOLLOWING[level] if is_own else ()))
    prefix = {"": "", "typeTested": "typeTested.", "container": "typeTested.container."}[level]
    for field in element:
        if field not in known:
            context.unread[prefix + re.sub(r"[^A-Za-z_]", "?", field[:60])] = None


def _say(concept: Any) -> str:
    """What a concept says, for a finding."""
    coding: Sequence[Mapping[str, Any]] = objects_of(object_of(concept).get("coding"))
    said = object_of(concept).get("text") or next((one.get("display") or one.get("code") for one in coding), None)
    return show_json(said) if isinstance(said, str) else "nothing"


def object_of(value: Any) -> dict[str, Any]:
    """The JSON object, or an empty one for anything else."""
    return value if isinstance(value, dict) else {}


def objects_of(value: Any) -> list[dict[str, Any]]:
    """The JSON objects of a list, none for anything else."""
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []
