"""The tube stock as a table: a line for each size of a kind, and back to the entries of `tubes.toml`."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from cubital import facts
from cubital.exchange.site_sheet import (
    Entries,
    Heading,
    Line,
    Sheet,
    flag_of,
    join_cell,
    ranked_lines,
    read_entries,
    shared_cells,
    split_cell,
    whole_of,
)
from cubital.exchange.stock_table import read_stock
from cubital.model import Finding, Tube, TubeKind
from cubital.model.vocabulary import MATRICES

DEAD = {matrix: f"dead_{matrix.replace('-', '_')}_ul" for matrix in MATRICES}
SIZE_COLUMNS = ("size", "draw_ml", "liquid_additive_ul", "in_stock", "expires")
SHARED_COLUMNS = (
    "name", "mark", "additive", "gel", "use", "material", "stopper", "accesses", "fill_min_percent", "inversions",
    *DEAD.values(),
)  # fmt: skip
COLUMNS = ("kind", *SHARED_COLUMNS, *SIZE_COLUMNS)
NEEDED = ("kind", "additive", "draw_ml")
NO_ACCESS = "none"
_WHOLE = ("fill_min_percent", "inversions", "liquid_additive_ul", "in_stock")
_NUMBER = re.compile(r"[0-9]{1,6}(\.[0-9]{1,9})?")


def stock_rows(kinds: Mapping[str, TubeKind]) -> Iterator[dict[str, str]]:
    """The cells of every line, empty ones left out; what is of the whole kind stands on its first line."""
    for kind in kinds.values():
        accesses = "" if kind.accesses is None else join_cell(kind.accesses) or NO_ACCESS
        whole = {
            "name": kind.name, "mark": kind.mark, "additive": kind.additive, "gel": "yes" if kind.gel else "",
            "use": kind.use or "", "material": kind.material or "", "stopper": kind.stopper or "",
            "accesses": accesses, "fill_min_percent": _say(kind.fill_min_percent),
            "inversions": _say(kind.inversions),
            **{DEAD[matrix]: _say(volume_ul) for matrix, volume_ul in kind.dead_volume_ul.items()},
        }  # fmt: skip
        for number, size in enumerate(kind.sizes, start=1):
            cells = {"kind": kind.key, **(whole if number == 1 else {}), "size": str(number), **_size_cells(size)}
            yield {column: text for column, text in cells.items() if text}


def _say(number: int | None) -> str:
    return "" if number is None else str(number)


def _size_cells(size: Tube) -> dict[str, str]:
    draw = Decimal(size.draw_ul).scaleb(-3).normalize()
    return {
        "draw_ml": f"{draw:f}",
        "liquid_additive_ul": _say(size.liquid_additive_ul or None),
        "in_stock": _say(size.in_stock),
        "expires": "" if size.expires is None else size.expires.isoformat(),
    }


def read_stock_sheet(sheet: Sheet, *, findings: list[Finding]) -> Entries:
    """The entries of the table as `tubes.toml` writes them; every fault of it becomes a finding at its cell."""

    def read_entry(key: str, lines: Sequence[Line], places: dict[tuple[str, str], str]) -> dict[str, object]:
        entry = _read_whole(key, sheet, lines, places, findings)
        return {**entry, "sizes": _read_sizes(key, sheet, lines, places, findings)}

    def check(entries: Mapping[str, Mapping[str, Any]], told: list[Finding]) -> None:
        read_stock(entries, file=sheet.file, findings=told, shipped=facts.tube_table(), is_site=True)

    heading = Heading("kind", COLUMNS, NEEDED)
    return read_entries(sheet, heading, read_entry=read_entry, check=check, findings=findings)


def _read_whole(
    key: str, sheet: Sheet, lines: Sequence[Line], places: dict[tuple[str, str], str], findings: list[Finding]
) -> dict[str, object]:
    said = shared_cells(sheet, lines, SHARED_COLUMNS, findings=findings)
    matrices = {column: matrix for matrix, column in DEAD.items()}
    entry: dict[str, object] = {}
    dead: dict[str, int | str] = {}
    for column, (number, text) in said.items():
        field = column
        if column in matrices:
            dead[matrices[column]] = whole_of(text)
            field = f"dead_volume_ul.{matrices[column]}"
        elif column == "gel":
            if flag_of(text) is not False:
                entry[column] = flag_of(text)
        elif column == "accesses":
            entry[column] = [] if text == NO_ACCESS else split_cell(text)
        else:
            entry[column] = whole_of(text) if column in _WHOLE else text
        places[key, field] = sheet.place(number, column)
    if dead:
        entry["dead_volume_ul"] = dead
    return entry


def _read_sizes(
    key: str, sheet: Sheet, lines: Sequence[Line], places: dict[tuple[str, str], str], findings: list[Finding]
) -> list[dict[str, object]]:
    sizes: list[dict[str, object]] = []
    for line in ranked_lines(sheet, lines, "size", findings=findings):
        path = f"sizes[{len(sizes)}]"
        size: dict[str, object] = {}
        for column in SIZE_COLUMNS[1:]:
            places[key, f"{path}.{column}"] = sheet.place(line.number, column)
            text = line.cells.get(column)
            if text is not None:
                size[column] = _read_size_cell(column, text, sheet.has_comma_decimals)
        places[key, path] = sheet.place(line.number, "draw_ml")
        if size.get("liquid_additive_ul") == 0:
            del size["liquid_additive_ul"]
        sizes.append(size)
    return sizes


def _read_size_cell(column: str, text: str, has_comma_decimals: bool) -> object:
    if column == "draw_ml":
        number = text.replace(",", ".") if has_comma_decimals and "." not in text else text
        return Decimal(number) if _NUMBER.fullmatch(number) else text
    if column == "expires":
        try:
            return datetime.date.fromisoformat(text) if len(text) == 10 else text
        except ValueError:
            return text
    return whole_of(text)
