"""Planning as a use case: one order or many, dated by the clock where they name no day."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator

import msgspec

from cubital.app.clock import today as read_today
from cubital.app.order_numbers import with_numbers
from cubital.app.unsettled import with_unsettled
from cubital.errors import CubitalError
from cubital.model import Order, Plan, Site
from cubital.planning import directory_of, plan_draw
from cubital.planning.settling import WORD_ERRORS, settle


class Failure(msgspec.Struct, frozen=True, kw_only=True):
    """One order of many that has no plan: its place, counted from 1, and why."""

    line: int
    error: CubitalError
    id: str | None = None


def plan_order(
    order: Order, site: Site, *, today: datetime.date | None = None, leave_unsettled: bool = False
) -> Plan:
    """The plan for this order at this site; an order without a day is planned for today.

    `today` stands in for the clock. With `leave_unsettled` a word that names no test here, or several, or no blood
    test, does not stop the rest: the plan says in `unsettled` what it leaves out, and nothing of it may be taken.
    Without it, and where no word settles, such a word is refused. Raises `OrderError` for an order that cannot be
    planned as written and `PlanError` for one that this site cannot serve.

    >>> from cubital.model import Ask
    >>> from cubital.app.wiring import open_site
    >>> plan = plan_order(Order(asks=(Ask(test="K"), Ask(test="CBC"))), open_site(demo=True))
    >>> [tube.kind for tube in plan.tubes]
    ['heparin-gel', 'edta']
    """
    order = dated(order, today)
    try:
        return with_numbers(plan_draw(order, site))
    except WORD_ERRORS:
        if not leave_unsettled:
            raise
        # Looked for only now: most orders have no such word.
        found = settle(order, directory_of(site))
        if found.order is None or not found.unsettled:
            raise
    return with_unsettled(with_numbers(plan_draw(found.order, site)), found.unsettled)


def plan_orders(
    orders: Iterable[Order | Failure], site: Site, *, today: datetime.date | None = None,
    leave_unsettled: bool = False,
) -> Iterator[Plan | Failure]:  # fmt: skip
    """One plan an order, in order; an order that fails comes out as a `Failure` and the rest go on.

    Takes and gives one at a time, so a stream of any length needs the memory of one order.
    """
    lines = enumerate(orders, start=1)
    return (found for _, found in plan_lines(lines, site, today=today, leave_unsettled=leave_unsettled))


def plan_lines(
    lines: Iterable[tuple[int, Order | Failure]], site: Site, *, today: datetime.date | None = None,
    leave_unsettled: bool = False,
) -> Iterator[tuple[int, Plan | Failure]]:  # fmt: skip
    """The same for orders that carry the number of their line."""
    day = today or read_today()
    for line, order in lines:
        if isinstance(order, Failure):
            yield line, order
            continue
        try:
            yield line, plan_order(order, site, today=day, leave_unsettled=leave_unsettled)
        except CubitalError as error:
            yield line, Failure(line=line, error=error, id=order.id)


def verify_plan(plan: Plan, order: Order, site: Site, *, today: datetime.date | None = None) -> tuple[str, ...]:
    """Every way in which this plan is not a sound answer to this order at this site; empty is sound."""
    from cubital.planning.verify import verify

    return verify(plan, dated(order, today), site)


def dated(order: Order, today: datetime.date | None) -> Order:
    """The order with a day: its own, else `today`, else the clock's."""
    if order.on is not None:
        return order
    return msgspec.structs.replace(order, on=today or read_today())
