"""FHIR R4 (4.0.1) SpecimenDefinitions to the entries of a test directory; what a site cannot hold is told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import unquote

from cubital.exchange.directory_sheet import CODE, COLUMNS, SHARED_COLUMNS
from cubital.exchange.directory_table import read_tests
from cubital.exchange.fhir_specimen_definition import ABOUT, CODES, LOINC, TEST
from cubital.exchange.fhir_specimen_tested import Context, note_unread, object_of, objects_of, read_tested
from cubital.exchange.form import show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.site_sheet import MOST_ENTRIES, Entries, is_full, replaced_places
from cubital.facts.directory import HANDLING
from cubital.model import Finding, Site
from cubital.planning.spellings import fold

MOST_DEFINITIONS = MOST_ENTRIES["test"]
_FIELDS = {
    "name": "valueString", "bench": "valueString", "ownTube": "valueBoolean", "culture": "valueCode",
    "moment": "valueCode",
    "rank": "valueCode",
}  # fmt: skip
_LISTS = {"also": "valueString", "caution": "valueString"}


def read_definitions(data: bytes, site: Site, *, where: str, findings: list[Finding]) -> Entries:
    """The tests in these resources, a Bundle or one; every fault becomes a finding by its place.

    A resource of ours says the whole test; another one says matrix, tube and volume of a test that the site has, found
    by the key or code in its identifier. Raises `ExchangeError` for bytes that are not JSON.
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    entries: dict[str, dict[str, Any]] = {}
    places: dict[tuple[str, str], str] = {}
    silent: dict[str, frozenset[str]] = {}
    unread: dict[str, None] = {}
    faulty: set[str] = set()
    for place, resource in _resources(value, where, findings, unread):
        if is_full(findings, file=where):
            break
        context = Context(where, place, site, findings, unread)
        key = _key_of(resource, context)
        if key is None or _is_refused(resource, context):
            continue
        if key in entries:
            context.fault("identifier", found=f"{key} twice", expected="a resource for each test", remedy="remove one")
            continue
        before = len(findings)
        entry, said = _read_one(resource, context)
        if any(one.level == "error" for one in findings[before:]):
            faulty.add(key)
        entries[key], places[key, ""] = entry, place
        known = (*COLUMNS, *(CODE + system for system in (site.tests[key].codes if key in site.tests else ())))
        silent[key] = frozenset(known) - said
    read = Entries(where, entries, places, tuple(unread), silent)
    whole = {key: {**_old_bench(key, site), **entry} for key, entry in entries.items() if key not in faulty}
    told: list[Finding] = []
    read_tests(whole, file=where, findings=told, handling=HANDLING)
    findings += replaced_places(told, read)
    for path in unread:
        findings.append(
            Finding(
                level="note", file=where, entry=path, found="an element that a site has no place for",
                expected="tests, tubes and volumes", remedy="it is left out of the site; it is listed as unread",
            )
        )  # fmt: skip
    return read


def _old_bench(key: str, site: Site) -> dict[str, str]:
    return {"bench": site.tests[key].bench} if key in site.tests else {}


def _resources(
    value: Any, where: str, findings: list[Finding], unread: dict[str, None]
) -> Iterator[tuple[str, dict[str, Any]]]:
    rows: list[tuple[str, Any]] = [("", value)]
    if isinstance(value, dict) and value.get("resourceType") == "Bundle":
        listed = value.get("entry", [])
        rows = [
            (f"entry[{number}].resource", entry.get("resource") if isinstance(entry, dict) else None)
            for number, entry in enumerate(listed if isinstance(listed, list) else [])
        ]
    count = 0
    for place, resource in rows[: MOST_DEFINITIONS + 1]:
        kind = resource.get("resourceType") if isinstance(resource, dict) else None
        if kind == "SpecimenDefinition":
            count += 1
            yield place, resource
        elif isinstance(kind, str) and place:
            unread[f"{kind[:60]} resources"] = None
    if not count or len(rows) > MOST_DEFINITIONS:
        findings.append(
            Finding(
                level="error", file=where, entry="", found=f"{count} SpecimenDefinitions",
                expected=f"1 to {MOST_DEFINITIONS}", remedy="send them in a Bundle, or one alone",
            )
        )  # fmt: skip


def _is_refused(resource: Mapping[str, Any], context: Context) -> bool:
    """Whether the resource says that the rest may mean something else than R4 does."""
    for path in ("modifierExtension", "implicitRules"):
        if resource.get(path):
            context.fault(path, found="it", expected="none, for it may change the meaning", remedy="send it without")
            return True
    return False


def _key_of(resource: Mapping[str, Any], context: Context) -> str | None:
    """The key of the test: of our own resource as it says, else the one test of the site with this key or code."""
    identifier = object_of(resource.get("identifier"))
    value = identifier.get("value")
    if isinstance(value, str) and identifier.get("system") == TEST:
        return value
    tests = context.site.tests
    near = [
        key
        for key, test in tests.items()
        if isinstance(value, str) and (fold(key) == fold(value) or value in test.codes.values())
    ]
    if len(near) == 1:
        return near[0]
    found = "no identifier" if value is None else f"{show_json(value)}, which stands for {len(near)} tests"
    context.fault(
        "identifier", found=found, expected="the key or a code of one test of this site",
        remedy=f"a SpecimenDefinition does not say which test it is for: write it as identifier, system {TEST}",
    )  # fmt: skip
    return None


def _read_one(resource: Mapping[str, Any], context: Context) -> tuple[dict[str, Any], frozenset[str]]:
    """The entry, and the columns that it says something of."""
    abouts = [one for one in objects_of(resource.get("extension")) if one.get("url") == ABOUT]
    note_unread(resource, "", bool(abouts), context)
    entry: dict[str, Any] = {}
    said = {"test", "matrix", "tubes", "volume_ul", "minimum_ul", "way"}
    if abouts:
        entry = _read_about(abouts[0], context)
        said |= {*SHARED_COLUMNS, *(column for column in _code_columns(context, resource))}
    if isinstance(resource.get("timeAspect"), str):
        entry["timed"] = resource["timeAspect"]
        said.add("timed")
    accepts = read_tested(resource, bool(abouts), context)
    if accepts:
        entry["accepts"] = accepts
    return entry, frozenset(said)


def _code_columns(context: Context, resource: Mapping[str, Any]) -> list[str]:
    """Every column of codes that the site has for this test: our own resource says all of them."""
    key = object_of(resource.get("identifier")).get("value")
    test = context.site.tests.get(key) if isinstance(key, str) else None
    return [CODE + system for system in (test.codes if test is not None else ())]


def _read_about(about: Mapping[str, Any], context: Context) -> dict[str, Any]:
    entry: dict[str, Any] = {}
    codes: dict[str, Any] = {}
    for part in objects_of(about.get("extension")):
        url = str(part.get("url"))
        if url in _FIELDS:
            entry["own_tube" if url == "ownTube" else url] = part.get(_FIELDS[url])
        elif url in _LISTS:
            entry.setdefault(url, []).append(part.get(_LISTS[url]))
        elif url == "code":
            system, code = _code_of(part)
            codes[system] = code
        elif url == "handling" and part.get("valueCode") in HANDLING:
            entry[str(part["valueCode"])] = True
        else:
            context.fault(
                f"extension {url[:40]}", found=show_json(part.get("valueCode", url)),
                expected="a field or handling term of a test", remedy="correct it, or take it out",
            )  # fmt: skip
    return {**entry, "codes": codes} if codes else entry


def _code_of(part: Mapping[str, Any]) -> tuple[str, Any]:
    """The system of a code, as a site's file names it, and the code."""
    parts = {str(one.get("url")): one.get("valueString") for one in objects_of(part.get("extension"))}
    if parts:
        return str(parts.get("system")), parts.get("code")
    coding = object_of(part.get("valueCoding"))
    system = str(coding.get("system"))
    if system == LOINC:
        return "loinc", coding.get("code")
    return unquote(system[len(CODES) :]) if system.startswith(CODES) else system, coding.get("code")
