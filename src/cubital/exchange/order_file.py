"""Orders in JSON and JSON Lines: bytes to Order, exact numbers, every wrong unit refused."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any

import msgspec

from cubital.errors import CubitalError, ExchangeError, UnitError
from cubital.exchange.form import Form, show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.table import is_text
from cubital.model import Ask, Line, Order, Patient
from cubital.model.vocabulary import ACCESSES, OBJECTIVES, PRIORITIES, SEXES
from cubital.units import age_hours, age_text

MOST_TESTS = 250
MOST_FLAGS = 50
MOST_LINE_BYTES = 1_000_000
MOST_SERIES_MIN = 60 * 24 * 7
MOST_DRAWN_ML = 10_000
MOST_DEAD_SPACE_ML = 20
MOST_AGE_YEARS = 130
LEAST_HEMATOCRIT, MOST_HEMATOCRIT = Fraction(5, 100), Fraction(85, 100)

ORDER_KEYS = ("id", "patient", "tests", "access", "objective", "line", "on", "priority")
PATIENT_KEYS = ("age", "birth_date", "sex", "weight_kg", "height_cm", "hematocrit", "drawn_ml", "flags")
ASK_KEYS = ("test", "priority", "at_min", "system")
LINE_KEYS = ("dead_space_ml", "carried_anticoagulant", "suspected_infection")
_LEADING_NUMBER = re.compile(r"\s*([0-9]{1,3}(?:[.,][0-9]{1,4})?)")
_RESOURCE = b'"resourceType"'
_HEMATOCRIT = "a share from 0.05 to 0.85"


class BadOrder(msgspec.Struct, frozen=True, kw_only=True):
    """One line of JSON Lines that is no order: its number from 1, the error, and its id where it has one."""

    line: int
    error: CubitalError
    id: str | None = None


def read_order(data: bytes | str, *, where: str = "order", today: datetime.date | None = None) -> Order:
    """The order in these bytes; `today` stands in for a day of the draw that it does not name.

    Raises `ExchangeError` where the bytes are not JSON and `OrderError` where the order is not sound.

    >>> read_order('{"patient": {"age": "4 a"}, "tests": ["K"]}').patient.age_h
    35064
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    return order_from_json(value, where=where, today=today)


def read_orders(
    stream: Iterable[bytes],
    *,
    where: str = "orders",
    today: datetime.date | None = None,
    read_request: Callable[[bytes, str], list[Order]] | None = None,
) -> Iterator[Order | BadOrder]:
    """Every order of JSON Lines, in order; a bad line comes out as a `BadOrder` and the rest go on.

    A blank line is passed over. A line over 1 MB is refused without being held whole. `read_request`
    reads a line that names a `resourceType`, from its bytes and place, to one order or several.
    """
    for number, (line, is_cut) in enumerate(_lines(stream), start=1):
        if not is_cut and not line.strip():
            continue
        place = f"{where} line {number}"
        if is_cut:
            yield BadOrder(
                line=number,
                error=ExchangeError(
                    f"found a line over {MOST_LINE_BYTES} bytes; expected one order; split it", where=place
                ),
            )
            continue
        try:
            if read_request is not None and _RESOURCE in line:
                yield from read_request(line, place)
            else:
                yield read_order(line, where=place, today=today)
        except CubitalError as error:
            yield BadOrder(line=number, error=error, id=_id_of(line))


def _lines(stream: Iterable[bytes]) -> Iterator[tuple[bytes, bool]]:
    """Lines, each with whether it was cut off because it was too long; memory stays bounded on a file."""
    read_line = getattr(stream, "readline", None)
    if read_line is None:
        for line in stream:
            yield line[:MOST_LINE_BYTES], len(line) > MOST_LINE_BYTES
        return
    while line := read_line(MOST_LINE_BYTES + 1):
        is_cut = len(line) > MOST_LINE_BYTES
        while line and not line.endswith(b"\n"):
            rest = read_line(MOST_LINE_BYTES)
            if not rest:
                break
            is_cut = True
            line = rest
        yield line, is_cut


def _id_of(line: bytes) -> str | None:
    try:
        value = decode_json(line, where="")
    except ExchangeError:
        return None
    found = value.get("id") if isinstance(value, dict) else None
    return found.strip()[:100] if isinstance(found, str) and found.isprintable() and found.strip() else None


def order_from_json(value: Any, *, where: str = "order", today: datetime.date | None = None) -> Order:
    """The order that a decoded JSON value stands for."""
    form = Form(value, where=where)
    unread = form.take_unknown(ORDER_KEYS)
    on = form.day("on") or today
    access = form.choice("access", ACCESSES) or "straight-needle"
    patient, unread_patient = _read_patient(form, on)
    line, unread_line = _read_line(form, access)
    asks, unread_asks = _read_asks(form)
    return Order(
        asks=asks,
        patient=patient,
        access=access,  # type: ignore[arg-type]
        objective=form.choice("objective", OBJECTIVES),  # type: ignore[arg-type]
        line=line,
        on=on,
        id=form.text("id"),
        unread=(*unread, *unread_patient, *unread_line, *unread_asks),
    )


def patient_from_json(
    value: Any, *, where: str = "patient", today: datetime.date | None = None
) -> tuple[Patient, tuple[str, ...]]:
    """The patient that a decoded JSON object stands for, and the paths of fields that nothing reads."""
    return _read_patient(Form({"patient": value}, where=where), today)


def _read_asks(form: Form) -> tuple[tuple[Ask, ...], tuple[str, ...]]:
    default = form.choice("priority", PRIORITIES) or "routine"
    items = form.items("tests", most=MOST_TESTS, what="tests")
    if not items:
        form.refuse("tests", found="no tests", expected="one test at least", remedy='write them, such as ["K"]')
    asks: list[Ask] = []
    seen: dict[tuple[str, str | None, int], int] = {}
    unread: tuple[str, ...] = ()
    for i, item in enumerate(items):
        if isinstance(item, str):
            if not is_text(item):
                form.refuse(
                    f"tests[{i}]",
                    found=show_json(item),
                    expected="a test, panel or code in printable text",
                    remedy="correct it or take it out",
                )
            ask = Ask(test=item.strip(), priority=default)  # type: ignore[arg-type]
        else:
            ask, more = _read_ask(Form(item, where=form.where, path=f"tests[{i}]"), default)
            unread += more
        first = seen.setdefault((ask.test.casefold(), ask.system, ask.at_min or 0), i)
        if first != i:
            form.refuse(
                f"tests[{i}]",
                found=f"{show_json(ask.test)} again, as at tests[{first}]",
                expected="each test once",
                remedy="remove one, or give the second its at_min",
            )
        asks.append(ask)
    return tuple(asks), unread


def _read_ask(row: Form, default: str) -> tuple[Ask, tuple[str, ...]]:
    unread = row.take_unknown(ASK_KEYS)
    test = row.text("test")
    if test is None:
        row.refuse("test", found="nothing", expected="a test, panel or code", remedy="write test")
    ask = Ask(
        test=test,
        priority=row.choice("priority", PRIORITIES) or default,  # type: ignore[arg-type]
        at_min=row.whole("at_min", least=0, most=MOST_SERIES_MIN, unit="minutes"),
        system=row.text("system"),
    )
    return ask, unread


def _read_line(form: Form, access: str) -> tuple[Line, tuple[str, ...]]:
    row = form.inner("line")
    if row is None:
        return Line(), ()
    unread = row.take_unknown(LINE_KEYS)
    if access != "line":
        form.refuse(
            "line",
            found=f'it with access "{access}"',
            expected='it with access "line" only',
            remedy='write access "line", or take line out',
        )
    dead_space_ul = _read_volume_ul(row, "dead_space_ml", most_ml=MOST_DEAD_SPACE_ML)
    line = Line(
        dead_space_ul=dead_space_ul,
        carried_anticoagulant=row.flag("carried_anticoagulant"),
        suspected_infection=row.flag("suspected_infection") or False,
    )
    return line, unread


def _read_volume_ul(form: Form, key: str, *, most_ml: int) -> int | None:
    expected = f"millilitres from 0 to {most_ml}"
    volume_ml = form.number(key, expected=expected)
    if volume_ml is None:
        return None
    if not 0 <= volume_ml <= most_ml:
        form.refuse(key, found=show_json(form.content[key]), expected=expected, remedy="write millilitres")
    volume_ul = volume_ml * 1000
    if volume_ul.denominator != 1:
        form.refuse(
            key,
            found=show_json(form.content[key]),
            expected="whole microlitres",
            remedy="write at most three decimals",
        )
    return volume_ul.numerator


def _read_patient(form: Form, on: datetime.date | None) -> tuple[Patient, tuple[str, ...]]:
    row = form.inner("patient")
    if row is None:
        return Patient(), ()
    unread = row.take_unknown(PATIENT_KEYS)
    age_h = _read_age(row, on)
    flags = []
    for i, flag in enumerate(row.items("flags", most=MOST_FLAGS, what="flags")):
        word = Form({"flag": flag}, where=row.where, path=row.place(f"flags[{i}]")).text("flag")
        if word is not None and word not in flags:
            flags.append(word)
    patient = Patient(
        age_h=age_h,
        sex=row.choice("sex", SEXES),  # type: ignore[arg-type]
        weight_g=_read_weight(row, age_h),
        height_mm=_read_height(row, age_h),
        hematocrit=_read_hematocrit(row),
        drawn_ul=_read_volume_ul(row, "drawn_ml", most_ml=MOST_DRAWN_ML) or 0,
        flags=tuple(flags),
    )
    return patient, unread


def _read_age(row: Form, on: datetime.date | None) -> int | None:
    age, born = row.content.get("age"), row.day("birth_date")
    if age is not None and born is not None:
        row.refuse("birth_date", found="it beside age", expected="one of the two", remedy="take one out")
    if age is not None:
        try:
            return age_hours(age, where="")  # type: ignore[arg-type]
        except UnitError:
            row.refuse(
                "age",
                found=show_json(age),
                expected="a number and a UCUM unit of age, at most 130 years",
                remedy='write it as "4 a" (years), "7 mo", "3 wk", "10 d" or "36 h"',
            )
    if born is None:
        return None
    if on is None:
        row.refuse(
            "birth_date",
            found="it without the day of the draw",
            expected="the day too",
            remedy='write "on", such as "2026-11-25", or write age',
        )
    return hours_since(born, on, form=row, key="birth_date")


def hours_since(born: datetime.date, on: datetime.date, *, form: Form, key: str) -> int:
    """How many hours of whole days lie between a birth and a draw; refuses a birth that is not possible."""
    days = (on - born).days
    if days < 0:
        form.refuse(key, found="a birth date in the future", expected=f"a day up to {on}", remedy="correct it")
    if days > MOST_AGE_YEARS * 365.25:
        form.refuse(
            key,
            found=f"a birth over {MOST_AGE_YEARS} years before the draw",
            expected="the day of birth",
            remedy="correct it",
        )
    return days * 24


def _read_hematocrit(row: Form) -> Fraction | None:
    value = row.content.get("hematocrit")
    if isinstance(value, str):
        match = _LEADING_NUMBER.match(value)
        number = Fraction(match[1].replace(",", ".")) if match else None
        row.refuse("hematocrit", found=show_json(value), expected=_HEMATOCRIT, remedy=_share_remedy(number))
    number = row.number("hematocrit", expected=_HEMATOCRIT)
    if number is not None and not LEAST_HEMATOCRIT <= number <= MOST_HEMATOCRIT:
        row.refuse("hematocrit", found=show_json(value), expected=_HEMATOCRIT, remedy=_share_remedy(number))
    return number


def _share_remedy(number: Fraction | None) -> str:
    for share in (number, number / 100) if number is not None else ():
        if LEAST_HEMATOCRIT <= share <= MOST_HEMATOCRIT:
            return f"write {float(share)}"
    return "write the share of cells, such as 0.45"


def _read_weight(row: Form, age_h: int | None) -> int | None:
    from cubital.facts.plausibility import plausibility

    weight_kg = row.number("weight_kg", expected="kilograms")
    if weight_kg is None:
        return None
    refuse_implausible(
        row,
        "weight_kg",
        weight_kg,
        plausibility().weight_kg.at(age_h),
        age_h,
        unit="kilograms",
        factors=((1000, "grams"),),
    )
    return int(weight_kg * 1000)


def _read_height(row: Form, age_h: int | None) -> int | None:
    from cubital.facts.plausibility import plausibility

    height_cm = row.number("height_cm", expected="centimetres")
    if height_cm is None:
        return None
    refuse_implausible(
        row,
        "height_cm",
        height_cm,
        plausibility().height_cm.at(age_h),
        age_h,
        unit="centimetres",
        factors=((10, "millimetres"), (Fraction(1, 100), "metres")),
    )
    return int(height_cm * 10)


def refuse_implausible(
    form: Form,
    key: str,
    value: Fraction,
    bounds: tuple[Any, Any],
    age_h: int | None,
    *,
    unit: str,
    factors: Sequence[tuple[int | Fraction, str]],
) -> None:
    """Refuse a measure that nobody of this age has, saying what it would be in the unit it may be in."""
    if bounds[0] <= form.content[key] <= bounds[1]:
        return
    least, most = Fraction(bounds[0]), Fraction(bounds[1])
    at_age = f" at {age_text(age_h)}" if age_h is not None else ""
    remedy = "check it and the age" if age_h is not None else "correct it"
    for factor, other in factors:
        if least <= value / factor <= most:
            remedy = f"if that is {other}, write {float(value / factor):g}"
            break
    form.refuse(
        key,
        found=show_json(form.content.get(key)),
        expected=f"{unit} from {float(least):g} to {float(most):g}{at_age}",
        remedy=remedy,
    )
