"""What a table leaves out: columns that it does not have are as the site has them, the rest as the site's file is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from cubital import facts
from cubital.exchange import stock_sheet
from cubital.exchange.directory_sheet import CODE, SHARED_COLUMNS
from cubital.exchange.site_sheet import Entries, Line, Sheet
from cubital.exchange.stock_table import read_stock
from cubital.facts.directory import HANDLING

Entry = Mapping[str, Any]
_SIZE_FIELDS = ("liquid_additive_ul", "in_stock", "expires")


def sheet_of(columns: Sequence[str], rows: Iterable[Mapping[str, str]], *, file: str = "") -> Sheet:
    """The sheet that these rows make."""
    return Sheet(file, tuple(columns), tuple(Line(number, row) for number, row in enumerate(rows, start=2)))


def filled_directory(said: Entries, have: Mapping[str, Entry]) -> dict[str, Entry]:
    """The tests of a table with what it is silent on as the site has it; a name that is left out is made of the key."""
    return {key: _filled_test(key, entry, said.silent.get(key, frozenset()), have.get(key, {}))
            for key, entry in said.entries.items()}  # fmt: skip


def _filled_test(key: str, entry: Entry, silent: frozenset[str], have: Entry) -> Entry:
    filled = dict(entry)
    for column in SHARED_COLUMNS:
        fields = HANDLING if column == "handling" else (column,)
        if column in silent:
            filled |= {field: have[field] for field in fields if field in have}
    codes = {**{s: c for s, c in have.get("codes", {}).items() if CODE + s in silent}, **entry.get("codes", {})}
    if codes:
        filled["codes"] = codes
    filled.setdefault("name", key.replace("-", " "))
    if "minimum_ul" in silent:
        ways = {(way["matrix"], tuple(way["tubes"])): way for way in have.get("accepts", ())}
        filled["accepts"] = [_with_minimum(way, ways) for way in entry.get("accepts", ())]
    if not filled.get("accepts"):
        filled.pop("accepts", None)
    return filled


def _with_minimum(way: Entry, ways: Mapping[tuple[str, tuple[str, ...]], Entry]) -> Entry:
    """The way with the minimum that the site has for it, where that is not over the new volume."""
    old = ways.get((way["matrix"], tuple(way["tubes"])))
    return {**way, "minimum_ul": min(old["minimum_ul"], way["volume_ul"])} if old is not None else way


def filled_stock(said: Entries, have: Mapping[str, Entry]) -> dict[str, Entry]:
    """The kinds of a table with what it is silent on as the site has it, and what they leave out as the file means it.

    That is: of a shipped key as shipped, and the mark as it was.
    """
    whole = {key: _filled_kind(entry, said.silent.get(key, frozenset()), have.get(key, {}))
             for key, entry in said.entries.items()}  # fmt: skip
    kinds = read_stock(whole, file="", findings=[], shipped=facts.tube_table(), is_site=True)
    sheet = sheet_of(stock_sheet.COLUMNS, stock_sheet.stock_rows(kinds))
    filled: dict[str, Entry] = {}
    for key, entry in stock_sheet.read_stock_sheet(sheet, findings=[]).entries.items():
        mark = {"mark": have[key]["mark"]} if "mark" not in entry and "mark" in have.get(key, {}) else {}
        filled[key] = {**entry, **mark}
    return filled


def _filled_kind(entry: Entry, silent: frozenset[str], have: Entry) -> dict[str, Any]:
    filled = dict(entry)
    for column in stock_sheet.SHARED_COLUMNS:
        if column in silent and column in have:
            filled[column] = have[column]
    dead = have.get("dead_volume_ul", {})
    kept = {matrix: dead[matrix] for matrix, column in stock_sheet.DEAD.items() if column in silent and matrix in dead}
    if kept or "dead_volume_ul" in entry:
        filled["dead_volume_ul"] = {**kept, **entry.get("dead_volume_ul", {})}
    sizes = {size["draw_ml"]: size for size in have.get("sizes", ())}
    filled["sizes"] = [
        {**{f: sizes[size["draw_ml"]][f] for f in _SIZE_FIELDS if f in silent and f in sizes[size["draw_ml"]]}, **size}
        if size["draw_ml"] in sizes
        else size
        for size in entry["sizes"]
    ]
    return filled
