"""Results as a person types or pastes them: a line a result, with test, value and unit, and more where it is there.

`K 6.2 mmol/L`, `total protein, 70, g/L`, `Na 140 mmol/L 135-145`; an earlier one ends with its hours, as `4 h`.
Nothing is guessed: a line that is not of this form is refused, and with it nothing is weighed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import NoReturn

from cubital.errors import OrderError, UnitError
from cubital.exchange.form import Form
from cubital.exchange.results_file import AdditiveOf, earlier_of, result_of, sample_from_rows
from cubital.facts.population import population
from cubital.model.results import Earlier, Result, ResultSet, TypedLine

MOST_LINES = 250
_LINE = re.compile(
    r"(?P<code>\S.*?)[\s,;:=]+(?P<value>[<>]?\s*[-+]?\d{1,15}(?:[.,]\d{1,15})?)(?:[\s,;]+(?P<rest>\S.*))?"
)
_MARK = r"(?:HH?|LL?|N|A|\*+|!)"
_REST = re.compile(
    rf"(?:{_MARK}[\s,;]+)?(?P<unit>\S*[^\s,;])(?:[\s,;]+{_MARK})?"
    r"(?:[\s,;]+\(?(?P<low>\d+(?:\.\d+)?)\s*(?:-|–|to)\s*(?P<high>\d+(?:\.\d+)?)\)?)?"
    r"(?:[\s,;]+(?P<hours>\d+(?:\.\d+)?)\s*h)?"
)
_HEADING = {"code", "value", "unit"}

_Row = dict[str, object]


def is_table(text: str) -> bool:
    """Whether this is JSON or begins with the heading of a table, and is read as a file is.

    >>> is_table("code,value,unit\\nK,4,mmol/L"), is_table("K 4 mmol/L")
    (True, False)
    """
    start = text.lstrip("\ufeff \t\r\n")
    cells = {cell.strip().casefold() for cell in re.split(r"[,;\t]", start.partition("\n")[0])}
    return start[:1] in ("{", "[") or cells >= _HEADING


def read_typed_lines(text: str, *, hours_before: Decimal | None = None, is_earlier: bool = False) -> list[TypedLine]:
    """Each line that is not empty and what it was read as; earlier ones without their own hours have `hours_before`.

    >>> [line.result.value for line in read_typed_lines("K 6.2 mmol/L\\n\\nCa 9.2 mg/dL")][0]
    6.2
    """
    read: Callable[[Form, list[str]], Result | Earlier | None] = earlier_of if is_earlier else result_of
    found: list[TypedLine] = []
    for number, line in enumerate(text.splitlines(), start=1):
        shown = " ".join("".join(letter if letter.isprintable() else " " for letter in line).split())
        if not shown:
            continue
        unread: list[str] = []
        try:
            row = _row(shown[:300], hours_before if is_earlier else None)
            result = read(Form(row, where=""), unread)
        except (OrderError, UnitError) as error:
            found.append(TypedLine(number=number, text=shown[:300], said=error.message, is_refused=True))
            continue
        said = unread[0].partition(": ")[2] if unread else ""
        found.append(_once(TypedLine(number=number, text=shown[:300], result=result, said=said), found))
    return found


def sample_of_lines(
    lines: list[TypedLine], earlier: list[TypedLine], fields: Mapping[str, object], *, additive_of: AdditiveOf
) -> ResultSet:
    """The sample of lines that were read, with the tube, the index and the patient as an order file writes them."""
    value: dict[str, object] = {**fields, "results": _rows(lines), "previous": _rows(earlier)}
    return sample_from_rows(value, where="", places={}, additive_of=additive_of)


def _row(line: str, hours_before: Decimal | None) -> _Row:
    found = _LINE.fullmatch(line)
    if found is None:
        _refuse("no test with a number after it", "test, value and unit", "write it as K 4.2 mmol/L")
    value = "".join(found["value"].split())
    if "," in value:
        _refuse(value, "a point in a number", f"write {value.replace(',', '.')}")
    if value[0] in "<>":
        _refuse(value, "a number, for a bound is none", "leave the line out")
    row: _Row = {"code": found["code"].rstrip(" ,;:="), "value": Decimal(value)}
    if hours_before is not None:
        row["hours_before"] = hours_before
    if found["rest"] is None:
        return row
    rest = _REST.fullmatch(found["rest"])
    if rest is None:
        _refuse(found["rest"][:60], "the unit, and no more than an interval and hours", "take the rest out")
    row["unit"] = rest["unit"]
    for key, name in (("low", "low"), ("high", "high"), ("hours_before", "hours")):
        if rest[name] is not None:
            row[key] = Decimal(rest[name])
    return row


def _refuse(found: str, expected: str, remedy: str) -> NoReturn:
    raise OrderError(f"found {found}; expected {expected}; {remedy}", where="line")


def _once(line: TypedLine, before: list[TypedLine]) -> TypedLine:
    """A result that stands on a line before: said where it is the same, refused where it is another."""
    if line.result is None:
        return line
    for other in before:
        if other.result is not None and _is_of_one_time(line.result, other.result):
            name = population().analytes[line.result.analyte].name
            if line.result == other.result:
                said = f"{name} as on line {other.number}, taken once"
                return TypedLine(number=line.number, text=line.text, said=said)
            said = f"found {name} again, another than on line {other.number}; expected it once; take one out"
            return TypedLine(number=line.number, text=line.text, said=said, is_refused=True)
    return line


def _is_of_one_time(one: Result | Earlier, other: Result | Earlier) -> bool:
    hours = [result.hours_before if isinstance(result, Earlier) else None for result in (one, other)]
    return one.analyte == other.analyte and hours[0] == hours[1]


def _rows(lines: list[TypedLine]) -> list[_Row]:
    """The lines as rows in each analyte's own unit."""
    rows: list[_Row] = []
    for line in lines:
        if line.result is None:
            continue
        row: _Row = {"code": line.result.analyte, "unit": population().analytes[line.result.analyte].unit}
        named = ("value", "hours_before") if isinstance(line.result, Earlier) else ("value", "low", "high")
        for name in named:
            number = getattr(line.result, name)
            if number is not None:
                row[name] = Decimal(str(number))
        rows.append(row)
    return rows
