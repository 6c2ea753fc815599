"""Every reader of what comes from outside, with sound documents to spoil and what must hold of what it gives."""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
import json
import random
import unicodedata
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from openpyxl import Workbook
from openpyxl.utils.exceptions import IllegalCharacterError

from cubital.app.wiring import (
    open_site,
    read_collection,
    read_drawn,
    read_lines,
    read_order,
    read_samples,
    read_specimens,
    read_typed_results,
    read_waiting,
    site_files,
    tables_of,
    write_site_file,
)
from cubital.errors import CubitalError
from cubital.exchange import directory_sheet, policy_sheet, stock_sheet
from cubital.exchange.fhir import read_fhir
from cubital.exchange.record_lines import read_heading, read_links
from cubital.exchange.site_files import read_site_tables
from cubital.exchange.site_tables import patch_with_file, read_site_file
from cubital.exchange.toml_file import parse_toml
from cubital.model import Finding
from cubital.planning.directory import Directory
from tests.attack.mutations import ODD_TYPED, ODD_WORDS, json_bytes, spoil, spoil_bytes, spoilt_json, spoilt_rows

DATA = Path(__file__).parents[1] / "data"
SITE = open_site(demo=True)
DIRECTORY = Directory(SITE)
NAME, FILES = site_files(demo=True)
TABLES = tables_of(FILES)
DAY = datetime.date(2026, 11, 25)
NOW = datetime.datetime(2026, 11, 25, 8, 40, tzinfo=datetime.UTC)


class Reader(NamedTuple):
    """One reader: what it is called, what makes a spoilt input, and what reads it; `share` of the inputs are its."""

    name: str
    make: Callable[[random.Random], Any]
    read: Callable[[Any], Any]
    share: int


def try_once(reader: Reader, seed: int) -> str | None:
    """What is wrong with the answer to the input of this seed; None where all is as it must be."""
    given = reader.make(random.Random(f"{reader.name} {seed}"))
    try:
        found = reader.read(given)
    except CubitalError as error:
        found = (error.where, error.message, [str(one) for one in getattr(error, "findings", ())])
    except Exception as error:
        return f"{reader.name} {seed}: {type(error).__name__}: {error} from {str(given)[:300]!r}"
    for text in texts_in(found):
        if any(unicodedata.category(letter) in ("Cc", "Cs") or letter in "\u202a\u202b\u202d\u202e" for letter in text):
            return f"{reader.name} {seed}: {text[:120]!r} from {str(given)[:300]!r}"
    return None


def texts_in(found: Any) -> list[str]:
    """Every text that an answer holds, however deep."""
    texts, stack = [], [found]
    while stack:
        one = stack.pop()
        if isinstance(one, str):
            texts.append(one)
        elif isinstance(one, Mapping):
            stack += [*one.keys(), *one.values()]
        elif isinstance(one, tuple | list | set | frozenset):
            stack += one
        elif dataclasses.is_dataclass(one) and not isinstance(one, type):
            stack += [getattr(one, field.name) for field in dataclasses.fields(one)]
        elif hasattr(one, "__struct_fields__"):
            stack += [getattr(one, name) for name in one.__struct_fields__]
    return texts


def _load(*paths: str) -> tuple[Any, ...]:
    return tuple(json.loads(path.read_bytes()) for name in paths for path in sorted(DATA.glob(name)))


ORDERS: tuple[Any, ...] = (
    {
        "id": "1", "on": "2026-11-25", "access": "line", "line": {"dead_space_ml": 1.5, "lumen": "proximal"},
        "patient": {"age": "4 a", "sex": "female", "weight_kg": 16.1, "height_cm": 104, "hematocrit": 0.35,
                    "flags": ["latex"], "drawn_ml": 2},
        "tests": ["K", {"test": "Na", "priority": "stat", "at_min": 5}, "blood culture"], "objective": "least-blood",
    },
    {
        "tests": [{"test": "vancomycin", "when": "trough"}, "CBC"], "now": "2026-11-25 08:00", "access": "winged-set",
        "patient": {"birth_date": "1958-03-02"}, "events": [{"what": "dose", "at": "2026-11-25 07:00"}], "keep": ["x"],
    },
)  # fmt: skip
REQUEST: dict[str, Any] = {
    "resourceType": "ServiceRequest", "id": "r1", "status": "active", "intent": "order", "priority": "urgent",
    "code": {"coding": [{"system": "http://loinc.org", "code": "2823-3", "display": "Potassium"}], "text": "K"},
    "subject": {"reference": "Patient/1"}, "occurrenceDateTime": "2026-11-25T08:00:00Z",
}  # fmt: skip
BUNDLE: dict[str, Any] = {
    "resourceType": "Bundle",
    "entry": [
        {"fullUrl": "urn:uuid:1", "resource": {"resourceType": "Patient", "id": "1", "birthDate": "2001-02-03",
                                               "gender": "female"}},
        {"resource": REQUEST},
        {"resource": {**REQUEST, "id": "r2", "code": {"coding": [{"system": "urn:x", "code": "CBC"}]}}},
        {"resource": {
            "resourceType": "Observation", "status": "final", "subject": {"reference": "Patient/1"},
            "code": {"coding": [{"system": "http://loinc.org", "code": "29463-7"}]},
            "effectiveDateTime": "2026-11-20", "valueQuantity": {"value": 70, "code": "kg"},
        }},
        {"resource": {
            "resourceType": "MedicationAdministration", "status": "completed", "subject": {"reference": "Patient/1"},
            "medicationCodeableConcept": {"coding": [{"system": "http://x", "code": "11124"}], "text": "vancomycin"},
            "effectivePeriod": {"start": "2026-11-25T06:00:00Z", "end": "2026-11-25T07:00:00Z"},
        }},
    ],
}  # fmt: skip
WAITING: dict[str, Any] = {
    "at": "2026-11-25 09:40",
    "tubes": [
        {"id": "Q1", "kind": "citrate", "draw_ml": 2.7, "diameter_mm": 13, "fill_ml": 2.6,
         "spin": "platelet-poor citrate plasma", "spun_by": "2026-11-25 10:40"},
        {"id": "Q2", "kind": "citrate", "draw_ml": 2.7, "diameter_mm": 13, "mass_g": 9.8,
         "spin": ["platelet-poor citrate plasma"]},
    ],
    "centrifuges": [],
}  # fmt: skip
COLLECTION: dict[str, Any] = {
    "name": "Invented, Ottoline", "number": "X-000123", "second_number": "Y-9", "birth_date": "1958-03-02",
    "specimens": ["Q1", "Q2"], "collected": "2026-11-25 09:40", "collector": "N7",
}  # fmt: skip
DRAWS: dict[str, Any] = {
    "patient": {"age": "4 a", "sex": "female", "weight_kg": 16.1},
    "draws": [{"at": "2026-11-20 06:00", "ml": 14.5}, {"at": "2026-11-21 06:00", "tubes": [{"kind": "edta", "ml": 2}],
                                                      "tests": ["CBC"]}],
}  # fmt: skip
LINES: tuple[Any, ...] = (
    {"format": "cubital.record/1", "entries": 1, "head": "0" * 64},
    {"sequence": 1, "batch": 1, "recorded_at": "2026-11-25T08:00:00.000000Z", "body": "{}", "hash": "0" * 64},
)
_TWO_TESTS = dict(list(TABLES["tests.toml"].items())[1:3])
_TESTS = dict(list(SITE.tests.items())[:40])
_DEFINITIONS = json.loads(write_site_file(SITE, "fhir", on=DAY, cautions=()))
_SOME_DEFINITIONS = ({**_DEFINITIONS, "entry": _DEFINITIONS["entry"][:2]}, _DEFINITIONS["entry"][5]["resource"])
_SHEETS = {
    "tests": spoilt_rows(directory_sheet.directory_columns(_TESTS), tuple(directory_sheet.directory_rows(_TESTS))),
    "tubes": spoilt_rows(stock_sheet.COLUMNS, tuple(stock_sheet.stock_rows(SITE.kinds))),
    "policy": spoilt_rows(policy_sheet.COLUMNS, tuple(policy_sheet.policy_rows(SITE))),
}


def _spoilt_tables(chance: random.Random) -> dict[str, Any]:
    """The tables of the demo site, one entry of one of them spoilt, with whatever TOML can hold."""
    file = chance.choice(list(TABLES))
    table = dict(TABLES[file])
    # A few entries are enough, and quicker than all.
    kept = chance.sample(list(table), min(len(table), 3))
    more = {"include": "shipped"} if chance.random() < 0.05 else {}
    spoilt = spoil({key: table[key] for key in kept} | more, chance, ODD_TYPED)
    return {"tests.toml": _TWO_TESTS, "panels.toml": {}, file: spoilt}


def _read_tables(tables: Any) -> Any:
    whole = {file: table for file, table in tables.items() if isinstance(table, Mapping)}
    found = read_site_tables(whole, name="house")
    return [str(one) for one in found.findings]


def _spoilt_text(chance: random.Random) -> tuple[str, bytes]:
    file = chance.choice(list(FILES))
    return file, spoil_bytes(FILES[file].encode()[: chance.choice((300, 2000))], chance)


def _read_text(given: tuple[str, bytes]) -> Any:
    findings: list[Finding] = []
    table = parse_toml(given[1], path=Path(given[0]), findings=findings)
    small = {"tests.toml": _TWO_TESTS, "panels.toml": {}}
    more = read_site_tables(small | {given[0]: table}, name="house").findings if table is not None else ()
    return [str(one) for one in (*findings, *more)]


def _spoilt_csv(chance: random.Random) -> bytes:
    held = io.StringIO(newline="")
    csv.writer(held, delimiter=chance.choice(",,;")).writerows(_SHEETS[chance.choice(list(_SHEETS))](chance))
    data = held.getvalue().encode("utf-8", "surrogatepass")
    return spoil_bytes(data, chance) if chance.random() < 0.2 else data


def _spoilt_workbook(chance: random.Random) -> bytes:
    book = Workbook()
    book.remove(book.worksheets[0])
    for name, make in _SHEETS.items():
        sheet = book.create_sheet(name)
        for number, cells in enumerate(make(chance), start=1):
            for column, cell in enumerate(cells, start=1):
                _write(sheet.cell(number, column), chance.choice(ODD_TYPED) if chance.random() < 0.03 else cell)
    held = io.BytesIO()
    book.save(held)
    return spoil_bytes(held.getvalue(), chance) if chance.random() < 0.2 else held.getvalue()


def _write(cell: Any, value: Any) -> None:
    try:
        cell.value = value
    except (ValueError, IllegalCharacterError, OverflowError):
        cell.value = "x"
    is_too_long = isinstance(cell.value, int) and abs(cell.value) > 10**15
    if is_too_long or getattr(cell.value, "tzinfo", None) is not None or isinstance(cell.value, str):
        # The library that writes refuses these, and half a letter too; our own reader is what is asked here.
        cell.value = "x" if is_too_long else str(cell.value).encode("utf-8", "replace").decode()


def _read_sheets(data: bytes) -> Any:
    findings: list[Finding] = []
    try:
        found = read_site_file(data, SITE, where="ours", findings=findings)
        unread = [read.unread for read in found if read is not None]
    finally:
        assert all(isinstance(str(one), str) for one in findings)
    return [str(one) for one in findings], unread


def _lay_over(data: bytes) -> Any:
    found = patch_with_file(data, FILES, SITE, name=NAME, where="ours", replaces=len(data) % 2 == 0)
    return [str(one) for one in found.findings], found.changes, found.unread


def _spoilt_results_table(chance: random.Random) -> bytes:
    heading = ("sample", "code", "value", "unit", "low", "high", "hours_before", "tube", "hemolysis_g_l", "age", "sex")
    rows = (
        {"sample": "a", "code": "K", "value": "4.2", "unit": "mmol/L", "low": "3.5", "high": "5.1", "tube": "edta"},
        {"sample": "a", "code": "2951-2", "value": "140", "unit": "mmol/L", "hours_before": "8", "age": "61 a"},
        {"sample": "b", "code": "Ca", "value": "2.3", "unit": "mmol/L", "hemolysis_g_l": "0.5", "sex": "male"},
    )
    held = io.StringIO(newline="")
    csv.writer(held, delimiter=chance.choice(",,\t")).writerows(spoilt_rows(heading, rows)(chance))
    data = held.getvalue().encode("utf-8", "surrogatepass")
    return spoil_bytes(data, chance) if chance.random() < 0.2 else data


def _spoilt_typed(chance: random.Random) -> str:
    lines = ["K 4.2 mmol/L", "Na 140 (135-145)", "Ca < 0.5 mmol/L", "ALT 31 U/L", *ODD_WORDS]
    return "\n".join(chance.choice(lines) + chance.choice(("", " 5", ESC, ";")) for _ in range(chance.randint(1, 5)))


ESC = ODD_WORDS[17]


def _spoilt_lines(chance: random.Random) -> bytes:
    return b"\n".join(
        json_bytes(spoil(chance.choice((*ORDERS, REQUEST)), chance)) for _ in range(chance.randint(1, 3))
    )


def _read_links(data: bytes) -> Any:
    stream = io.BytesIO(data)
    head = read_heading(stream, where="backup")
    list(read_links(stream, where="backup"))
    return head.sequence


def _spoilt_links(chance: random.Random) -> bytes:
    return b"\n".join(json_bytes(spoil(one, chance) if chance.random() < 0.5 else one) for one in LINES)


READERS = (
    Reader("orders", spoilt_json(ORDERS),
           lambda data: read_order(data, where="order", today=DAY, zone="Europe/Berlin"), 40),
    Reader("orders in lines", _spoilt_lines,
           lambda data: list(read_lines(io.BytesIO(data), where="orders", site=SITE, today=DAY)), 5),
    Reader("FHIR requests", spoilt_json((BUNDLE, REQUEST, *_load("fhir-r4/servicerequest-*.json"))),
           lambda data: read_fhir(data, directory=DIRECTORY, where="FHIR", on=DAY), 25),
    Reader("FHIR definitions", spoilt_json((*_SOME_DEFINITIONS, *_load("fhir-r4/specimendefinition-example*.json"))),
           _read_sheets, 10),
    Reader("tables of a site", _spoilt_tables, _read_tables, 15),
    Reader("texts of a site", _spoilt_text, _read_text, 3),
    Reader("sheets in CSV", _spoilt_csv, _read_sheets, 20),
    Reader("sheets laid over a site", _spoilt_csv, _lay_over, 1),
    Reader("workbooks", _spoilt_workbook, _read_sheets, 1),
    Reader("results", spoilt_json(_load("results/sound/*.json", "fhir-r4/diagnosticreport-*.json")),
           lambda data: read_samples(data, SITE, today=DAY), 25),
    Reader("results in tables", _spoilt_results_table, lambda data: read_samples(data, SITE, today=DAY), 8),
    Reader("typed results", _spoilt_typed,
           lambda text: read_typed_results(text, text, {}, SITE, hours_before=None)[2], 5),
    Reader("specimens", spoilt_json(_load("specimens/good.json")),
           lambda data: read_specimens(data, SITE, where="specimens"), 8),
    Reader("waiting tubes", spoilt_json((WAITING, WAITING["tubes"])),
           lambda data: read_waiting(data, SITE, now=NOW, at=None, where="waiting", recorded={}), 8),
    Reader("collections", spoilt_json((COLLECTION,)), lambda data: read_collection(data, where="who"), 5),
    Reader("draws", spoilt_json((DRAWS,)), lambda data: read_drawn(data, where="draws", today=DAY), 5),
    Reader("records in lines", _spoilt_links, _read_links, 3),
)  # fmt: skip
