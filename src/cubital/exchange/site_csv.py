"""Tables of a site in CSV: cells that no spreadsheet takes for a formula, and back exactly; several in one archive."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence

from cubital.errors import ExchangeError
from cubital.exchange.archive import open_archive, read_member
from cubital.exchange.site_sheet import MOST_COLUMNS, MOST_LINES, Line, Sheet, count_cells, table_of

MOST_BYTES = 5_000_000
MOST_CELL = 5_000
# What makes a spreadsheet take a cell for a formula: OWASP's list (CSV Injection), its full-width forms, and the
# line feed and NUL of its verification standard (ASVS 5.0, 1.2.10).
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")
QUOTE = "'"
# Where lists are parted by semicolons a spreadsheet parts our lines there too, within quotes as well: what follows a
# semicolon, or then a line's end, may begin a cell (OWASP, CSV Injection, on separators and quotes inside a text).
_BEGINS = r"""=+\-@＝＋－＠'"""
_INNER = re.compile(rf"""([;\t\r\n][\s"]*)(?=[{_BEGINS}])""")
_INNER_DISARMED = re.compile(rf"""([;\t\r\n][\s"]*)'(?=[{_BEGINS}])""")
_DAY = (1980, 1, 1, 0, 0, 0)


def disarm(text: str) -> str:
    """The text so that no spreadsheet computes it: with an apostrophe before what would begin a formula.

    Text that begins with an apostrophe gets one more, so that `rearm` gives every text back exactly.

    After a semicolon the same, for a spreadsheet may begin a cell there.

    >>> disarm("=1+1"), disarm("'quoted"), disarm("Na"), disarm("a; =1+1")
    ("'=1+1", "''quoted", 'Na', "a; '=1+1")
    """
    inner = _INNER.sub(r"\1'", text)
    return QUOTE + inner if text.startswith((*RISKY, QUOTE)) else inner


def rearm(text: str) -> str:
    """What `disarm` was given; an apostrophe that a person wrote before an ordinary letter stays.

    >>> rearm("'=1+1"), rearm("''quoted"), rearm("'s-Gravenhage")
    ('=1+1', "'quoted", "'s-Gravenhage")
    """
    bare = text[1:] if text.startswith(QUOTE) and text[1:].startswith((*RISKY, QUOTE)) else text
    return _INNER_DISARMED.sub(r"\1", bare)


def write_csv(columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> bytes:
    """A table in UTF-8 with its mark at the head, so that a spreadsheet reads every letter; line ends of RFC 4180."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([disarm(column) for column in columns])
    for row in rows:
        writer.writerow([disarm(row.get(column, "")) for column in columns])
    return text.getvalue().encode("utf-8-sig")


def write_archive(files: Mapping[str, bytes]) -> bytes:
    """One zip archive of these files; the same files make the same bytes."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name, _DAY), data, zipfile.ZIP_DEFLATED)
    return held.getvalue()


def read_csv(data: bytes, *, where: str) -> Sheet:
    """The lines of a CSV, commas or semicolons apart, in UTF-8 with or without its mark.

    Raises `ExchangeError` where it is no such table, by the line.
    """
    if len(data) > MOST_BYTES:
        raise ExchangeError(f"found {len(data)} bytes; expected at most {MOST_BYTES}; split the table", where=where)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"found the byte 0x{data[error.start]:02x}; expected UTF-8"
        raise ExchangeError(f"{found}; save it as CSV UTF-8", where=f"{where} line {line}") from None
    if "\0" in text:
        raise ExchangeError("found a NUL character; expected a table of text; save it as CSV UTF-8", where=where)
    delimiter = _delimiter_of(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        columns = tuple(rearm(cell).strip() for cell in next(reader, []))
        if len(columns) > MOST_COLUMNS:
            found = f"found {len(columns)} columns; expected at most {MOST_COLUMNS}"
            raise ExchangeError(f"{found}; take out what is not of the table", where=f"{where} line 1")
        if any(columns):
            table_of(columns, where=where)
        lines = _read_lines(reader, columns, where)
    except csv.Error as error:
        raise ExchangeError(f"found text that is not CSV: {error}", where=f"{where} line {reader.line_num}") from None
    if not any(columns) or not lines:
        raise ExchangeError("found no lines; expected a heading and one line at least below it", where=where)
    return Sheet(file=where, columns=columns, lines=tuple(lines), has_comma_decimals=delimiter == ";")


def _read_lines(reader: Iterable[list[str]], columns: tuple[str, ...], where: str) -> list[Line]:
    lines: list[Line] = []
    start, count = 2, 0
    for cells in reader:
        number, start = start, reader.line_num + 1  # type: ignore[attr-defined]
        filled = [place for place, cell in enumerate(cells) if cell and not cell.isspace()]
        if not filled:
            continue
        count += len(filled)
        count_cells(count, where=where)
        if len(lines) == MOST_LINES:
            found = f"found over {MOST_LINES} lines; expected at most {MOST_LINES}"
            raise ExchangeError(f"{found}; split the table", where=f"{where} line {number}")
        if filled[-1] >= len(columns):
            raise ExchangeError(
                f"found {len(cells)} cells; expected {len(columns)}, as the heading has; put text that holds "
                "the separator in double quotes",
                where=f"{where} line {number}",
            )
        for place in filled:
            if len(cells[place]) > MOST_CELL:
                found = f"found {len(cells[place])} characters; expected at most {MOST_CELL}"
                raise ExchangeError(f"{found}; shorten it", where=f"{where} line {number} {columns[place][:60]}")
        lines.append(Line(number, _filled(columns, cells, filled)))
    return lines


def _filled(columns: tuple[str, ...], cells: Sequence[str], places: Sequence[int]) -> dict[str, str]:
    """The text of each column that has some; `places` are those of the cells that are not empty."""
    filled: dict[str, str] = {}
    for place in places:
        text = rearm(cells[place]).strip()
        if text and columns[place]:
            filled.setdefault(columns[place], text)
    return filled


def _delimiter_of(text: str) -> str:
    """Comma or semicolon: whichever stands more often in the heading outside quotes."""
    heading = "".join(text.split("\n", 1)[0].split('"')[::2])
    return ";" if heading.count(";") > heading.count(",") else ","


def read_csv_archive(data: bytes, *, where: str) -> dict[str, Sheet]:
    """The tables in a zip archive, by the name of their file; raises as `read_csv` and `open_archive` do."""
    with open_archive(data, where=where, most_members=8, most_bytes=2 * MOST_BYTES) as archive:
        names = [name for name in archive.namelist() if name.lower().endswith(".csv")]
        if not names:
            raise ExchangeError("found no CSV in the archive; expected tests.csv or tubes.csv", where=where)
        return {name: read_csv(read_member(archive, name, where=where), where=name) for name in names}
