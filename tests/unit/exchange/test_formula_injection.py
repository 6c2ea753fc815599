"""No text of a site is a formula in a spreadsheet, however it parts the cells; and every text comes back exactly."""

from __future__ import annotations

import csv
import io

import openpyxl
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital.app.site_exchange import export_site
from cubital.app.wiring import open_site
from cubital.exchange.site_csv import disarm, read_csv, rearm, write_csv

DEMO = open_site(demo=True)
FIRST = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")
EVIL = (
    "=1+1", "+49 1", "-5", "@SUM(A1)", "\t=1+1", "\r=1+1", "\n=1+1", "＝1+1", "＋1", "－1", "＠SUM(A1)", '"=1+1"',
    "=cmd|' /C calc'!A0", "'=1+1", "''=1+1", "a;=1+1;b", "a; =1+1", 'a;"=1+1";b', "a;'=1+1", "a;;@x", 'x";=1+1;"',
    "a,=1+1", "a\t=1+1", ";＝1",
)  # fmt: skip


def cells(data: bytes, delimiter: str) -> list[str]:
    """The cells as a spreadsheet that parts them so would show them."""
    text = data.decode("utf-8-sig")
    return [cell for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) for cell in row]


@pytest.mark.parametrize("delimiter", [",", ";"])
@pytest.mark.parametrize("text", EVIL)
def test_no_cell_begins_a_formula_whichever_separator_the_spreadsheet_goes_by(text: str, delimiter: str) -> None:
    data = write_csv(("test", "name", "bench"), [{"test": "k", "name": text, "bench": text}])
    for cell in cells(data, delimiter):
        assert not cell.lstrip(" ").startswith(FIRST), cell


@given(st.text(alphabet=st.sampled_from([*"=+-@'\"; \t\r\n,a1", "＝", "＠"]), max_size=12))
@example("a;=1;'=2")
@example(";'")
def test_every_text_comes_back_exactly(text: str) -> None:
    assert rearm(disarm(text)) == text


@given(st.text(alphabet=st.sampled_from([*"=+-@'\";, a1", "＝"]), min_size=1, max_size=12).map(str.strip).filter(bool))
def test_a_written_cell_is_read_as_it_was(text: str) -> None:
    (line,) = read_csv(write_csv(("test", "name"), [{"test": "k", "name": text}]), where="t.csv").lines
    assert line.cells["name"] == text


@pytest.mark.parametrize("text", [one for one in EVIL if one.isprintable()])
def test_a_workbook_holds_every_text_as_text(text: str) -> None:
    tests = {**DEMO.tests, "sodium": replace(DEMO.tests["sodium"], name=text, bench=text, also=(text,))}
    book = openpyxl.load_workbook(io.BytesIO(export_site(replace(DEMO, tests=tests), "xlsx")))
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            assert not any(cell.data_type == "f" for cell in row)
    found = next(row for row in book["tests"].iter_rows(min_row=2) if row[0].value == "sodium")
    assert (found[1].value, found[1].data_type, found[1].quotePrefix) == (text, "s", True)
