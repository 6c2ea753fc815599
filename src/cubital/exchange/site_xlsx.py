"""A site as a workbook: sheets for tests, tubes, policy and what it is about; text stays text, formulas are refused."""

from __future__ import annotations

import datetime
import io
import re
import warnings
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from cubital.errors import ExchangeError
from cubital.exchange import directory_sheet, policy_sheet, stock_sheet
from cubital.exchange.site_sheet import MOST_COLUMNS, Line, Sheet, is_full, table_of
from cubital.exchange.xlsx_guard import MOST_ROWS, look_through
from cubital.model import Finding, Site

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell import Cell

TESTS, TUBES, POLICY, ABOUT = SHEETS = ("tests", "tubes", "policy", "about")
MOST_CELL = 5_000
_WHOLE_COLUMNS = (
    "way", "volume_ul", "minimum_ul", "size", "liquid_additive_ul", "in_stock", "fill_min_percent", "inversions",
    *stock_sheet.DEAD.values(),
)  # fmt: skip
_WIDTHS = {"tubes": 44, "name": 34, "also": 30, "handling": 24, "caution": 30, "value": 40, "because": 60, "says": 96}
# ECMA-376 part 1, 22.9.2.19 (ST_Xstring): _xHHHH_ stands for a character, so text of that form is escaped.
_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")


class About(NamedTuple):
    """What stands on the last sheet: the site, the edition of the facts, the day, and what is always to be heeded."""

    site: str
    edition: str
    on: datetime.date
    cautions: tuple[str, ...]


def write_xlsx(site: Site, about: About) -> bytes:
    """The site as a workbook; numbers are numbers, days are days and every other cell is text."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    _fill(book, TESTS, directory_sheet.directory_columns(site.tests), directory_sheet.directory_rows(site.tests))
    _fill(book, TUBES, stock_sheet.COLUMNS, stock_sheet.stock_rows(site.kinds))
    _fill(book, POLICY, policy_sheet.COLUMNS, policy_sheet.policy_rows(site))
    lines = [
        ("site", about.site), ("written on", about.on.isoformat()), ("edition of the facts", about.edition),
        *(("always", text) for text in about.cautions),
        ("units", "stand in the names of the columns: _ul is microlitres, _ml millilitres"),
        ("lists", "stand in one cell with a bar between: sodium | Na"),
        ("values", "write values, not formulas; a table with formulas or merged cells is not taken in"),
    ]  # fmt: skip
    _fill(book, ABOUT, ("what", "says"), ({"what": what, "says": says} for what, says in lines))
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _fill(book: Workbook, name: str, columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(name)
    for number, column in enumerate(columns, start=1):
        cell = sheet.cell(1, number)
        _write_text(cell, column)
        cell.font = Font(bold=True)
        sheet.column_dimensions[get_column_letter(number)].width = _WIDTHS.get(column, max(12, len(column) + 2))
    for line, row in enumerate(rows, start=2):
        for number, column in enumerate(columns, start=1):
            if column in row:
                cell = sheet.cell(line, number)
                _write(cell, column, row[column])
                cell.alignment = Alignment(wrap_text=column in _WIDTHS, vertical="top")
    sheet.freeze_panes = "B2" if name in (TESTS, TUBES) else "A2"
    sheet.auto_filter.ref = sheet.dimensions


def _write(cell: Cell, column: str, text: str) -> None:
    if column in _WHOLE_COLUMNS:
        cell.value = int(text)
    elif column == "draw_ml":
        cell.value = Decimal(text)
    elif column == "expires":
        cell.value = datetime.date.fromisoformat(text)
        cell.number_format = "yyyy-mm-dd"
    else:
        _write_text(cell, text)


def _write_text(cell: Cell, text: str) -> None:
    """Write text that no spreadsheet computes or turns into a day, whatever it begins with."""
    cell.value = _ESCAPED.sub("_x005F_", text)
    cell.data_type = "s"
    cell.number_format = "@"
    cell.quotePrefix = True


def read_xlsx(data: bytes, *, where: str, findings: list[Finding]) -> dict[str, Sheet]:
    """The sheets of a workbook that a site is made of; other sheets are told in a note.

    Raises `ExchangeError` as `look_through` does, and where it is no workbook; a cell that holds an error, a
    time or a day where text belongs becomes a finding.
    """
    from openpyxl import load_workbook

    look_through(data, where=where)
    try:
        with warnings.catch_warnings():
            # The library warns of features that it does not keep; none of them holds a value.
            warnings.simplefilter("ignore")
            # Row by row: held whole, a cell takes twenty times its text.
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_vba=False, keep_links=False)
            rows = {
                sheet.title: _rows_of(sheet, where)
                for sheet in book.worksheets
                if sheet.title in (TESTS, TUBES, POLICY)
            }
    except ExchangeError:
        raise
    except Exception as error:
        # A workbook from outside breaks the library in any of its own ways; all mean that it cannot be read.
        raise ExchangeError(
            f"found a workbook that cannot be read ({type(error).__name__}); save it again as .xlsx", where=where
        ) from None
    sheets = {title: _read_sheet(title, cells, where, findings) for title, cells in rows.items()}
    for sheet in book.worksheets:
        if sheet.title not in SHEETS:
            findings.append(_unread_sheet(sheet.title, where))
    if not sheets:
        raise ExchangeError(f"found none of the sheets {TESTS}, {TUBES}, {POLICY}; name them so", where=where)
    return sheets


def _unread_sheet(title: str, where: str) -> Finding:
    return Finding(
        level="note",
        file=where,
        entry=f"sheet {title[:31]}",
        found="a sheet that nothing reads",
        expected=", ".join(SHEETS),
        remedy="it is left out of the site",
    )


_Cells = dict[int, tuple[object, str]]
"""The value and the kind of each cell of a row that is not empty, by the number of its column."""


def _rows_of(sheet: Any, where: str) -> list[tuple[int, _Cells]]:
    """The number of each row that is not empty, and its cells; the heading is looked at before what is below it."""
    # What a sheet says of its own size may be anything.
    sheet.reset_dimensions()
    found: list[tuple[int, _Cells]] = []
    for number, row in enumerate(sheet.iter_rows(), start=1):
        cells = {
            place: (cell.value, cell.data_type)
            for place, cell in enumerate(row[:MOST_COLUMNS], start=1)
            if cell.value is not None
        }
        if number == 1:
            table_of([_plain(value).strip() for value, _ in cells.values()], where=f"{where} {sheet.title}")
        if cells:
            found.append((number, cells))
        if number >= MOST_ROWS:
            break
    return found


def _read_sheet(title: str, rows: list[tuple[int, _Cells]], where: str, findings: list[Finding]) -> Sheet:
    from openpyxl.utils import get_column_letter

    heading = rows[0][1] if rows else {}
    width = max(heading, default=0)
    columns = tuple(_plain(heading.get(n, ("", "s"))[0]).strip() for n in range(1, width + 1))
    letters = tuple(get_column_letter(n) for n in range(1, width + 1))
    shell = Sheet(f"{where} {title}", columns, (), letters)
    lines = []
    for number, row in rows[1:]:
        if is_full(findings, file=shell.file):
            break
        cells: dict[str, str] = {}
        for place, cell in row.items():
            column = columns[place - 1] if place <= width else ""
            text = _text_of(*cell, column, number, shell, findings) if column else ""
            if text:
                cells.setdefault(column, text)
        if cells:
            lines.append(Line(number, cells))
    if not lines:
        raise ExchangeError("found no lines; expected one at least below the heading", where=shell.file)
    return shell._replace(lines=tuple(lines))


def _text_of(value: object, kind: str, column: str, number: int, sheet: Sheet, findings: list[Finding]) -> str:
    fault = None
    if kind == "e":
        fault = (f"the error {str(value)[:20]}", "a value", "write the value")
    elif isinstance(value, datetime.date | datetime.time | datetime.timedelta) and column != "expires":
        fault = ("a day or a time", "text or a number", "format the cell as text and write it again")
    elif len(str(value)) > MOST_CELL:
        fault = (f"{len(str(value))} characters", f"at most {MOST_CELL}", "shorten it")
    if fault is not None:
        sheet.note(findings, number, column, found=fault[0], expected=fault[1], remedy=fault[2])
        return ""
    return _plain(value).strip()


def _plain(value: object) -> str:
    """The text of a value of a cell: whole numbers without a point, days as 2027-03-31."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        exact = Decimal(repr(value))
        return f"{exact.to_integral_value():f}" if exact == exact.to_integral_value() else f"{exact:f}"
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date().isoformat()
    if isinstance(value, str):
        return re.sub(r"_x005F_(?=x[0-9A-Fa-f]{4}_)", "_", value)
    return str(value)
