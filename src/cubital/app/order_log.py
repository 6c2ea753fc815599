"""Orders without patients, to try a change of the site on: out of a log of orders, or out of the record."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Callable, Iterable
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Any

import msgspec

from cubital.app.clock import today as read_today
from cubital.app.draws import Failure
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import ByteLines, read_lines, read_order
from cubital.errors import CubitalError
from cubital.model import Ask, Order, Patient, Site
from cubital.model.site_version import LoggedOrder
from cubital.planning.settling import error_of
from cubital.units import age_text

MOST_LOGGED = 20_000
"""The most different orders that are kept of a log; what is asked more often goes first."""
MOST_BAD = 500
"""After so many lines that cannot be read it is another file than was meant."""
MONTH = datetime.timedelta(days=31)
_HEAVY_G = 10_000


class AskedOrder(msgspec.Struct, frozen=True, kw_only=True):
    """One order and how often it was asked."""

    order: Order
    times: int


class ReadLog(msgspec.Struct, frozen=True, kw_only=True):
    """What a log of orders came to: `read` orders in all, `left_out` of them too many to keep, `bad` lines."""

    orders: tuple[LoggedOrder, ...]
    read: int
    left_out: int
    bad: tuple[Failure, ...]


def read_log(
    stream: ByteLines, site: Site, *, where: str, today: datetime.date | None = None,
    step: Callable[[], None] | None = None,
) -> ReadLog:  # fmt: skip
    """The different orders of JSON Lines, each without its patient, with how often it was asked.

    `step` is called at each line, and may stop it by what it raises. After `MOST_BAD` lines that cannot be read the
    rest is not looked at, and there is no order.
    """
    counted: Counter[str] = Counter()
    bad: list[Failure] = []
    for line, found in read_lines(stream, where=where, site=site, today=today or read_today()):
        if step is not None:
            step()
        if len(bad) >= MOST_BAD:
            return ReadLog(orders=(), read=0, left_out=0, bad=tuple(bad))
        if isinstance(found, Failure):
            bad.append(found)
        elif unread := next((ask.unsettled for ask in found.asks if ask.unsettled), None):
            bad.append(Failure(line=line, error=error_of(unread), id=found.id))
        else:
            counted[log_text(found)] += 1
    kept = counted.most_common(MOST_LOGGED)
    orders = tuple(LoggedOrder(body=body, times=times) for body, times in kept)
    read = counted.total()
    return ReadLog(orders=orders, read=read, left_out=read - sum(o.times for o in orders), bad=tuple(bad))


def asked_orders(logged: Iterable[LoggedOrder], *, today: datetime.date | None = None) -> tuple[AskedOrder, ...]:
    """The orders of a log as orders for today."""
    day = today or read_today()
    return tuple(AskedOrder(order=read_order(one.body, where="log", today=day), times=one.times) for one in logged)


def orders_of_record(record: SpecimenRecord, since: datetime.datetime, *, on: datetime.date) -> tuple[AskedOrder, ...]:
    """The orders that the draws of the record since then stand for.

    A draw is what one patient gave at one instant for one order. Its tests, those added on later too, its
    hematocrit and whether it was anticoagulated are known; age and weight are not, so no blood limit
    is looked at. The access that it may know is not taken up: a straight needle is planned for.
    """
    draws: dict[tuple[str, str | None, datetime.datetime], dict[str, None]] = {}
    facts_of: dict[object, tuple[Fraction | None, bool]] = {}
    for one in record.drawn_since(since):
        key = (one.patient, one.order, one.collected_at)
        draws.setdefault(key, {}).update(dict.fromkeys(one.tests))
        facts_of[key] = (one.hematocrit, one.anticoagulated)
    counted = Counter((tuple(sorted(tests)), *facts_of[key]) for key, tests in draws.items())
    return tuple(
        AskedOrder(
            order=Order(
                asks=tuple(Ask(test=test) for test in tests),
                patient=Patient(hematocrit=hematocrit, flags=("anticoagulated",) if is_anticoagulated else ()),
                on=on,
            ),
            times=times,
        )
        for (tests, hematocrit, is_anticoagulated), times in counted.most_common()
    )


def log_text(order: Order) -> str:
    """The order as JSON without number, name, day and times; what is known of the patient is rounded.

    An age to years from two years up, to months or days below; a weight to whole kilograms, below 10 kg to tenths;
    a height to centimetres, a hematocrit to hundredths, blood drawn before to millilitres.

    >>> log_text(Order(asks=(Ask(test="K"),), patient=Patient(age_h=35065, weight_g=16400), id="A-17"))
    '{"patient":{"age":"4 a","weight_kg":16},"tests":["K"]}'
    """
    rounded = _log_text(order)
    try:
        read_order(rounded, where="log")
    except CubitalError:
        # At the edge of what is plausible rounding can pass it; without its measures the order still counts.
        bare = msgspec.structs.replace(order.patient, weight_g=None, height_mm=None)
        return _log_text(msgspec.structs.replace(order, patient=bare))
    return rounded


def _log_text(order: Order) -> str:
    fields: dict[str, Any] = {
        "patient": _patient(order.patient),
        "tests": [_ask(ask) for ask in sorted(order.asks, key=lambda ask: (ask.test, ask.at_min or 0))],
    }
    if order.access != "straight-needle":
        fields["access"] = order.access
    if order.objective is not None:
        fields["objective"] = order.objective
    if order.place is not None:
        fields["place"] = order.place
    if order.keep:
        fields["keep"] = list(order.keep)
    if order.access == "line":
        line = {
            "dead_space_ml": None if order.line.dead_space_ul is None else _rounded(order.line.dead_space_ul, 1000, 1),
            "carried_anticoagulant": order.line.carried_anticoagulant,
            "suspected_infection": order.line.suspected_infection or None,
        }
        fields["line"] = {key: value for key, value in line.items() if value is not None}
    return json.dumps(fields, separators=(",", ":"), ensure_ascii=False)


def _patient(patient: Patient) -> dict[str, Any]:
    weight_g, hematocrit = patient.weight_g, patient.hematocrit
    known = {
        "age": None if patient.age_h is None else age_text(patient.age_h),
        "sex": patient.sex,
        "weight_kg": None if weight_g is None else _rounded(weight_g, 1000, 0 if weight_g >= _HEAVY_G else 1),
        "height_cm": None if patient.height_mm is None else _rounded(patient.height_mm, 10, 0),
        "hematocrit": None if hematocrit is None else _rounded(hematocrit.numerator, hematocrit.denominator, 2),
        "drawn_ml": _rounded(patient.drawn_ul, 1000, 0) or None,
        "flags": sorted(patient.flags) or None,
    }
    return {key: value for key, value in known.items() if value is not None}


def _rounded(number: int, per: int, places: int) -> float | int:
    value = (Decimal(number) / per).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)
    return float(value) if places else int(value)


def _ask(ask: Ask) -> str | dict[str, Any]:
    more = {
        "priority": None if ask.priority == "routine" else ask.priority,
        "at_min": ask.at_min,
        "system": ask.system,
    }
    told = {key: value for key, value in more.items() if value is not None}
    return {"test": ask.test, **told} if told else ask.test
