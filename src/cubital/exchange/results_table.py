"""Results in a table, commas or tabs between: a heading, then one result a line, lines of one `sample` together."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from decimal import Decimal

from cubital.errors import ExchangeError, OrderError
from cubital.exchange.json_bytes import MOST_BYTES
from cubital.exchange.results_file import MOST_SAMPLES, AdditiveOf, sample_from_rows
from cubital.exchange.table import near_misses
from cubital.model.results import ResultSet

NEEDED = ("code", "value", "unit")
HEADINGS = ("sample", *NEEDED, "low", "high", "hours_before", "tube", "hemolysis_g_l", "age", "sex")
_OF_SAMPLE = ("tube", "hemolysis_g_l", "age", "sex")
_NUMBERS = ("value", "low", "high", "hours_before", "hemolysis_g_l")
_NUMBER = re.compile(r"[0-9]{1,15}(\.[0-9]{1,15})?")


def read_results_table(data: bytes, *, additive_of: AdditiveOf, where: str = "results") -> list[ResultSet]:
    """The samples of a CSV in UTF-8, in the order in which each first stands there.

    A line with `hours_before` is an earlier result. What is of the whole sample (tube, hemolysis_g_l, age, sex) may
    stand on any of its lines, and must not differ between them. Raises as `read_results` does, by the line.

    >>> found = read_results_table(b"code,value,unit\\nK,5.1,mmol/L\\n", additive_of=str)
    >>> found[0].results[0].value
    5.1
    """
    rows = _rows(data, where)
    samples: dict[str, list[tuple[int, dict[str, str]]]] = {}
    for number, row in rows:
        samples.setdefault(row.get("sample", ""), []).append((number, row))
    if len(samples) > MOST_SAMPLES:
        raise OrderError(f"found {len(samples)} samples; expected at most {MOST_SAMPLES}; split the input", where=where)
    return [_sample(name, lines, additive_of, where) for name, lines in samples.items()]


def _rows(data: bytes, where: str) -> list[tuple[int, dict[str, str]]]:
    if len(data) > MOST_BYTES:
        raise ExchangeError(f"found over {MOST_BYTES} bytes; expected at most so many; split the input", where=where)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ExchangeError("found bytes that are not UTF-8; save the input as UTF-8", where=where) from None
    delimiter = "\t" if "\t" in text.lstrip().partition("\n")[0] else ","
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=delimiter)
    try:
        heading = [cell.strip() for cell in next(reader, [])]
        _check_heading(heading, where)
        found = []
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(heading):
                raise ExchangeError(
                    f"found {len(cells)} cells; expected {len(heading)}, as the heading has",
                    where=f"{where} line {reader.line_num}",
                )
            row = {key: cell.strip() for key, cell in zip(heading, cells, strict=True) if cell.strip()}
            found.append((reader.line_num, row))
    except csv.Error as error:
        raise ExchangeError(f"found text that is not CSV: {error}", where=f"{where} line {reader.line_num}") from None
    if not found:
        raise OrderError("found no results; expected one line at least below the heading", where=where)
    return found


def _check_heading(heading: Sequence[str], where: str) -> None:
    place = f"{where} line 1"
    for name in heading:
        if name not in HEADINGS:
            near = near_misses(name, HEADINGS)
            hint = f"write {near[0]}" if near else f"expected one of {', '.join(HEADINGS)}, commas or tabs between"
            raise OrderError(f"found the column {name[:40]!r}; {hint}", where=place)
    missing = [name for name in NEEDED if name not in heading]
    if missing or len(set(heading)) < len(heading):
        found = f"no column {missing[0]}" if missing else "a column twice"
        raise OrderError(f"found {found}; expected {', '.join(NEEDED)}, each once", where=place)


def _sample(name: str, lines: list[tuple[int, dict[str, str]]], additive_of: AdditiveOf, where: str) -> ResultSet:
    value: dict[str, object] = {"results": [], "previous": []}
    if name:
        value["id"] = name
    places: dict[str, str] = {}
    for number, row in lines:
        place = f"line {number}"
        cells = {key: _cell(key, text, f"{where} {place} {key}") for key, text in row.items()}
        of_sample = {key: cells.pop(key) for key in _OF_SAMPLE if key in cells}
        _take(value, of_sample, f"{where} {place}")
        cells.pop("sample", None)
        kind = "previous" if "hours_before" in cells else "results"
        listed = value[kind]
        assert isinstance(listed, list)
        places[f"{kind}[{len(listed)}]"] = place
        listed.append(cells)
    return sample_from_rows(value, where=where, places=places, additive_of=additive_of)


def _cell(key: str, text: str, where: str) -> object:
    if key not in _NUMBERS:
        return text
    if _NUMBER.fullmatch(text) is None:
        raise OrderError(f"found {text[:40]!r}; expected a number with a point, 0 or more, without a unit", where=where)
    return Decimal(text)


def _take(value: dict[str, object], of_sample: dict[str, object], where: str) -> None:
    """Note what is said of the whole sample; two lines that differ in it are refused."""
    patient = value.get("patient", {})
    assert isinstance(patient, dict)
    for key, said in of_sample.items():
        into = patient if key in ("age", "sex") else value
        if into.setdefault(key, said) != said:
            raise OrderError(f"found another {key} than on a line before; expected one of a sample", where=where)
    if patient:
        value["patient"] = patient
