"""The test directory as a table: a line for each way to run a test, and back to the entries of `tests.toml`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from cubital.exchange.directory_table import CULTURES, read_tests
from cubital.exchange.site_sheet import (
    Entries,
    Heading,
    Line,
    Sheet,
    flag_of,
    is_coded,
    join_cell,
    ranked_lines,
    read_entries,
    shared_cells,
    split_cell,
    whole_of,
)
from cubital.exchange.table import near_misses, show
from cubital.facts.directory import HANDLING
from cubital.model import Finding, Test

CODE = "code:"
WAY_COLUMNS = ("way", "matrix", "tubes", "volume_ul", "minimum_ul")
SHARED_COLUMNS = ("name", "also", "bench", "own_tube", "culture", "timed", "moment", "rank", "handling", "caution")
COLUMNS = (
    "test", "name", "also", "bench", *WAY_COLUMNS, "own_tube", "culture", "timed", "moment", "rank", "handling",
    "caution",
)  # fmt: skip
NEEDED = ("test", "bench", "matrix", "tubes", "volume_ul")
_LISTS = ("also", "caution")
MOST_HINTS = 300


def directory_columns(tests: Mapping[str, Test]) -> tuple[str, ...]:
    """The heading of this directory: one column of codes for each system that its tests use."""
    systems = dict.fromkeys(system for test in tests.values() for system in test.codes)
    return (*COLUMNS, *(CODE + system for system in systems))


def directory_rows(tests: Mapping[str, Test]) -> Iterator[dict[str, str]]:
    """The cells of every line, empty ones left out; what is of the whole test stands on its first line."""
    for test in tests.values():
        whole = {
            "name": test.name, "also": join_cell(test.also), "bench": test.bench,
            "own_tube": "yes" if test.own_tube else "", "culture": test.culture or "", "timed": test.timed or "",
            "moment": test.moment or "",
            "rank": test.rank or "",
            "handling": join_cell(test.handling), "caution": join_cell(test.cautions),
            **{CODE + system: code for system, code in test.codes.items()},
        }  # fmt: skip
        ways = [
            {
                "way": str(number), "matrix": way.matrix, "tubes": join_cell(way.tubes),
                "volume_ul": str(way.volume_ul), "minimum_ul": str(way.minimum_ul),
            }
            for number, way in enumerate(test.accepts, start=1)
        ]  # fmt: skip
        for number, way_cells in enumerate(ways or [{}]):
            cells = {"test": test.key, **(whole if number == 0 else {}), **way_cells}
            yield {column: text for column, text in cells.items() if text}


def read_directory_sheet(sheet: Sheet, *, findings: list[Finding]) -> Entries:
    """The entries of the table as `tests.toml` writes them; every fault of it becomes a finding at its cell."""

    def read_entry(key: str, lines: Sequence[Line], places: dict[tuple[str, str], str]) -> dict[str, object]:
        entry = _read_whole(key, sheet, lines, places, findings)
        accepts = _read_ways(key, sheet, lines, places, findings)
        return {**entry, "accepts": accepts} if accepts else entry

    def check(entries: Mapping[str, Mapping[str, Any]], told: list[Finding]) -> None:
        read_tests(entries, file=sheet.file, findings=told, handling=HANDLING)

    heading = Heading("test", COLUMNS, NEEDED, prefix=CODE)
    return read_entries(sheet, heading, read_entry=read_entry, check=check, findings=findings)


def _read_whole(
    key: str, sheet: Sheet, lines: Sequence[Line], places: dict[tuple[str, str], str], findings: list[Finding]
) -> dict[str, object]:
    coded = [column for column in sheet.columns if is_coded(column, CODE)]
    said = shared_cells(sheet, lines, (*SHARED_COLUMNS, *coded), findings=findings)
    entry: dict[str, object] = {}
    codes: dict[str, str] = {}
    for column, (number, text) in said.items():
        field = column
        if column in coded:
            field = f"codes.{column[len(CODE) :]}"
            codes[column[len(CODE) :]] = text
        elif column == "handling":
            terms = _read_terms(sheet, number, text, findings)
            entry |= dict.fromkeys(terms, True)
            places |= {(key, term): sheet.place(number, column) for term in terms}
        elif column in _LISTS:
            entry[column] = split_cell(text)
        elif column == "own_tube":
            if flag_of(text) is not False:
                entry[column] = flag_of(text)
        else:
            entry[column] = text
        places[key, field] = sheet.place(number, column)
    if codes:
        entry["codes"] = codes
    return entry


def _read_terms(sheet: Sheet, number: int, text: str, findings: list[Finding]) -> list[str]:
    terms = []
    for word in split_cell(text):
        if word in HANDLING:
            terms.append(word)
            continue
        # A table of nothing but slips is told without hints past the first hundreds, which nobody would read.
        near = near_misses(word, HANDLING) if len(findings) < MOST_HINTS else []
        sheet.note(
            findings, number, "handling", found=show(word), expected="handling terms, such as ice or keep_closed",
            remedy=f"write {near[0]}" if near else "see the handling terms of the facts; put other words under caution",
        )  # fmt: skip
    return terms


def _read_ways(
    key: str, sheet: Sheet, lines: Sequence[Line], places: dict[tuple[str, str], str], findings: list[Finding]
) -> list[dict[str, object]]:
    ways = [line for line in lines if any(column in line.cells for column in WAY_COLUMNS)]
    accepts: list[dict[str, object]] = []
    for line in ranked_lines(sheet, ways, "way", findings=findings):
        path = f"accepts[{len(accepts)}]"
        way: dict[str, object] = {}
        for column in WAY_COLUMNS[1:]:
            places[key, f"{path}.{column}"] = sheet.place(line.number, column)
            text = line.cells.get(column)
            if text is not None:
                way[column] = split_cell(text) if column == "tubes" else text
                if column.endswith("_ul"):
                    way[column] = whole_of(text)
        places[key, path] = sheet.place(line.number, "matrix")
        volume_ul = way.get("volume_ul")
        if isinstance(volume_ul, int) and volume_ul > 0:
            way.setdefault("minimum_ul", volume_ul)
        accepts.append(way)
    culture = any("culture" in line.cells for line in lines)
    if not accepts and not culture and len(lines) == 1:
        sheet.note(
            findings, lines[0].number, "matrix", found="an empty cell",
            expected=f"matrix, tubes and volume_ul, or a culture ({', '.join(CULTURES)})", remedy="write how it is run",
        )  # fmt: skip
    return accepts
