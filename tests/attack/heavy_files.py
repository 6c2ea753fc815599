"""Files made to be as much work as possible for who reads them, each below the size that is let in."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Mapping
from typing import Any

from msgspec.structs import replace
from openpyxl.utils import get_column_letter

from cubital.app.wiring import open_site
from cubital.exchange.directory_sheet import COLUMNS as TEST_COLUMNS
from cubital.exchange.stock_sheet import COLUMNS as KIND_COLUMNS

SITE = open_site(demo=True)
_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.worksheet+xml"/>'
    '<Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.styles+xml"/></Types>'
)
_RELS = "http://schemas.openxmlformats.org/package/2006/relationships"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def workbook(rows: list[list[str]], *, name: str = "tests", styles: str = "", head: str = "") -> bytes:
    """A workbook of these cells, text in each, with this in its styles and before its rows."""
    lines = []
    letters = [get_column_letter(number) for number in range(1, max(map(len, rows)) + 1)]
    for number, cells in enumerate(rows, start=1):
        inner = "".join(
            f'<c r="{letter}{number}" t="inlineStr"><is><t>{cell}</t></is></c>'
            for letter, cell in zip(letters, cells, strict=False)
            if cell
        )
        lines.append(f'<row r="{number}">{inner}</row>')
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", _TYPES)
        archive.writestr(
            "_rels/.rels",
            f'<Relationships xmlns="{_RELS}"><Relationship Id="r1" Type="{_OFFICE}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>',
        )
        archive.writestr(
            "xl/workbook.xml",
            f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets><sheet name="{name}" sheetId="1" r:id="r1"/>'
            "</sheets></workbook>",
        )
        archive.writestr(
            "xl/_rels/workbook.xml.rels",
            f'<Relationships xmlns="{_RELS}"><Relationship Id="r1" Type="{_OFFICE}/worksheet" '
            f'Target="worksheets/sheet1.xml"/><Relationship Id="r2" Type="{_OFFICE}/styles" Target="styles.xml"/>'
            "</Relationships>",
        )
        archive.writestr("xl/styles.xml", f'<styleSheet xmlns="{_MAIN}">{styles or _PLAIN}</styleSheet>')
        archive.writestr(
            "xl/worksheets/sheet1.xml",
            f'<worksheet xmlns="{_MAIN}">{head}<sheetData>{"".join(lines)}</sheetData></worksheet>',
        )
    return held.getvalue()


_PLAIN = (
    '<fonts><font/></fonts><fills><fill><patternFill/></fill></fills><borders><border/></borders>'
    '<cellStyleXfs><xf/></cellStyleXfs><cellXfs><xf/></cellXfs>'
)


def _styles(count: int) -> bytes:
    rows = "".join(f'<xf numFmtId="{number % 60}" fontId="0" fillId="0" borderId="0"/>' for number in range(count))
    styles = _PLAIN.replace("<cellXfs><xf/></cellXfs>", f"<cellXfs>{rows}</cellXfs>")
    return workbook([list(TEST_COLUMNS[:3]), ["a", "b", "c"]], styles=styles)


def rows_of_tests(count: int, **more: Callable[[int], str]) -> list[list[str]]:
    """A heading and so many lines, each of a test of its own; `more` gives cells by the number of the line."""
    def nothing(number: int) -> str:
        return ""

    row: dict[str, Callable[[int], str]] = {
        "test": lambda n: f"tst{n}", "bench": lambda n: "b", "matrix": lambda n: "serum", "tubes": lambda n: "serum",
        "volume_ul": lambda n: "100", **more,
    }  # fmt: skip
    return [list(TEST_COLUMNS), *([row.get(c, nothing)(n) for c in TEST_COLUMNS] for n in range(count))]


def csv_of(rows: list[list[str]]) -> bytes:
    """These cells as a CSV."""
    return "".join(",".join(cells) + "\n" for cells in rows).encode()


def _all_bad(count: int) -> list[list[str]]:
    """Lines whose every cell is a slip of its own."""
    return [list(TEST_COLUMNS), *([f"{column}-{number}x" for column in TEST_COLUMNS] for number in range(count))]


def _kinds(count: int) -> list[list[str]]:
    cells = {"additive": "k2-edta", "draw_ml": "4", "name": "a"}
    return [list(KIND_COLUMNS), *([f"k{n}", *(cells.get(c, "") for c in KIND_COLUMNS[1:])] for n in range(count))]


def _definitions(count: int, ways: int) -> bytes:
    tested = {
        "type": {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v2-0372", "code": "NO"}]},
        "container": {"type": {"text": "no such tube"}},
    }
    entries: list[Any] = [
        {"resource": {"resourceType": "SpecimenDefinition", "identifier": {"system": "urn:cubital:test",
                      "value": f"t{n}"}, "typeTested": [tested] * ways}} for n in range(count)
    ]  # fmt: skip
    return json.dumps({"resourceType": "Bundle", "entry": entries}, separators=(",", ":")).encode()


def _own_definitions(count: int) -> bytes:
    """So many new tests as we write them ourselves."""
    from cubital.exchange.fhir_specimen_definition import write_definitions

    test = SITE.tests["potassium"]
    tests = {f"t{n}": replace(test, key=f"t{n}", name=f"test {n}", also=(), codes={}) for n in range(count)}
    return write_definitions(replace(SITE, tests=tests), cautions=())


def _zip_of(files: Mapping[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return held.getvalue()


_FULL: dict[str, Callable[[int], str]] = {
    "name": lambda n: f"the test of number {n}", "also": lambda n: f"ttt{n} | ttu{n}", "minimum_ul": lambda n: "50",
    "handling": lambda n: "ice | keep_closed", "caution": lambda n: "Mind this one. | And this.",
    "timed": lambda n: "in the morning", "way": lambda n: "1",
}  # fmt: skip
_CODED = [*TEST_COLUMNS, *(f"code:s{number}" for number in range(200 - len(TEST_COLUMNS)))]
_SLIPS = "slip_a | slip_b | slip_c | slip_d"
HEAVY: dict[str, Callable[[], bytes]] = {
    "200,000 styles": lambda: _styles(200_000),
    "a sheet of 20,000 x 24, every cell a slip": lambda: workbook(
        [[*row, *("x" * (24 - len(row)))] for row in _all_bad(19_999)]
    ),
    "a sheet of 20,000 new tests": lambda: workbook(rows_of_tests(19_999)),
    "a CSV of 200 columns x 20,000 lines": lambda: (
        ",".join([*TEST_COLUMNS, *(f"c{n}" for n in range(200 - len(TEST_COLUMNS)))])
        + "\n" + ("t" + "," * 199 + "\n") * 19_000
    ).encode(),
    "a CSV of 200 columns of codes": lambda: (
        ",".join(_CODED) + "\n" + "".join(f"t{n}" + ",1" * 199 + "\n" for n in range(11_000))
    ).encode(),
    "a CSV of one test on 20,000 lines": lambda: csv_of(
        rows_of_tests(20_000, test=lambda n: "t", way=lambda n: str(n))
    ),
    "a CSV of 20,000 new tests": lambda: csv_of(rows_of_tests(20_000)),
    "a CSV of 20,000 lines, every cell a slip": lambda: csv_of(_all_bad(18_000)),
    "a CSV of 20,000 slips of handling": lambda: csv_of(rows_of_tests(20_000, handling=lambda n: _SLIPS)),
    "a CSV of 20,000 tests of one name": lambda: csv_of(rows_of_tests(20_000, name=lambda n: "potasium")),
    "a CSV of 20,000 tube kinds": lambda: csv_of(_kinds(20_000)),
    "a zip of two CSV of 20,000 lines": lambda: _zip_of(
        {"tests.csv": csv_of(rows_of_tests(20_000)), "tubes.csv": csv_of(_kinds(20_000))}
    ),
    "a CSV as large as is let in": lambda: csv_of(rows_of_tests(2_000, **_FULL)),
    "a sheet as large as is let in": lambda: workbook(rows_of_tests(2_000, **_FULL)),
    "a sheet of 39,000 cells of slips": lambda: workbook(_all_bad(1_900)),
    "a CSV of 2,000 tests of one name": lambda: csv_of(rows_of_tests(2_000, name=lambda n: "potasium")),
    "a CSV of 150 tube kinds": lambda: csv_of(_kinds(150)),
    "a zip of two CSV as large as is let in": lambda: _zip_of(
        {"tests.csv": csv_of(rows_of_tests(2_000, **_FULL)), "tubes.csv": csv_of(_kinds(150))}
    ),
    "290 definitions of our own": lambda: _own_definitions(290),
    "5,000 definitions of FHIR": lambda: _definitions(5_000, 3),
    "300 definitions of 60 ways": lambda: _definitions(300, 60),
}
"""Each name with what makes the file."""
