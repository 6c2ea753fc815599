"""A table of a site as lines of text cells, whatever file it came in: columns, lists in a cell, where each stands."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from cubital.errors import ExchangeError
from cubital.exchange.table import is_text, near_misses, show
from cubital.model import Finding
from cubital.model.finding import LevelKey

# From this likeness on an unknown column is a slip for a known one: "volume" for volume_ul, not "remark" for mark.
SLIP_RATIO = 0.72
MOST_LINES, MOST_COLUMNS, MOST_CELLS = 20_000, 200, 40_000
MOST_ENTRIES = {"test": 2_000, "kind": 150}
"""So many entries of one table are taken in; a line of a table of tests or kinds begins with these columns."""
MOST_LINES_OF_ENTRY = 60
MOST_FAULTS = 500
"""After so many faults the rest of a table is not looked at: nobody reads on, and each costs time."""
FIRST_COLUMNS = {"test": "tests", "kind": "tubes", "part": "policy"}
"""Which table a heading is of, by the column that only that one has."""
_AT_ONCE = 25
_SEPARATOR = " | "
_WHOLE = re.compile(r"[0-9]{1,15}")
_FLAGS = {"yes": True, "no": False, "true": True, "false": False}

Places = Mapping[tuple[str, str], str]
"""Where the value of an entry and a path, such as ("edta", "sizes[0].draw_ml"), was written."""


class Line(NamedTuple):
    """One line below the heading: its number in the file, and the text of each column that is not empty."""

    number: int
    cells: Mapping[str, str]


class Sheet(NamedTuple):
    """The lines of one table; `file` is how findings call it, `columns` the heading as it was written."""

    file: str
    columns: tuple[str, ...]
    lines: tuple[Line, ...]
    letters: tuple[str, ...] = ()
    has_comma_decimals: bool = False

    def place(self, number: int, column: str) -> str:
        """Where a cell stands: the cell's address in a workbook, else the line and the column."""
        if self.letters and column in self.columns:
            return f"cell {self.letters[self.columns.index(column)]}{number}"
        return f"row {number} {column}" if self.letters else f"line {number} {column}"

    def note(
        self, findings: list[Finding], number: int, column: str, *, found: str, expected: str, remedy: str,
        level: LevelKey = "error",
    ) -> None:  # fmt: skip
        """Note one finding about a cell."""
        place = self.place(number, column)
        findings.append(
            Finding(level=level, file=self.file, entry=place, found=found, expected=expected, remedy=remedy)
        )


class Entries(NamedTuple):
    """What a table says: entries as a site's file writes them, where each value stands, and columns nobody reads.

    `silent` names for each entry the columns that the table does not have: it says nothing of them, where an
    empty cell says that there is nothing.
    """

    file: str
    entries: Mapping[str, Mapping[str, Any]]
    places: Places
    unread: tuple[str, ...] = ()
    silent: Mapping[str, frozenset[str]] = {}


def table_of(columns: Sequence[str], *, where: str) -> str:
    """Which table a heading is of; raises `ExchangeError` where it is of none, or of several, before a line is read."""
    names = [name for column, name in FIRST_COLUMNS.items() if column in columns]
    if len(names) != 1:
        raise ExchangeError(
            "found a heading with none, or several, of the columns test, kind and part; expected the heading of "
            "one table; export the site to see it",
            where=where,
        )
    return names[0]


def count_cells(count: int, *, where: str) -> None:
    """Raise `ExchangeError` where so many filled cells are too many."""
    if count > MOST_CELLS:
        raise ExchangeError(
            f"found over {MOST_CELLS} filled cells; expected at most so many; split the table", where=where
        )


def count_entries(sheet: Sheet) -> None:
    """Raise `ExchangeError` where a table that came in has too many entries, or one of them too many lines."""
    column = next((name for name in MOST_ENTRIES if name in sheet.columns), None)
    if column is None:
        return
    counted = Counter(line.cells.get(column, "") for line in sheet.lines)
    del counted[""]
    if len(counted) > MOST_ENTRIES[column]:
        found = f"found {len(counted)} entries; expected at most {MOST_ENTRIES[column]}"
        raise ExchangeError(f"{found}; split the table", where=sheet.file)
    for key, count in counted.most_common(1):
        if count > MOST_LINES_OF_ENTRY:
            found = f"found {count} lines of {show(key)}; expected at most {MOST_LINES_OF_ENTRY}"
            raise ExchangeError(f"{found}; give each entry a key of its own", where=sheet.file)


def is_full(findings: Sequence[Finding], *, file: str) -> bool:
    """Whether so much is wrong that the rest need not be looked at; the last finding then says so."""
    if len(findings) < MOST_FAULTS:
        return False
    said = Finding(
        level="error", file=file, entry="", found=f"{MOST_FAULTS} findings and more", expected="a table that is sound",
        remedy="put these right first: the rest was not looked at",
    )  # fmt: skip
    if isinstance(findings, list) and findings[-1] != said:
        findings.append(said)
    return True


def join_cell(words: Iterable[str]) -> str:
    """Several words in one cell, apart by a bar; a bar or backslash inside a word has a backslash before it.

    >>> join_cell(["Na", "sodium | serum"])
    'Na | sodium \\\\| serum'
    """
    return _SEPARATOR.join(word.replace("\\", "\\\\").replace("|", "\\|") for word in words)


def split_cell(text: str) -> list[str]:
    """The words of one cell, as `join_cell` put them there.

    >>> split_cell("Na |sodium")
    ['Na', 'sodium']
    """
    words, word, is_escaped = [], "", False
    for letter in text:
        if is_escaped:
            word, is_escaped = word + letter, False
        elif letter == "\\":
            is_escaped = True
        elif letter == "|":
            words.append(word.strip())
            word = ""
        else:
            word += letter
    words.append((word + "\\" * is_escaped).strip())
    return [word for word in words if word]


def whole_of(text: str) -> int | str:
    """The whole number of a cell; anything but digits stays text, for "1.000" is 1 to some and 1000 to others.

    >>> whole_of("100"), whole_of("1.000")
    (100, '1.000')
    """
    return int(text) if _WHOLE.fullmatch(text) else text


def flag_of(text: str) -> bool | str:
    """Whether a cell says yes; another word stays text."""
    return _FLAGS.get(text.casefold(), text)


def check_columns(
    sheet: Sheet, known: Sequence[str], needed: Sequence[str], *, prefix: str | None, findings: list[Finding]
) -> tuple[str, ...]:
    """The columns that nothing reads, each told as a note; a slip, a column twice or a missing one is an error."""
    unread = []
    for column in dict.fromkeys(sheet.columns):
        if sheet.columns.count(column) > 1 and column:
            sheet.note(findings, 1, column[:60], found="the column twice", expected="each once", remedy="remove one")
        if column in known or not column or (prefix is not None and is_coded(column, prefix)):
            continue
        near = near_misses(column, known, least_ratio=SLIP_RATIO)
        absent = [name for name in near if name not in sheet.columns]
        shown = show(column)[1:-1]
        if absent:
            sheet.note(
                findings, 1, shown, found="an unknown column", expected=absent[0], remedy=f"write {absent[0]}"
            )  # fmt: skip
        else:
            unread.append(shown)
            sheet.note(
                findings, 1, shown, found="a column that nothing reads", expected="a column of this table",
                remedy="it is left out of the site; it is listed as unread", level="note",
            )  # fmt: skip
    for column in needed:
        if column not in sheet.columns:
            sheet.note(findings, 1, column, found="no such column", expected=", ".join(needed), remedy="add it")
    return tuple(unread)


def silent_columns(sheet: Sheet, known: Iterable[str], keys: Iterable[str]) -> dict[str, frozenset[str]]:
    """The known columns that the table does not have, for each of its entries."""
    return dict.fromkeys(keys, frozenset(known) - frozenset(sheet.columns))


def is_coded(column: str, prefix: str) -> bool:
    """Whether a column holds codes of a system that it names."""
    return column.startswith(prefix) and is_text(column[len(prefix) :])


def group_lines(sheet: Sheet, key_column: str, *, findings: list[Finding]) -> dict[str, list[Line]]:
    """The lines of each entry in the order of the file; a line that names none is an error."""
    groups: dict[str, list[Line]] = {}
    for line in sheet.lines:
        key = line.cells.get(key_column, "")
        if key:
            groups.setdefault(key, []).append(line)
        elif is_full(findings, file=sheet.file):
            break
        elif key_column in sheet.columns:
            sheet.note(
                findings, line.number, key_column, found="an empty cell", expected="the key of the entry on each line",
                remedy="write it, also where the line before has it",
            )  # fmt: skip
    return groups


def shared_cells(
    sheet: Sheet, lines: Sequence[Line], columns: Iterable[str], *, findings: list[Finding]
) -> dict[str, tuple[int, str]]:
    """What the lines of one entry say of the whole entry, with its line; two lines that differ are an error."""
    said: dict[str, tuple[int, str]] = {}
    for column in columns:
        for line in lines:
            text = line.cells.get(column)
            if text is None:
                continue
            first, other = said.setdefault(column, (line.number, text))
            if other != text:
                sheet.note(
                    findings, line.number, column, found=show(text), expected=f"{show(other)}, as line {first} says",
                    remedy="write it on one line of the entry, or the same on each",
                )  # fmt: skip
    return said


def ranked_lines(
    sheet: Sheet, lines: Sequence[Line], column: str, *, findings: list[Finding]
) -> list[Line]:
    """The lines of one entry in the order that their numbers in this column give; without numbers as they stand."""
    ranks = [whole_of(line.cells[column]) for line in lines if column in line.cells]
    if not ranks:
        return list(lines)
    if len(ranks) < len(lines) or any(isinstance(rank, str) for rank in ranks) or len(set(ranks)) < len(ranks):
        sheet.note(
            findings, lines[0].number, column, found="numbers " + ", ".join(show(rank) for rank in ranks),
            expected="another whole number on each line of the entry, or none", remedy="number them 1, 2, 3",
        )  # fmt: skip
        return list(lines)
    return sorted(lines, key=lambda line: int(line.cells[column]))


def replaced_places(found: Iterable[Finding], read: Entries) -> list[Finding]:
    """These findings about entries of a site's file, told where the table has what they are about."""
    return [_replaced(finding, read) for finding in found]


def _replaced(finding: Finding, read: Entries) -> Finding:
    key, path = _key_and_path(finding.entry, read)
    place, shorter = None, path
    while place is None and shorter:
        path = shorter
        place = read.places.get((key, path))
        shorter = re.sub(r"(\[[0-9]+\]|\.?[^.\[\]]+)$", "", path)
        if shorter == path:
            break
    if place is None:
        place = read.places.get((key, ""))
    entry = finding.entry if place is None else f"{place} ({finding.entry})".strip()
    remedy = finding.remedy.replace(" without quotes", "").replace("in quotes", "in the cell")
    expected = "yes or no" if finding.expected == "true or false" else finding.expected
    return Finding(
        level=finding.level, file=read.file, entry=entry, found=finding.found, expected=expected, remedy=remedy
    )


def _key_and_path(entry: str, read: Entries) -> tuple[str, str]:
    """The key of an entry and the path of a field in it; a key may hold brackets of its own."""
    parts = entry.removeprefix("[").split("]")
    for end in range(len(parts) - 1, 0, -1):
        key = "]".join(parts[:end])
        if (key, "") in read.places:
            return key, "]".join(parts[end:]).strip()
    return parts[0], "]".join(parts[1:]).strip()


class Heading(NamedTuple):
    """The columns of one kind of table: the one of the key, all that are known, those that are needed.

    Columns that begin with `prefix` are known too.
    """

    key: str
    known: tuple[str, ...]
    needed: tuple[str, ...]
    prefix: str | None = None


ReadEntry = Callable[[str, Sequence[Line], dict[tuple[str, str], str]], dict[str, object]]
"""From a key and its lines to the entry; where each value stands goes into the places."""
CheckEntries = Callable[[Mapping[str, Mapping[str, Any]], list[Finding]], object]
"""Reads the entries as a site's file is read, for its findings."""


def read_entries(
    sheet: Sheet, heading: Heading, *, read_entry: ReadEntry, check: CheckEntries, findings: list[Finding]
) -> Entries:
    """The entries of a table as a site's file writes them; every fault of it becomes a finding at its cell.

    The entries are checked as those of a file only where no needed column is missing, which is told already.
    """
    unread = check_columns(sheet, heading.known, heading.needed, prefix=heading.prefix, findings=findings)
    entries: dict[str, dict[str, object]] = {}
    places: dict[tuple[str, str], str] = {}
    for key, lines in group_lines(sheet, heading.key, findings=findings).items():
        if is_full(findings, file=sheet.file):
            break
        places[key, ""] = sheet.place(lines[0].number, heading.key)
        entries[key] = read_entry(key, lines, places)
    read = Entries(sheet.file, entries, places, unread, silent_columns(sheet, heading.known, entries))
    if all(column in sheet.columns for column in heading.needed):
        _check_some(read, check, findings)
    return read


def _check_some(read: Entries, check: CheckEntries, findings: list[Finding]) -> None:
    """Check the entries, a few at a time, until enough is wrong."""
    keys = list(read.entries)
    for start in range(0, len(keys), _AT_ONCE):
        if is_full(findings, file=read.file):
            return
        told: list[Finding] = []
        check({key: read.entries[key] for key in keys[start : start + _AT_ONCE]}, told)
        findings += replaced_places(told, read)
