"""Orders and patients out of files and words, and the plan and the refusal as documents."""

from __future__ import annotations

import datetime
import functools
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Protocol

import msgspec

from cubital.app.clock import today as read_today
from cubital.app.draws import Failure
from cubital.errors import CubitalError, OrderError
from cubital.model import Order, Patient, Plan, Site

if TYPE_CHECKING:
    from cubital.planning.directory import Directory


class ByteLines(Protocol):
    """A binary stream that is read line by line."""

    def readline(self, size: int = -1, /) -> bytes:
        """The next line, or at most `size` bytes of it; empty at the end."""
        ...


def read_order(
    data: bytes | str, *, where: str = "order", today: datetime.date | None = None, zone: str | None = None
) -> Order:
    """The order in these bytes of JSON; where it names no day, it is for today.

    Its times are those of `zone`, the time zone of the site; without it a time must bear its offset from UTC.

    >>> read_order('{"patient": {"age": "4 a"}, "tests": ["K"]}').asks[0].test
    'K'
    """
    from cubital.exchange.order_file import read_order

    return read_order(data, where=where, today=today or read_today(), zone=zone)


def read_request(
    data: bytes,
    site: Site,
    *,
    where: str,
    on: datetime.date | None = None,
    today: datetime.date | None = None,
) -> list[Order]:
    """The orders in a file of one request: our own JSON, or FHIR R4 where it has a `resourceType`.

    `on` is the day of the draw where the person said it; an order of our own that names another
    is refused. A FHIR request whose day is past is planned for today, and says so.
    """
    from cubital.planning.directory import Directory

    return _read_request(data, lambda: Directory(site), where=where, on=on, today=today, zone=site.time_zone)


def _read_request(
    data: bytes,
    directory: Callable[[], Directory],
    *,
    where: str,
    on: datetime.date | None,
    today: datetime.date | None,
    zone: str,
) -> list[Order]:
    from cubital.exchange.json_bytes import decode_json

    day = today or read_today()
    value = decode_json(data, where=where)
    if not (isinstance(value, dict) and "resourceType" in value):
        return [_on_day(read_order(data, where=where, today=on or day, zone=zone), on, where=where)]
    from cubital.exchange.fhir import read_fhir

    orders = read_fhir(data, directory=directory(), where=where, on=on)
    if on is None and any(order.on is None for order in orders):
        # An age from a birth date needs the day of the draw: read again with the one it will have.
        orders = read_fhir(data, directory=directory(), where=where, on=day)
    return [_brought_forward(order, day) if on is None else order for order in orders]


def read_lines(
    stream: ByteLines,
    *,
    where: str,
    site: Site,
    on: datetime.date | None = None,
    today: datetime.date | None = None,
) -> Iterator[tuple[int, Order | Failure]]:
    """Every order of JSON Lines with the number of its line; a bad line comes out as a `Failure`.

    A line may hold our own JSON or FHIR R4; a Bundle of several patients or days gives several orders.
    """
    from cubital.exchange.order_file import BadOrder, read_orders
    from cubital.planning.directory import Directory

    day = today or read_today()
    directory = functools.cache(lambda: Directory(site))

    def read(data: bytes, place: str) -> list[Order]:
        return _read_request(data, directory, where=place, on=on, today=day, zone=site.time_zone)

    counted = _CountedLines(stream)
    for found in read_orders(counted, where=where, today=on or day, read_request=read, zone=site.time_zone):
        if isinstance(found, BadOrder):
            yield found.line, Failure(line=found.line, error=found.error, id=found.id)
            continue
        try:
            yield counted.number, _on_day(found, on, where=f"{where} line {counted.number}")
        except OrderError as error:
            yield counted.number, Failure(line=counted.number, error=error, id=found.id)


def order_of_words(
    fields: Mapping[str, Any], *, where: str, today: datetime.date | None = None, zone: str | None = None
) -> Order:
    """The order that a person wrote at the prompt, checked as an order file is; `zone` is that of the site."""
    from cubital.exchange.order_file import order_from_json

    return order_from_json(fields, where=where, today=today or read_today(), zone=zone)


def patient_of_words(fields: Mapping[str, Any], *, where: str, today: datetime.date | None = None) -> Patient:
    """The patient that a person wrote at the prompt, checked as one in an order file is."""
    from cubital.exchange.patient_object import patient_from_json

    return patient_from_json(fields, where=where, today=today or read_today())[0]


def plan_document(plan: Plan) -> dict[str, Any]:
    """The plan as the JSON object that `--json` prints."""
    from cubital.exchange import plan_json

    return plan_json.plan_document(plan)


def error_document(error: CubitalError) -> dict[str, Any]:
    """The error as the JSON object that `--json` prints."""
    from cubital.exchange import plan_json

    return plan_json.error_document(error)


class _CountedLines:
    """A stream and the number of the last line that was read whole from it."""

    def __init__(self, stream: ByteLines) -> None:
        self._stream = stream
        self._is_inside = False
        self.number = 0

    def __iter__(self) -> Iterator[bytes]:
        while line := self.readline():
            yield line

    def readline(self, size: int = -1) -> bytes:
        part = self._stream.readline(size)
        if part and not self._is_inside:
            self.number += 1
        self._is_inside = bool(part) and not part.endswith(b"\n")
        return part


def _on_day(order: Order, on: datetime.date | None, *, where: str) -> Order:
    if on is not None and order.on != on:
        raise OrderError(
            f"found {order.on} in the order and {on} at the prompt; expected one day; take one out",
            where=f"{where} on",
        )
    return order


def _brought_forward(order: Order, day: datetime.date) -> Order:
    """The order on a day that is not past: an age grows with it, and the plan says what was done."""
    if order.on is None or order.on >= day:
        return order
    age_h = order.patient.age_h
    older_h = None if age_h is None else age_h + 24 * (day - order.on).days
    return msgspec.structs.replace(
        order,
        on=day,
        now=None,
        patient=msgspec.structs.replace(order.patient, age_h=older_h),
        unread=(*order.unread, f"the day of the request, {order.on}, is past: planned for {day}"),
    )
