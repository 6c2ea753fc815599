"""Files brought in at the Site page in a real browser, by its own file chooser: good, faulty, too large, and bombs."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import Page, expect

from tests.web.chrome import Opener, Watched

FORMATS = {
    "csv": "Tests, CSV", "xlsx": "Workbook, XLSX", "fhir": "Tests, FHIR R4 SpecimenDefinition",
}  # fmt: skip
NAMES = {"csv": "tests.csv", "xlsx": "site.xlsx", "fhir": "specimen-definitions.json"}
# The "billion laughs" of an XML bomb: ten entities, each ten times the one before.
LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY l0 "ha">'
    + "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    + "]><worksheet><sheetData><row><c><v>&l9;</v></c></row></sheetData></worksheet>"
)


def download(page: Page, kind: str) -> bytes:
    """A file as the page gives it out."""
    with page.expect_download() as found:
        page.get_by_role("link", name=FORMATS[kind], exact=True).click()
    assert found.value.suggested_filename == NAMES[kind]
    return Path(found.value.path()).read_bytes()


def choose(page: Page, name: str, data: bytes) -> None:
    """Choose a file in the dialog of the browser, and look it over."""
    with page.expect_file_chooser() as found:
        page.get_by_label("File", exact=True).click()
    found.value.set_files({"name": name, "mimeType": "application/octet-stream", "buffer": data})
    page.get_by_role("button", name="Look it over").click()


def reworked(data: bytes, change: Callable[[openpyxl.Workbook], None]) -> bytes:
    """The workbook with something changed in it by another program."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    change(book)
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def moved(kind: str, data: bytes, bench: str) -> bytes:
    """The table with ferritin moved to another bench."""
    if kind == "csv":
        line = next(one for one in data.split(b"\r\n") if one.startswith(b"ferritin,"))
        return data.replace(line, line.replace(b",immunochemistry,", f",{bench},".encode()))
    if kind == "xlsx":
        return reworked(data, lambda book: rewrite(book, "ferritin", "bench", bench))
    bundle = json.loads(data)
    for entry in bundle["entry"]:
        told = entry["resource"]
        if told["identifier"]["value"] == "ferritin":
            one = json.dumps(told)
            entry["resource"] = json.loads(one.replace('"immunochemistry"', f'"{bench}"'))
    return json.dumps(bundle).encode()


def rewrite(book: openpyxl.Workbook, test: str, column: str, text: str) -> None:
    """Write into the first line of this test."""
    sheet = book["tests"]
    heading = [cell.value for cell in sheet[1]]
    row = next(row for row in sheet.iter_rows(min_row=2) if row[heading.index("test")].value == test)
    row[heading.index(column)].value = text


def refusal_of(watched: Watched, status: int) -> None:
    """The browser itself notes an answer that is a refusal; it is the one that was looked for."""
    assert [str(status) in fault for fault in watched.faults] == [True], watched.faults
    watched.faults.clear()


def nothing_is_kept(page: Page) -> None:
    expect(page.get_by_role("region", name="Brought in")).to_have_count(0)
    expect(page.get_by_role("button", name="Save as a version")).to_have_count(0)


@pytest.mark.parametrize("kind", ["csv", "xlsx", "fhir"])
def test_a_table_goes_out_is_changed_comes_in_and_is_saved(opener: Opener, kind: str) -> None:
    page = opener("supervisor").open("/site/tables").page
    choose(page, NAMES[kind], moved(kind, download(page, kind), f"night bench {kind}"))
    brought = page.get_by_role("region", name="Brought in")
    expect(brought).to_contain_text(f"Brought in, not saved: {NAMES[kind]}")
    expect(brought.get_by_role("table")).to_contain_text(f"night bench {kind}")
    page.get_by_role("button", name="What would it do?").click()
    expect(page.get_by_role("region", name="What it would do")).to_be_visible()
    page.get_by_label("Why is this saved").fill("ferritin at night")
    page.get_by_role("button", name="Save as a version").click()
    expect(page.get_by_role("heading", name=re.compile("Version [0-9]+"))).to_be_visible()
    expect(page.get_by_role("table")).to_contain_text(f"night bench {kind}")
    page.get_by_label("Why").fill("not needed")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("brings back version")).to_be_visible()


@pytest.mark.parametrize("kind", ["csv", "xlsx", "fhir"])
def test_a_fault_is_told_by_its_line_its_cell_or_its_element_and_nothing_is_taken_in(opener: Opener, kind: str) -> None:
    watched = opener("supervisor").open("/site/tables")
    page = watched.page
    data, place, said = {
        "csv": (b"test,bench,matrix,tubes,volume_ul\niron,chemistry,serum,serum-gel,60\ntin,chemistry,sera,serum,60\n",
                "line 3 matrix", 'found "sera"'),
        "xlsx": (reworked(download(page, "xlsx"), lambda book: rewrite(book, "sodium", "volume_ul", "much")),
                 "cell H2", 'found "much"'),
        "fhir": (download(page, "fhir").replace(b'"code": "uL"', b'"code": "furlong"', 1),
                 "entry[0].resource typeTested[0]", "furlong"),
    }[kind]  # fmt: skip
    choose(page, NAMES[kind], data)
    refused = page.get_by_role("alert").filter(has_text=said)
    expect(refused.first).to_contain_text(place)
    nothing_is_kept(page)
    refusal_of(watched, 422)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("bomb.xlsx", "laughs", "found a document type or entity"),
        ("bomb.zip", "zeros", "packed over 200 times"),
        ("large.csv", b"test,bench\n" + b"x" * 6_000_000, "expected at most 5000000"),
    ],
)
def test_a_bomb_and_a_table_that_is_too_large_are_refused_in_words(
    opener: Opener, name: str, data: bytes | str, said: str
) -> None:
    watched = opener("supervisor").open("/site/tables")
    page = watched.page
    choose(page, name, data if isinstance(data, bytes) else bomb(data))
    expect(page.get_by_role("alert").first).to_contain_text(said)
    nothing_is_kept(page)
    refusal_of(watched, 422)


def bomb(kind: str) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        if kind == "zeros":
            archive.writestr("tests.csv", b"0" * 9_000_000)
        else:
            archive.writestr("[Content_Types].xml", "<Types/>")
            archive.writestr("xl/worksheets/sheet1.xml", LAUGHS)
    return held.getvalue()


def test_a_file_over_what_a_page_takes_is_refused_before_it_is_read(opener: Opener) -> None:
    watched = opener("supervisor").open("/site/tables")
    choose(watched.page, "huge.csv", b"x" * 11_000_000)
    said = "More was sent than this page takes: at most 10 MB"
    expect(watched.page.get_by_role("heading", name=said)).to_be_visible()
    refusal_of(watched, 413)


def test_a_log_of_orders_comes_in_by_the_file_chooser_with_its_bad_line_told(opener: Opener) -> None:
    page = opener("supervisor").open("/site/orders").page
    with page.expect_file_chooser() as found:
        page.get_by_label("File of orders").click()
    data = b'{"tests": ["K", "Na"]}\n{"tests": ["K"\n{"tests": ["CBC"]}\n'
    found.value.set_files({"name": "month.jsonl", "mimeType": "application/x-ndjson", "buffer": data})
    page.get_by_role("button", name="Bring it in").click()
    expect(page.get_by_role("status")).to_contain_text("2 orders read, 2 different ones kept; 1 line could not be read")
    expect(page.get_by_text("line 2: ")).to_be_visible()
    page.get_by_role("button", name="Forget them: use the record").click()
    expect(page.get_by_text("No log is kept.")).to_be_visible()
