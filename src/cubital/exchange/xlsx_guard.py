"""A workbook from outside, looked through before a library unpacks it: bombs, macros, links, formulas, merged cells."""

from __future__ import annotations

import posixpath
import zipfile
from collections.abc import Iterator
from typing import Any

from cubital.errors import ExchangeError
from cubital.exchange.archive import open_archive, read_member

MOST_MEMBERS = 200
MOST_UNPACKED = 30_000_000
MOST_ROWS, MOST_COLUMNS = 20_000, 200
MOST_TOLD = 10
# Parts that can run, reach out or hold another file; no table of a site needs one.
_REFUSED_PARTS = {
    "vbaproject": "a macro", "macrosheets": "a macro sheet", "externallinks": "links to other workbooks",
    "embeddings": "an embedded file", "activex": "a control", "connections": "a data connection",
    "querytables": "a data connection", "dialogsheets": "a dialog",
}  # fmt: skip
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
        for name in names:
            if name.lower().endswith((".xml", ".rels", ".vml")):
                root = _parse(archive, name, where)
                if name == "[Content_Types].xml" and any("macro" in v.lower() for e in root for v in e.attrib.values()):
                    raise ExchangeError(f"found a workbook with macros; expected none; {_RESAVE}", where=where)
                _refuse_hidden_sheet(root, f"{where} {name[:60]}")
                # A sheet is one by what it holds: a workbook may keep it under any name.
                if root.tag.rsplit("}", 1)[-1] == "worksheet":
                    _look_at_sheet(root, f"{where} {posixpath.basename(name)}")


def _refuse_hidden_sheet(root: Any, where: str) -> None:
    """Refuse a relationship to a sheet in a part that does not call itself XML, and so is not looked through."""
    for relation in _each(root, "Relationship"):
        target = relation.get("Target", "")
        if relation.get("Type", "").lower().endswith("/worksheet") and not target.lower().endswith(".xml"):
            raise ExchangeError(f"found a sheet in {target[:60]}; expected it in a part of XML; {_RESAVE}", where=where)


def _refuse_part(name: str, where: str) -> None:
    words = name.lower().replace(".", "/").split("/")
    for word, what in _REFUSED_PARTS.items():
        if any(part.startswith(word) for part in words):
            raise ExchangeError(f"found {what}; expected a plain workbook; {_RESAVE}", where=f"{where} {name[:60]}")


def _parse(archive: zipfile.ZipFile, name: str, where: str) -> Any:
    """The root of one part; a document type, which is what XML bombs are made of, is refused."""
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    place = f"{where} {name[:60]}"
    data = read_member(archive, name, where=where)
    try:
        return fromstring(data, forbid_dtd=True)
    except DefusedXmlException:
        raise ExchangeError(f"found a document type or entity; expected none; {_RESAVE}", where=place) from None
    except (ParseError, ValueError, LookupError):
        raise ExchangeError(f"found text that is not XML; expected a workbook; {_RESAVE}", where=place) from None


def _look_at_sheet(root: Any, where: str) -> None:
    formulas, merged, count = [], [], 0
    for row in _each(root, "row"):
        count += 1
        for cell in _each(row, "c"):
            if any(True for _ in _each(cell, "f")):
                formulas.append(cell.get("r", "?"))
            _refuse_far(cell.get("r", "A1"), where)
    for span in _each(root, "mergeCell"):
        merged.append(span.get("ref", "?"))
    for addresses, what, remedy in (
        (formulas, "a formula", "write the value itself (paste special, values)"),
        (merged, "merged cells", "unmerge them and write the value in each row that it is for"),
    ):
        if addresses:
            told = ", ".join(address[:20] for address in addresses[:MOST_TOLD])
            more = f" and {len(addresses) - MOST_TOLD} more" if len(addresses) > MOST_TOLD else ""
            raise ExchangeError(f"found {what} in {told}{more}; expected plain values; {remedy}", where=where)
    if count > MOST_ROWS:
        raise ExchangeError(f"found {count} rows; expected at most {MOST_ROWS}; split the table", where=where)


def _refuse_far(address: str, where: str) -> None:
    letters = address.rstrip("0123456789")
    digits = address[len(letters) :]
    column = 0
    for letter in letters[:4].upper():
        column = column * 26 + ord(letter) - 64
    if len(digits) > 7 or int(digits or 0) > MOST_ROWS or not 0 < column <= MOST_COLUMNS:
        raise ExchangeError(
            f"found the cell {address[:20]}; expected at most {MOST_ROWS} rows and {MOST_COLUMNS} columns; "
            "delete the empty rows and columns after the table",
            where=where,
        )


def _each(root: Any, name: str) -> Iterator[Any]:
    """The elements of this name below an element, whichever namespace of the standard they are in."""
    return (element for element in root.iter() if element.tag.rsplit("}", 1)[-1] == name)
