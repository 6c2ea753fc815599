"""Workbooks of a site: what is written cannot be computed, and what comes in is looked through before it is opened."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Callable

import pytest
from openpyxl import Workbook

from cubital.app.site_exchange import SiteImport, export_site, import_site
from cubital.app.wiring import open_site, read_site_tables, site_files, tables_of
from cubital.errors import ExchangeError
from cubital.exchange import archive
from cubital.exchange.toml_text import write_toml
from tests.unit.exchange.test_site_exchange import SMALL

HEAD = ("test", "bench", "matrix", "tubes", "volume_ul")
ROW = ("iron", "chemistry", "serum", "serum", 40)
DAY = datetime.date(2026, 11, 25)
LAUGHS = b'<?xml version="1.0"?><!DOCTYPE z [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><z>&b;</z>'


def workbook(change: Callable[[Workbook], None] = lambda book: None) -> bytes:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "tests"
    sheet.append(HEAD)
    sheet.append(ROW)
    change(book)
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def repacked(data: bytes, *, more: dict[str, bytes] | None = None, drop: str = "") -> bytes:
    """The archive with members added or put in another's place."""
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            if name not in (more or {}) and name != drop:
                new.writestr(name, old.read(name))
        for name, text in (more or {}).items():
            new.writestr(name, text)
    return held.getvalue()


def part(data: bytes, name: str) -> str:
    with zipfile.ZipFile(io.BytesIO(data)) as opened:
        return opened.read(name).decode()


def bring(data: bytes, where: str = "ours.xlsx") -> SiteImport:
    return import_site(data, onto=SMALL, name="x", where=where)


def test_a_plain_workbook_changes_the_site() -> None:
    found = bring(workbook())
    assert found.site is not None
    assert found.site.tests["iron"].accepts[0].volume_ul == 40


def test_the_workbook_says_whose_it_is_of_which_edition_and_day_and_what_is_always_to_be_heeded() -> None:
    data = export_site(open_site(demo=True), "xlsx", today=DAY)
    sheets = re.findall(r'<sheet [^>]*name="(\w+)"', part(data, "xl/workbook.xml"))
    assert sheets == ["tests", "tubes", "policy", "about"]
    about = part(data, "xl/worksheets/sheet4.xml")
    for text in ("Quillmere Hospital (invented)", "2026-11-25", "Decision support for trained", "Two identifiers"):
        assert text in about


def test_text_that_looks_like_a_formula_is_written_as_text_with_the_quote_mark_and_no_formula_is_written() -> None:
    wicked = "=HYPERLINK(1)"
    files = {**SMALL, "site.toml": write_toml({"names": {"serum": wicked}, "name": "+49 @ house"})}
    site = read_site_tables(tables_of(files), name="x")[0]
    assert site is not None
    data = export_site(site, "xlsx", today=DAY)
    styles = re.findall(r"<xf [^>]*>", part(data, "xl/styles.xml").split("<cellXfs")[1])
    quoted = [number for number, style in enumerate(styles) if 'quotePrefix="1"' in style]
    cells = []
    for number in range(1, 5):
        text = part(data, f"xl/worksheets/sheet{number}.xml")
        assert "<f" not in text.replace("<family", "")
        cells += re.findall(r'<c r="\w+" s="(\d+)" t="(\w+)">(?:<is><t[^>]*>)(=HYP|\+49)', text)
    assert len(cells) == 4
    assert all(kind == "inlineStr" and int(style) in quoted for style, kind, _ in cells)
    again = import_site(data, onto=files, name="x", where="x")
    assert again.files == files


def test_a_code_is_text_so_that_no_spreadsheet_makes_a_month_of_it() -> None:
    text = part(export_site(open_site(demo=True), "xlsx", today=DAY), "xl/worksheets/sheet1.xml")
    assert re.search(r't="inlineStr"><is><t>1975-2</t>', text)


def test_a_formula_is_refused_by_its_address_even_where_a_value_stands_beside_it() -> None:
    def compute(book: Workbook) -> None:
        book.worksheets[0]["E2"] = "=20+20"

    with pytest.raises(ExchangeError, match=r"sheet1\.xml: found a formula in E2; expected plain values"):
        bring(workbook(compute))
    sheet = part(workbook(), "xl/worksheets/sheet1.xml")
    shared = sheet.replace("<v>40</v>", '<f t="shared" si="0"/><v>40</v>')
    assert shared != sheet
    with pytest.raises(ExchangeError, match="a formula in E2"):
        bring(repacked(workbook(), more={"xl/worksheets/sheet1.xml": shared.encode()}))


@pytest.mark.parametrize("hidden", ["xl/other/first.xml", "xl/worksheets/sheet1.dat"])
def test_a_sheet_under_another_name_is_looked_through_too_or_refused(hidden: str) -> None:
    def compute(book: Workbook) -> None:
        book.worksheets[0]["E2"] = "=20+20"

    data = workbook(compute)
    kinds, links = part(data, "[Content_Types].xml"), part(data, "xl/_rels/workbook.xml.rels")
    moved = {
        "[Content_Types].xml": kinds.replace("/xl/worksheets/sheet1.xml", f"/{hidden}").encode(),
        "xl/_rels/workbook.xml.rels": links.replace("/xl/worksheets/sheet1.xml", f"/{hidden}").encode(),
        hidden: part(data, "xl/worksheets/sheet1.xml").encode(),
    }
    assert moved["xl/_rels/workbook.xml.rels"] != links.encode()
    with pytest.raises(ExchangeError, match=r"a formula in E2|a sheet in /xl/worksheets/sheet1\.dat"):
        bring(repacked(data, more=moved, drop="xl/worksheets/sheet1.xml"))


def test_merged_cells_are_refused_by_their_address_before_they_are_unfolded() -> None:
    def merge(book: Workbook) -> None:
        book.worksheets[0].merge_cells("A2:B2")

    with pytest.raises(ExchangeError, match="merged cells in A2:B2"):
        bring(workbook(merge))
    sheet = part(workbook(), "xl/worksheets/sheet1.xml")
    huge = sheet.replace("</sheetData>", '</sheetData><mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>')
    with pytest.raises(ExchangeError, match="merged cells in A1:XFD1048576"):
        bring(repacked(workbook(), more={"xl/worksheets/sheet1.xml": huge.encode()}))


def test_days_and_errors_stand_where_they_belong_or_are_told_by_their_cell() -> None:
    def fill(book: Workbook) -> None:
        sheet = book.worksheets[0]
        sheet.append(("a", datetime.date(1975, 2, 1), "serum", "x", 20))
        sheet["D2"] = "#REF!"
        stock = book.create_sheet("tubes")
        stock.append(("kind", "additive", "draw_ml", "expires"))
        stock.append(("edta", "k2-edta", 2.7, datetime.date(2039, 3, 31)))
        stock.append(("heparin", "lithium-heparin", 3, datetime.datetime(2039, 3, 31, 12)))

    found = bring(workbook(fill))
    told = {(one.file, one.entry.split(" (")[0], one.found) for one in found.findings if one.level == "error"}
    assert told >= {
        ("ours.xlsx tests", "cell B3", "a day or a time"), ("ours.xlsx tests", "cell D2", "the error #REF!"),
        ("ours.xlsx tubes", "cell D3", '"2039-03-31 12:00:00"'),
    }  # fmt: skip
    assert not any("D2" in entry for file, entry, _ in told if file == "ours.xlsx tubes")


def test_a_fault_is_told_by_the_address_of_its_cell() -> None:
    def spoil(book: Workbook) -> None:
        book.worksheets[0]["C2"] = "sera"
        book.create_sheet("notes")["A1"] = "ours"

    found = bring(workbook(spoil))
    assert any(one.file == "ours.xlsx tests" and one.entry.startswith("cell C2") for one in found.findings)
    assert any(one.entry == "sheet notes" and one.level == "note" for one in found.findings)


@pytest.mark.parametrize(
    "name", ["xl/sharedStrings.xml", "xl/worksheets/sheet1.xml", "xl/workbook.xml", "_rels/.rels", "docProps/core.xml"]
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_document_type_or_entity_is_refused_in_every_part_and_encoding(name: str, encoding: str) -> None:
    bomb = LAUGHS.decode().replace('"1.0"', f'"1.0" encoding="{encoding}"').encode(encoding)
    with pytest.raises(ExchangeError, match="document type or entity"):
        bring(repacked(workbook(), more={name: bomb}))


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("xl/vbaProject.bin", "a macro"), ("xl/macrosheets/sheet1.xml", "a macro sheet"),
        ("xl/externalLinks/externalLink1.xml", "links to other workbooks"), ("xl/embeddings/x.bin", "an embedded file"),
        ("xl/connections.xml", "a data connection"), ("xl/activeX/activeX1.xml", "a control"),
        ("../evil.xml", "path out of the archive"), ("/etc/passwd", "path out of the archive"),
        ("xl\\..\\..\\x", "path out of the archive"), ("C:x", "path out of the archive"),
    ],
)  # fmt: skip
def test_parts_that_run_reach_out_or_lead_astray_are_refused(name: str, match: str) -> None:
    if "\\" in name:
        data = repacked(workbook(), more={"xl/A..B..Cx": b"x"}).replace(b"xl/A..B..Cx", b"xl\\A..B..Cx")
    else:
        data = repacked(workbook(), more={name: b"<x/>"})
    with pytest.raises(ExchangeError, match=match):
        bring(data)


def test_a_workbook_made_for_macros_is_refused() -> None:
    types = part(workbook(), "[Content_Types].xml").replace("spreadsheetml.sheet.main", "x.macroEnabled.main")
    with pytest.raises(ExchangeError, match="with macros"):
        bring(repacked(workbook(), more={"[Content_Types].xml": types.encode()}))


def test_a_zip_bomb_is_refused_by_its_ratio_its_size_and_its_members() -> None:
    with pytest.raises(ExchangeError, match="packed over 200 times"):
        bring(repacked(workbook(), more={"xl/media/x.xml": b"<x>" + b" " * 11_000_000 + b"</x>"}))
    with pytest.raises(ExchangeError, match="bytes unpacked; expected at most"):
        bring(repacked(workbook(), more={"xl/x.xml": b" " * 31_000_000}))
    with pytest.raises(ExchangeError, match="members; expected at most 200"):
        bring(repacked(workbook(), more={f"xl/{number}": b"" for number in range(200)}))


def test_the_largest_archive_that_is_let_in_and_one_byte_more(monkeypatch: pytest.MonkeyPatch) -> None:
    data = workbook()
    monkeypatch.setattr(archive, "MOST_PACKED", len(data))
    assert bring(data).is_usable
    monkeypatch.setattr(archive, "MOST_PACKED", len(data) - 1)
    with pytest.raises(ExchangeError, match=f"found {len(data)} bytes"):
        bring(data)


def test_a_member_that_says_a_smaller_size_than_it_has_is_refused() -> None:
    data = bytearray(repacked(workbook(), more={"xl/x.xml": b" " * 1_000_000}))
    true = (1_000_000).to_bytes(4, "little")
    assert data.count(true) == 2
    lying = bytes(data).replace(true, (10).to_bytes(4, "little"))
    with pytest.raises(ExchangeError, match=r"damaged part|not XML"):
        bring(lying)


@pytest.mark.parametrize("address", ["A20001", "GS2", "XFD1048576", "A99999999"])
def test_a_cell_far_out_is_refused(address: str) -> None:
    sheet = part(workbook(), "xl/worksheets/sheet1.xml").replace('r="E2"', f'r="{address}"')
    with pytest.raises(ExchangeError, match=f"found the cell {address}"):
        bring(repacked(workbook(), more={"xl/worksheets/sheet1.xml": sheet.encode()}))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("xl/workbook.xml", b"<x/>"), ("xl/_rels/workbook.xml.rels", b"<x/>"), ("xl/styles.xml", b"not xml"),
        ("xl/workbook.xml", b""), ("xl/worksheets/sheet1.xml", b"\xff"),
    ],
)  # fmt: skip
def test_a_broken_workbook_is_refused(name: str, text: bytes) -> None:
    with pytest.raises(ExchangeError):
        bring(repacked(workbook(), more={name: text}))


def test_a_workbook_without_a_sheet_of_a_site_or_without_lines_is_refused() -> None:
    def rename(book: Workbook) -> None:
        book.worksheets[0].title = "Sheet1"

    def empty(book: Workbook) -> None:
        book.worksheets[0].delete_rows(2)

    with pytest.raises(ExchangeError, match="none of the sheets tests, tubes, policy"):
        bring(workbook(rename))
    with pytest.raises(ExchangeError, match="no lines"):
        bring(workbook(empty))


def test_a_locked_archive_is_refused() -> None:
    data = bytearray(workbook())
    at = data.index(b"PK\x01\x02")
    data[at + 8] |= 1
    with pytest.raises(ExchangeError, match="locked with a password"):
        bring(bytes(data))


def test_an_archive_of_tables_is_guarded_the_same_way() -> None:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as opened:
        opened.writestr("../tests.csv", "test,bench\na,b\n")
    with pytest.raises(ExchangeError, match="path out of the archive"):
        bring(held.getvalue(), where="x.zip")
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as opened:
        opened.writestr("readme.txt", "x")
    with pytest.raises(ExchangeError, match="no CSV in the archive"):
        bring(held.getvalue(), where="x.zip")


def test_the_demo_site_keeps_every_cell_as_text_number_or_day() -> None:
    _, files = site_files(demo=True)
    found = import_site(export_site(open_site(demo=True), "xlsx"), onto=files, name="x", where="x")
    assert found.findings == ()
