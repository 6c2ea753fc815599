"""A workbook from outside, looked through before a library unpacks it: bombs, macros, links, formulas, merged cells."""

from __future__ import annotations

import posixpath
import zipfile

from cubital.errors import ExchangeError
from cubital.exchange.archive import open_archive, read_member
from cubital.exchange.site_sheet import MOST_COLUMNS, MOST_LINES, count_cells

MOST_MEMBERS = 200
MOST_UNPACKED = 12_000_000
MOST_ROWS = MOST_LINES
MOST_STYLES = 4_000
MOST_ELEMENTS = 600_000
"""So many elements of XML are looked through in one workbook; a filled cell has two or three."""
MOST_TOLD = 10
# Parts that can run, reach out or hold another file; no table of a site needs one.
_REFUSED_PARTS = {
    "vbaproject": "a macro", "macrosheets": "a macro sheet", "externallinks": "links to other workbooks",
    "embeddings": "an embedded file", "activex": "a control", "connections": "a data connection",
    "querytables": "a data connection", "dialogsheets": "a dialog",
}  # fmt: skip
_STYLES = frozenset({"xf", "font", "fill", "border", "numFmt", "dxf", "cellStyle", "tableStyle"})
_RESAVE = "save the tables as a plain workbook (.xlsx)"


def look_through(data: bytes, *, where: str) -> None:
    """Refuse a workbook that is not safe or not plain; what passes may be read by a library.

    Raises `ExchangeError`: for the archive as `open_archive` does; for a document type or entity in any
    part, a macro, a link or an embedded file; for formulas and merged cells by their address, because
    the value that stands in the file may not be the one that is meant; for a sheet that is too large.
    """
    with open_archive(data, where=where, most_members=MOST_MEMBERS, most_bytes=MOST_UNPACKED) as archive:
        names = archive.namelist()
        if "[Content_Types].xml" not in names:
            raise ExchangeError("found an archive that is no workbook; expected .xlsx", where=where)
        for name in names:
            _refuse_part(name, where)
        count = 0
        for name in names:
            if name.lower().endswith((".xml", ".rels", ".vml")):
                count = _look_at_part(archive, name, where, count)


def _refuse_hidden_sheet(relation: dict[str, str], where: str) -> None:
    """Refuse a relationship to a sheet in a part that does not call itself XML, and so is not looked through."""
    target = relation.get("Target", "")
    if relation.get("Type", "").lower().endswith("/worksheet") and not target.lower().endswith(".xml"):
        raise ExchangeError(f"found a sheet in {target[:60]}; expected it in a part of XML; {_RESAVE}", where=where)


def _refuse_part(name: str, where: str) -> None:
    words = name.lower().replace(".", "/").split("/")
    for word, what in _REFUSED_PARTS.items():
        if any(part.startswith(word) for part in words):
            raise ExchangeError(f"found {what}; expected a plain workbook; {_RESAVE}", where=f"{where} {name[:60]}")


def _look_at_part(archive: zipfile.ZipFile, name: str, where: str, count: int) -> int:
    """Look one part through; how many elements there were so far. A document type, of which bombs are made, is refused.

    It is read as it comes and nothing of it is kept: as a tree a part takes ten times its size.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import DefusedXMLParser

    place = f"{where} {name[:60]}"
    look = _Look(name, where, count)
    parser = DefusedXMLParser(target=look, forbid_dtd=True)
    try:
        parser.feed(read_member(archive, name, where=where))
        parser.close()
    except DefusedXmlException:
        raise ExchangeError(f"found a document type or entity; expected none; {_RESAVE}", where=place) from None
    except ExchangeError:
        raise
    except (ParseError, ValueError, LookupError):
        raise ExchangeError(f"found text that is not XML; expected a workbook; {_RESAVE}", where=place) from None
    look.refuse_sheet()
    return look.count


class _Look:
    """What a parser tells of one part, counted and refused as it comes."""

    def __init__(self, name: str, where: str, count: int) -> None:
        self.count = count
        self._name, self._where = name, where
        self._root = ""
        self._cell = "?"
        self._rows = self._in_row = self._cells = self._styles = 0
        self._formulas, self._merged = _Told(), _Told()

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """One element begins."""
        word = tag.rsplit("}", 1)[-1]
        self.count += 1
        if self.count > MOST_ELEMENTS:
            found = f"found over {MOST_ELEMENTS} elements; expected a smaller workbook"
            raise ExchangeError(f"{found}; {_RESAVE}", where=self._where)
        # A sheet is one by what it holds: a workbook may keep it under any name.
        self._root = self._root or word
        if self._root == "worksheet":
            self._start_in_sheet(word, attributes)
        elif self._root == "styleSheet":
            self._styles += word in _STYLES
            if self._styles > MOST_STYLES:
                found = f"found over {MOST_STYLES} styles; expected at most so many"
                raise ExchangeError(f"{found}; copy the values into a new workbook", where=self._where)
        elif word == "Relationship":
            _refuse_hidden_sheet(attributes, f"{self._where} {self._name[:60]}")
        elif self._name == "[Content_Types].xml" and any("macro" in value.lower() for value in attributes.values()):
            raise ExchangeError(f"found a workbook with macros; expected none; {_RESAVE}", where=self._where)

    def _start_in_sheet(self, word: str, attributes: dict[str, str]) -> None:
        where = f"{self._where} {posixpath.basename(self._name)}"
        if word == "c":
            self._cell = attributes.get("r", "?")
            self._in_row += 1
            _refuse_far(attributes.get("r", "A1"), where)
            if self._in_row > MOST_COLUMNS:
                raise ExchangeError(f"found over {MOST_COLUMNS} cells in a row; expected at most so many", where=where)
        elif word in ("v", "is"):
            self._cells += 1
            count_cells(self._cells, where=where)
        elif word == "row":
            self._rows, self._in_row = self._rows + 1, 0
            _refuse_far(f"A{attributes.get('r', '1')}", where)
        elif word == "f":
            self._formulas.add(self._cell)
        elif word == "mergeCell":
            self._merged.add(attributes.get("ref", "?"))

    def end(self, tag: str) -> None:
        """One element ends."""

    def data(self, text: str) -> None:
        """Some text of an element."""

    def close(self) -> None:
        """The part ends."""

    def refuse_sheet(self) -> None:
        """Raise `ExchangeError` for what of a sheet is known only at its end."""
        where = f"{self._where} {posixpath.basename(self._name)}"
        for told, what, remedy in (
            (self._formulas, "a formula", "write the value itself (paste special, values)"),
            (self._merged, "merged cells", "unmerge them and write the value in each row that it is for"),
        ):
            if told.count:
                raise ExchangeError(f"found {what} in {told}; expected plain values; {remedy}", where=where)
        if self._rows > MOST_ROWS:
            raise ExchangeError(f"found {self._rows} rows; expected at most {MOST_ROWS}; split the table", where=where)


class _Told:
    """The first addresses of what is refused, and how many there were."""

    def __init__(self) -> None:
        self.count, self._first = 0, list[str]()

    def add(self, address: str) -> None:
        """Count one more."""
        self.count += 1
        if len(self._first) < MOST_TOLD:
            self._first.append(address[:20])

    def __str__(self) -> str:
        more = f" and {self.count - MOST_TOLD} more" if self.count > MOST_TOLD else ""
        return ", ".join(self._first) + more


def _refuse_far(address: str, where: str) -> None:
    letters = address.rstrip("0123456789")
    digits = address[len(letters) :]
    column = 0
    for letter in letters[:4].upper():
        column = column * 26 + ord(letter) - 64
    if not digits.isascii() or len(digits) > 7 or int(digits or 0) > MOST_ROWS or not 0 < column <= MOST_COLUMNS:
        raise ExchangeError(
            f"found the cell {address[:20]}; expected at most {MOST_ROWS} rows and {MOST_COLUMNS} columns; "
            "delete the empty rows and columns after the table",
            where=where,
        )
