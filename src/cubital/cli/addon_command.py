"""`cubital addon` and `cubital redraw`: what can be measured in what is there, and the least new draw."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.bench import bench_options, instant, local_day, opened, refuse, source_words, who, wrapped
from cubital.cli.complaint import REFUSED, SOME_FAILED, write_json

if TYPE_CHECKING:
    from datetime import datetime

    from cubital.app.addon import Answer
    from cubital.app.known import Known
    from cubital.cli.sheet import Sheet
    from cubital.handling.addon import Offer
    from cubital.handling.redraw import Redraw
    from cubital.model import Order, Site

_ANSWERS = {"accept": "yes", "comment": "yes, with a comment", "refuse": "no"}


@click.command()
@click.argument("tests", nargs=-1, required=True)
@click.option("--patient", metavar="KEY", required=True, help="The patient, as the specimens name it.")
@click.option("--book", is_flag=True, help="Write what is served into the record.")
@click.option("--by", metavar="WHO", help="Who asks; --book asks for it.")
@click.option("--station", metavar="WHERE", default="prompt", help="Where.")
@click.option("--key", metavar="KEY", help="Of this booking, so that a retry is the same; --book asks for one.")
@wording.patient_options
@bench_options
def addon(
    tests: tuple[str, ...], patient: str, book: bool, by: str | None, station: str, key: str | None, file: str | None,
    address: str, policy: str, at: str | None, site: Path | None, demo: bool, as_json: bool, **said: Any,
) -> int:  # fmt: skip
    """Say whether TESTS can be measured in a specimen of the patient that is there: which, what is left, or why not.

    What no specimen serves is planned as the least redraw. Exit status 1 where anything must be drawn.
    """
    from cubital.errors import CubitalError, OrderError

    try:
        from cubital.app.addon import ADDON_FORMAT, record_addon

        if book and (key is None or file is not None):
            raise OrderError("expected the record and a --key, so that a retry adds nothing twice", where="--book")
        here = wording.open_chosen(site, demo=demo)
        now = instant(at, here)
        order = wording.read_options(tests, said, today=local_day(now, here), zone=here.time_zone)
        with opened(here, file=file, address=address) as shelf:
            known = shelf.of_patient(patient)
            answer = _answer(order, known, here, now, policy)
            if book and shelf.record is not None and key is not None:
                answer = record_addon(shelf.record, answer, known, by=who(by, is_asked=book), station=station, key=key)
    except CubitalError as error:
        refuse(error, as_json=as_json)
        return REFUSED
    return _say(answer, here, as_json=as_json, format=ADDON_FORMAT)


@click.command()
@click.argument("tests", nargs=-1)
@click.option("--patient", metavar="KEY", required=True, help="The patient, as the specimens name it.")
@wording.patient_options
@bench_options
def redraw(
    tests: tuple[str, ...], patient: str, file: str | None, address: str, policy: str, at: str | None,
    site: Path | None, demo: bool, as_json: bool, **said: Any,
) -> int:  # fmt: skip
    """Plan the least new draw for the patient's refused tests, or for TESTS, given what is still there.

    What is left of other specimens is used first: it costs no blood. Exit status 0 planned, or nothing to draw.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.addon import REDRAW_FORMAT, refused_tests

        here = wording.open_chosen(site, demo=demo)
        with opened(here, file=file, address=address) as shelf:
            known = shelf.of_patient(patient)
            now = instant(at, here)
            asked = tests or refused_tests(known)
            order = wording.read_options(asked, said, today=local_day(now, here), zone=here.time_zone)
            answer = _answer(order, known, here, now, policy)
    except CubitalError as error:
        refuse(error, as_json=as_json)
        return REFUSED
    _say(answer, here, as_json=as_json, format=REDRAW_FORMAT)
    return 0


def _answer(order: Order, known: tuple[Known, ...], site: Site, now: datetime, policy: str) -> Answer:
    from cubital.app.addon import answer_addon
    from cubital.handling.keeping import POLICIES

    chosen = next(one for one in POLICIES if one == policy)
    return answer_addon(order, known, site, now=now, policy=chosen)


def _say(answer: Answer, site: Site, *, as_json: bool, format: str) -> int:
    from cubital.app.addon import answer_document

    if as_json:
        from cubital.exchange.plan_json import plan_document

        plan = None if answer.plan is None else plan_document(answer.plan)
        write_json({**answer_document(answer, format=format), "plan": plan})
    else:
        from cubital.cli.sheet import sheet_for

        print(*draw_answer(answer, site, sheet_for(sys.stdout)), sep="\n")
    return SOME_FAILED if answer.redraw.drawn else 0


def draw_answer(answer: Answer, site: Site, sheet: Sheet) -> list[str]:
    """The answer as lines: where each test is measured or why not, then the tray of what must be drawn."""
    from cubital.app.tray import lay_tray
    from cubital.cli.tray import draw_tray

    found = answer.redraw
    served = {offer.test: offer for offer in found.served}
    lines: list[str] = []
    for test, specimen in answer.waiting:
        lines.append(sheet.mark(f"{test}: waits in {specimen} already", "strong"))
    for test, offers in found.offers.items():
        chosen = served.get(test)
        lines += _served(chosen, sheet) if chosen is not None else _drawn(test, offers, sheet)
    lines += _shared_lines(found, sheet)
    for id, tests in answer.added:
        again = "was recorded before" if answer.is_repeat else "recorded"
        lines += ["", *sheet.wrap(f"{again}: {', '.join(tests)} added to {id}", first="  ")]
    if answer.plan is None:
        return [*lines, "", "  Nothing must be drawn."]
    proof = "no choice of what is there needs a smaller draw" if found.is_optimal else "not proved to be the least draw"
    lines += ["", sheet.mark(f"Draw again: {', '.join(found.drawn)}", "strong"), *sheet.wrap(proof, first="  "), ""]
    return [*lines, *draw_tray(lay_tray(answer.plan, answer.order, site), sheet)]


def _served(offer: Offer, sheet: Sheet) -> list[str]:
    answer = _ANSWERS[offer.outcome]
    text = f"{offer.test}: {answer}, {offer.specimen}; takes {offer.takes_ul} uL, {offer.left_ul} uL are left"
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(text, rest="  ")]
    return [*lines, *_reason_lines(offer, sheet)]


def _drawn(test: str, offers: tuple[Offer, ...], sheet: Sheet) -> list[str]:
    lines = [sheet.mark(f"{test}: draw", "strong")]
    for offer in offers:
        if offer.is_possible:
            text = f"{offer.specimen} could serve it; the new draw takes it at no cost, or others need what is left"
            lines += wrapped(sheet, text, indent=2)
        else:
            lines += wrapped(sheet, f"{offer.specimen} no:", indent=2)
            lines += _reason_lines(offer, sheet)
    return lines


def _shared_lines(found: Redraw, sheet: Sheet) -> list[str]:
    """What is not known of an index, once for all the tests that it is not known for."""
    from cubital.app.addon import shared_reasons

    lines: list[str] = []
    for (specimen, text), tests in shared_reasons(found).items():
        lines += wrapped(sheet, f"{specimen}: {text} Of {', '.join(tests)}", indent=2)
    return lines


def _reason_lines(offer: Offer, sheet: Sheet) -> list[str]:
    from cubital.handling.receipt import is_shared

    lines = []
    for reason in offer.reasons:
        if is_shared(reason):
            continue
        lines += wrapped(sheet, f"{reason.text} [{'; '.join(source_words((reason,)))}]", indent=4)
    return lines
