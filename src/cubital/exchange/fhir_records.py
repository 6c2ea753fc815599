"""The parts of FHIR R4 (4.0.1) resources that an order is made of; names and identifiers are not read."""

from __future__ import annotations

import datetime
import re
from typing import Any, TypeVar

import msgspec

from cubital.errors import OrderError

_PATH = re.compile(r" - at `\$\.?([^`]*)`")
# FHIR R4, datatypes, dateTime: year, year-month, day, or an instant with its zone.
_DATE_TIME = re.compile(r"\d{4}(-\d{2}(-\d{2}(T\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:\d{2})?)?)?)?")

Record = TypeVar("Record")


class Coding(msgspec.Struct, frozen=True):
    """A code and the system that defines it."""

    system: str | None = None
    code: str | None = None


class Concept(msgspec.Struct, frozen=True):
    """Codings that mean the same, or the text that was written."""

    coding: tuple[Coding, ...] = ()
    text: str | None = None


class Identifier(msgspec.Struct, frozen=True):
    """Only used to tell whether two requests are of one patient; never kept."""

    system: str | None = None
    value: str | None = None


class Reference(msgspec.Struct, frozen=True):
    """Which resource is meant."""

    reference: str | None = None
    type: str | None = None
    identifier: Identifier | None = None


class Period(msgspec.Struct, frozen=True):
    """When something begins."""

    start: str | None = None


class Request(msgspec.Struct, frozen=True, rename="camel"):
    """A ServiceRequest."""

    status: str | None = None
    intent: str | None = None
    subject: Reference | None = None
    code: Concept | None = None
    id: str | None = None
    priority: str | None = None
    do_not_perform: bool = False
    occurrence_date_time: str | None = None
    occurrence_period: Period | None = None
    contained: tuple[dict[str, Any], ...] = ()
    modifier_extension: tuple[Any, ...] = ()
    implicit_rules: str | None = None


class Person(msgspec.Struct, frozen=True, rename="camel"):
    """A Patient, without name, number or address."""

    id: str | None = None
    birth_date: str | None = None
    gender: str | None = None


class Quantity(msgspec.Struct, frozen=True):
    """A measured value and its UCUM unit."""

    value: Any = None
    comparator: str | None = None
    unit: str | None = None
    system: str | None = None
    code: str | None = None


class Measured(msgspec.Struct, frozen=True, rename="camel"):
    """An Observation with a quantity."""

    status: str | None = None
    code: Concept = Concept()
    subject: Reference | None = None
    effective_date_time: str | None = None
    value_quantity: Quantity | None = None


class Entry(msgspec.Struct, frozen=True, rename="camel"):
    """One entry of a Bundle."""

    full_url: str | None = None
    resource: dict[str, Any] | None = None


class Bundle(msgspec.Struct, frozen=True):
    """Several resources sent together."""

    entry: tuple[Entry, ...] = ()


def shape(value: object, record: type[Record], *, where: str) -> Record:
    """The value as a record of this type; the error says the path to the field that is not."""
    try:
        return msgspec.convert(value, record)
    except msgspec.ValidationError as error:
        said = str(error)
        match = _PATH.search(said)
        said = _PATH.sub("", said).replace("`", "")
        place = f"{where} {match[1]}" if match and match[1] else where
        raise OrderError(f"found another shape than FHIR R4 has: {said}; correct it", where=place) from None


def day_of(text: str | None, *, where: str) -> datetime.date | None:
    """The day of a FHIR date or dateTime as it was written; None where it names no day."""
    if text is None:
        return None
    if _DATE_TIME.fullmatch(text) is not None:
        try:
            return datetime.date.fromisoformat(text[:10]) if len(text) >= 10 else None
        except ValueError:
            pass
    raise OrderError(f"found {text[:40]!r}; expected a FHIR date; write it as 2026-11-25", where=where)
