"""`cubital print`: labels, the collector's sheet and wall cards, as PDF."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain

if TYPE_CHECKING:
    import datetime

    from cubital.model import Order, Plan, Site
    from cubital.model.identity import Collection

_Command = TypeVar("_Command", bound=Callable[..., Any])
_TO = click.option("--to", "target", metavar="FILE", required=True, help="The PDF to write; - is what goes out.")
_PRINTED = click.option("--printed", metavar="DATE", help="Day that is printed as the day of printing; else today.")
_PAPER = click.option("--paper", metavar="WORD", default="a4", show_default=True, help="a4 or letter.")
_WHOSE = (
    click.argument("tests", nargs=-1),
    click.option("--order", "file", metavar="FILE", help="An order in JSON or FHIR R4 JSON; - is what comes in."),
    click.option("--who", metavar="FILE", help="Name, numbers, birth date and specimens, in JSON; - is what comes in."),
    click.option("--invented", is_flag=True, help="An invented patient, who says so: for a demonstration."),
)


def _draw_options(command: _Command) -> _Command:
    options = (*_WHOSE, wording.site_options, wording.patient_options, wording.on_day, _PRINTED, _TO)
    for option in reversed(options):
        command = option(command)
    return command


@click.group("print")
def print_group() -> None:
    """Print labels, the collector's sheet and wall cards, as PDF.

    Patient data comes in a file, never at the prompt, where it would stay in its history.
    """


@print_group.command()
@_draw_options
@click.option("--stock", metavar="KEY", default="roll-50x25", show_default=True, help="Label stock; see print stock.")
@click.option("--skip", metavar="N", type=click.IntRange(min=0), default=0, help="Labels of a sheet that are used.")
def labels(stock: str, skip: int, target: str, **said: Any) -> int:
    """Print a label for each specimen of a draw, in order, behind a slip that says whose site and facts.

    TESTS are tests, panels or codes. Needs --who with a number for each specimen, or --invented.
    """

    def make(order: Order, plan: Plan, site: Site, who: Collection | None, today: datetime.date) -> bytes:
        from cubital.app.printing import labels_of
        from cubital.errors import OrderError

        if who is None:
            raise OrderError("found nothing; expected a file that says who it is; write it", where="--who")
        return labels_of(plan, order, site, who, stock=stock, skip=skip, today=today)

    return _print_draw(make, f"labels on {stock}", target, said)


@print_group.command()
@_draw_options
@_PAPER
def sheet(paper: str, target: str, **said: Any) -> int:
    """Print the collector's sheet of a draw; without --who it has lines to write on.

    TESTS are tests, panels or codes.
    """

    def make(order: Order, plan: Plan, site: Site, who: Collection | None, today: datetime.date) -> bytes:
        from cubital.app.printing import sheet_of

        return sheet_of(plan, order, site, collection=who, paper=_paper_of(paper), today=today)

    return _print_draw(make, f"the collector's sheet on {paper}", target, said)


@print_group.command()
@click.argument("card")
@wording.site_options
@_PAPER
@_PRINTED
@_TO
def wall(card: str, site: Path | None, demo: bool, paper: str, printed: str | None, target: str) -> int:
    """Print a wall card of a site.

    CARD is order (of draw), tests (which tube for which) or bench (clot, spin, separate, keep).
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.wall_cards import wall_card

        here = wording.open_chosen(site, demo=demo)
        pdf = wall_card(card, here, paper=_paper_of(paper), today=_printed_on(printed))
        _write(target, pdf, f"wall card {card} on {paper}")
    except CubitalError as error:
        complain(error)
        return REFUSED
    return 0


@print_group.command()
@wording.record_option
@wording.site_options
@_PAPER
@_PRINTED
@_TO
def day(address: str, site: Path | None, demo: bool, paper: str, printed: str | None, target: str) -> int:
    """Print the day's sheet: where the record and the trail end now.

    Kept on paper, it shows a later check what was cut off or written anew: `cubital db check --head --trail-head`.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.printing import day_sheet_of
        from cubital.app.record_care import ends_of
        from cubital.app.wiring import open_store

        here = wording.open_chosen(site, demo=demo)
        store = open_store(address)
        try:
            ends, where = ends_of(store), store.where
        finally:
            store.close()
        pdf = day_sheet_of(ends, here, database=where, paper=_paper_of(paper), today=_printed_on(printed))
        _write(target, pdf, f"record {ends.record}, trail {ends.trail}")
    except CubitalError as error:
        complain(error)
        return REFUSED
    return 0


@print_group.command()
def stock() -> int:
    """List the label stock that labels are laid out for."""
    from cubital.facts.labels import label_stock

    for one in label_stock().values():
        print(f"{one.key:<16}{one.name} [{one.from_.label()}]")
    return 0


def _print_draw(
    make: Callable[[Order, Plan, Site, Collection | None, datetime.date], bytes],
    what: str,
    target: str,
    said: dict[str, Any],
) -> int:
    """Plan the draw that was said, make the PDF of it and write it; nothing is written where anything is refused."""
    from cubital.errors import CubitalError

    here: Site | None = None
    try:
        from cubital.app.draws import dated, plan_order
        from cubital.app.printing import invented_collection

        today = _printed_on(said.pop("printed"))
        here = wording.open_chosen(said.pop("site"), demo=said.pop("demo"))
        order = dated(_read_order(here, said), today)
        # With every word that does not settle: what is printed of it is refused, naming them all.
        plan = plan_order(order, here, today=today, leave_unsettled=True)
        who = _read_who(said)
        if said["invented"]:
            who = invented_collection(plan, order, today=today)
        _write(target, make(order, plan, here, who, today), what)
    except CubitalError as error:
        complain(error, site=here)
        return REFUSED
    return 0


def _read_order(site: Site, said: dict[str, Any]) -> Order:
    from cubital.app import wiring
    from cubital.errors import OrderError

    if said["who"] == "-" == said["file"]:
        raise OrderError("found - for --order too; expected one of them in a file; name it", where="--who")
    tests, file, on = said.pop("tests"), said["file"], said.pop("on")
    if file is None:
        return wording.read_options(tests, {**said, "on": on}, zone=site.time_zone)
    if tests:
        raise OrderError("found tests beside it; expected the whole order in one place; take one out", where="--order")
    day = None if on is None else wiring.read_day(on, where="--on")
    where = "standard input" if file == "-" else file
    orders = wiring.read_request(wiring.read_bytes(file, stdin=sys.stdin.buffer), site, where=where, on=day)
    if len(orders) != 1:
        raise OrderError(f"found {len(orders)} orders; expected one; print them one by one", where=where)
    return orders[0]


def _read_who(said: dict[str, Any]) -> Collection | None:
    from cubital.app import wiring
    from cubital.errors import OrderError

    who = said["who"]
    if who is None:
        return None
    if said["invented"]:
        raise OrderError("found --invented beside it; expected one patient; take one out", where="--who")
    where = "standard input" if who == "-" else who
    return wiring.read_collection(wiring.read_bytes(who, stdin=sys.stdin.buffer), where=where)


def _printed_on(text: str | None) -> datetime.date:
    from cubital.app import wiring
    from cubital.app.clock import today

    return today() if text is None else wiring.read_day(text, where="--printed")


def _paper_of(word: str) -> Any:
    from cubital.errors import OrderError
    from cubital.facts.labels import PAPER_MM

    if word not in PAPER_MM:
        raise OrderError(f"found {word[:40]!r}; expected {' or '.join(PAPER_MM)}; choose one", where="--paper")
    return word


def _write(target: str, pdf: bytes, what: str) -> None:
    from cubital.errors import ExchangeError

    if target == "-":
        sys.stdout.buffer.write(pdf)
        sys.stdout.buffer.flush()
        return
    try:
        Path(target).write_bytes(pdf)
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or str(error)
        raise ExchangeError(f"found {said}; expected a file that can be written; name another", where="--to") from None
    print(f"{target}: {what}")
