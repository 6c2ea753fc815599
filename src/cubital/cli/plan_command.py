"""`cubital plan`: one order from the prompt or a file, or many from JSON Lines."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.complaint import (
    REFUSED,
    SOME_FAILED,
    UNSETTLED,
    complain,
    complain_unsettled,
    document,
    write_json,
)

if TYPE_CHECKING:
    from cubital.app.draws import Failure
    from cubital.cli.sheet import Sheet
    from cubital.errors import CubitalError
    from cubital.model import Order, Plan, Site


@click.command()
@click.argument("tests", nargs=-1)
@wording.site_options
@click.option("--order", metavar="FILE", help="An order in JSON or FHIR R4 JSON; - is what comes in.")
@click.option("--orders", metavar="FILE", help="Many orders or FHIR requests, one a line; - is what comes in.")
@wording.as_json
@click.option("--reasons", is_flag=True, help="Print the reasons of every tube.")
@wording.patient_options
@wording.on_day
@click.option("--patient", metavar="KEY", help="The site's own key of the patient: blood on record counts as drawn.")
@wording.record_option
def plan(
    tests: tuple[str, ...],
    site: Path | None,
    demo: bool,
    order: str | None,
    orders: str | None,
    as_json: bool,
    reasons: bool,
    on: str | None,
    patient: str | None,
    address: str,
    **said: Any,
) -> int:
    """Plan a draw: which tubes, how many, how big, in which order, and why.

    TESTS are tests, panels or codes; quote a name of several words. With --patient the blood that the record has
    of the patient in the periods of the limit is counted, unless the order says what was drawn.

    A word that is no test here, or several, does not stop the rest: the plan stands under NOT ALL, and nothing of it
    may be taken before each word is settled.

    Exit status: 0 planned, 2 refused, 3 planned but for words that are not settled; with --orders 1 where any line
    failed.
    """
    from cubital.errors import CubitalError

    here: Site | None = None
    try:
        _refuse_two_orders(tests, order, orders, said)
        here = wording.open_chosen(site, demo=demo)
        if orders is not None:
            _refuse_one_patient(patient)
            return _plan_many(orders, here, on, as_json=as_json)
        found = _read(tests, order, here, on, said)
        if patient is not None:
            found = _with_record(found, here, patient, address, is_file=order is not None)
        return _plan_each(found, here, as_json=as_json, reasons=reasons)
    except CubitalError as error:
        return _refuse(error, here, as_json=as_json)


def _refuse(error: CubitalError, site: Site | None, *, as_json: bool) -> int:
    complain(error, site=site)
    if as_json:
        write_json(document(error))
    return REFUSED


def _refuse_two_orders(tests: tuple[str, ...], order: str | None, orders: str | None, said: dict[str, Any]) -> None:
    """Refuse an order told twice: which of the two was meant cannot be known."""
    from cubital.errors import OrderError

    given = [name for name, value in (("--order", order), ("--orders", orders)) if value is not None]
    if given and tests:
        given.append("tests at the prompt")
    given += [f"--{key.rstrip('s').replace('_', '-')}" for key, value in said.items() if value] if given else []
    if len(given) > 1:
        raise OrderError(
            f"found {', '.join(given)}; expected the whole order in one place; take the rest out",
            where=wording.PROMPT,
        )


def _refuse_one_patient(patient: str | None) -> None:
    from cubital.errors import OrderError

    if patient is not None:
        raise OrderError("found it beside --orders, which are of many; expected one; take one out", where="--patient")


def _with_record(orders: list[Order], site: Site, patient: str, address: str, *, is_file: bool) -> list[Order]:
    """The one order with what the record has of this patient's blood; says on stderr what a file does not hold."""
    from cubital.app import wiring
    from cubital.app.clock import now
    from cubital.app.drawn_before import specimens_on_record, with_recorded
    from cubital.errors import OrderError
    from cubital.units import millilitres_text

    if len(orders) != 1:
        raise OrderError(f"found {len(orders)} orders; expected one of this patient; plan each", where="--patient")
    record = wiring.open_record(address)
    try:
        found = with_recorded(orders[0], site, specimens_on_record(record, patient), now=now())
    finally:
        record.close()
    if is_file and found.patient.drawn_ul != orders[0].patient.drawn_ul:
        ml = millilitres_text(found.patient.drawn_ul)
        print(
            f"cubital: drawn_ml is {ml} by the record; write it into the order before cubital collect, which reads "
            "the order alone", file=sys.stderr,
        )  # fmt: skip
    return [found]


def _read(tests: tuple[str, ...], file: str | None, site: Site, on: str | None, said: dict[str, Any]) -> list[Order]:
    from cubital.app import wiring

    if file is None:
        return [wording.read_options(tests, {**said, "on": on}, zone=site.time_zone)]
    day = None if on is None else wiring.read_day(on, where="--on")
    data = wiring.read_bytes(file, stdin=sys.stdin.buffer)
    return wiring.read_request(data, site, where="standard input" if file == "-" else file, on=day)


def _plan_each(orders: list[Order], site: Site, *, as_json: bool, reasons: bool) -> int:
    """Plan every order before anything is printed, so that nothing is half-written."""
    from cubital.app.draws import dated, plan_order

    orders = [dated(order, None) for order in orders]
    plans = [plan_order(order, site, leave_unsettled=True) for order in orders]
    for number, (order, found) in enumerate(zip(orders, plans, strict=True)):
        if as_json:
            complain_unsettled(found, site=site)
            _write_plan(found)
        else:
            print(*([""] if number else []), *_lines(order, found, site, reasons=reasons), sep="\n")
    return UNSETTLED if any(plan.unsettled for plan in plans) else 0


def _write_plan(plan: Plan, **more: Any) -> None:
    from cubital.exchange.plan_json import plan_document

    write_json({**plan_document(plan), **more})


def _lines(order: Order, plan: Plan, site: Site, *, reasons: bool) -> list[str]:
    from cubital.app.tray import lay_tray
    from cubital.cli.sheet import sheet_for
    from cubital.cli.tray import draw_tray

    sheet = sheet_for(sys.stdout)
    lines = draw_tray(lay_tray(plan, order, site), sheet)
    return [*lines, "", *_reason_lines(plan, site, sheet)] if reasons else lines


def _reason_lines(plan: Plan, site: Site, sheet: Sheet) -> list[str]:
    from cubital.app.plan_explanation import reasons_of
    from cubital.cli.explanation import draw_explanations

    return draw_explanations(reasons_of(plan), sheet)


def _plan_many(file: str, site: Site, on: str | None, *, as_json: bool) -> int:
    from cubital.app import wiring
    from cubital.errors import CubitalError

    day = None if on is None else wiring.read_day(on, where="--on")
    if file == "-":
        return _plan_stream(sys.stdin.buffer, "standard input", site, day, as_json=as_json)
    try:
        with open(file, "rb") as stream:
            return _plan_stream(stream, file, site, day, as_json=as_json)
    except (BrokenPipeError, CubitalError):
        raise
    except (OSError, ValueError) as error:
        raise wiring.unreadable(file, error) from None


def _plan_stream(stream: Any, where: str, site: Site, day: Any, *, as_json: bool) -> int:
    from cubital.app.draws import Failure, plan_lines
    from cubital.app.wiring import read_lines

    failed = unsettled = False
    count = 0
    lines = read_lines(stream, where=where, site=site, on=day)
    for line, found in plan_lines(lines, site, leave_unsettled=True):
        count += 1
        if isinstance(found, Failure):
            failed = True
            _write_failure(found, where, line, as_json=as_json)
            continue
        if found.unsettled:
            unsettled = True
            complain_unsettled(found, place=f"{where} line {line}", site=site)
        if as_json:
            _write_plan(found, line=line)
        else:
            print(_summary(found, line))
    if not count:
        from cubital.errors import OrderError

        raise OrderError("found no order; expected one a line; write them", where=where)
    return SOME_FAILED if failed else UNSETTLED if unsettled else 0


def _write_failure(failure: Failure, where: str, line: int, *, as_json: bool) -> None:
    place = f"{where} line {line}"
    said = str(failure.error)
    print(f"cubital: {said if said.startswith(place) else f'{place}: {said}'}", file=sys.stderr)
    if as_json:
        write_json(document(failure.error, id=failure.id, line=line))
    else:
        print(f"line {line}: no plan, {type(failure.error).__name__}")


def _summary(plan: Plan, line: int) -> str:
    """One plan in one line: what to take, in order."""
    from cubital.units import millilitres_text

    tubes = ", ".join(f"{tube.mark} {millilitres_text(tube.draw_ul)}" for tube in plan.tubes)
    missing = [f"not settled {', '.join(repr(u.word) for u in plan.unsettled)}"] if plan.unsettled else []
    missing += [f"left out {', '.join(u.test for u in plan.unplaced)}"] if plan.unplaced else []
    left = f"; NOT ALL: {'; '.join(missing)}" if missing else ""
    name = f" ({plan.id})" if plan.id else ""
    return f"line {line}{name}: {millilitres_text(plan.totals.all_blood_ul)} mL in {len(plan.tubes)}: {tubes}{left}"
