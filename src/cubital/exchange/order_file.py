"""Orders in JSON and JSON Lines: bytes to Order, exact numbers, every wrong unit refused."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import msgspec

from cubital.errors import CubitalError, ExchangeError
from cubital.exchange.form import Form, show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.order_moments import read_day, read_events, read_kept, read_now
from cubital.exchange.patient_object import read_patient, read_volume_ul
from cubital.exchange.table import is_text
from cubital.model import Ask, Line, Order
from cubital.model.vocabulary import ACCESSES, OBJECTIVES, PRIORITIES

MOST_TESTS = 250
MOST_LINE_BYTES = 1_000_000
MOST_SERIES_MIN = 60 * 24 * 7
MOST_DEAD_SPACE_ML = 20

ORDER_KEYS = (
    "id", "patient", "tests", "access", "objective", "line", "on", "priority", "now", "events", "keep", "place",
)  # fmt: skip
ASK_KEYS = ("test", "priority", "at_min", "system")
LINE_KEYS = ("dead_space_ml", "carried_anticoagulant", "suspected_infection")
_RESOURCE = b'"resourceType"'


class BadOrder(msgspec.Struct, frozen=True, kw_only=True):
    """One line of JSON Lines that is no order: its number from 1, the error, and its id where it has one."""

    line: int
    error: CubitalError
    id: str | None = None


def read_order(
    data: bytes | str, *, where: str = "order", today: datetime.date | None = None, zone: str | None = None
) -> Order:
    """The order in these bytes; `today` stands in for a day of the draw that it does not name.

    Its times are read in `zone`, the time zone of the site; without one they must bear their offset.

    Raises `ExchangeError` where the bytes are not JSON and `OrderError` where the order is not sound.

    >>> read_order('{"patient": {"age": "4 a"}, "tests": ["K"]}').patient.age_h
    35064
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    return order_from_json(value, where=where, today=today, zone=zone)


def read_orders(
    stream: Iterable[bytes],
    *,
    where: str = "orders",
    today: datetime.date | None = None,
    read_request: Callable[[bytes, str], list[Order]] | None = None,
    zone: str | None = None,
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
                yield read_order(line, where=place, today=today, zone=zone)
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


def order_from_json(
    value: Any, *, where: str = "order", today: datetime.date | None = None, zone: str | None = None
) -> Order:
    """The order that a decoded JSON value stands for; its times are read in this time zone."""
    form = Form(value, where=where)
    unread = form.take_unknown(ORDER_KEYS)
    on = read_day(form) or today
    access = form.choice("access", ACCESSES) or "straight-needle"
    patient, unread_patient = read_patient(form, on)
    line, unread_line = _read_line(form, access)
    asks, unread_asks = _read_asks(form)
    now = read_now(form, on, zone)
    events, unread_events = read_events(form, on, zone)
    return Order(
        asks=asks,
        patient=patient,
        access=access,  # type: ignore[arg-type]
        objective=form.choice("objective", OBJECTIVES),  # type: ignore[arg-type]
        line=line,
        on=on,
        id=form.text("id"),
        unread=(*unread, *unread_patient, *unread_line, *unread_asks, *unread_events),
        now=now,
        events=events,
        keep=read_kept(form),
        place=form.text("place"),
    )


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
    dead_space_ul = read_volume_ul(row, "dead_space_ml", most_ml=MOST_DEAD_SPACE_ML)
    line = Line(
        dead_space_ul=dead_space_ul,
        carried_anticoagulant=row.flag("carried_anticoagulant"),
        suspected_infection=row.flag("suspected_infection") or False,
    )
    return line, unread
