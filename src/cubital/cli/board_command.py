"""`cubital board`: what is due at the bench, most urgent first; live where asked."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cubital.cli.bench import Times, bench_options, instant, opened, refuse, source_words, wrapped
from cubital.cli.complaint import REFUSED, write_json

if TYPE_CHECKING:
    from cubital.app.bench_board import BoardView, ClockView
    from cubital.cli.sheet import Sheet
    from cubital.handling.board import Line
    from cubital.handling.rescue import Keeping, Prospect, Rescue
    from cubital.model import Site

_CLEAR = "\x1b[H\x1b[2J"
_FLAGS = {"late": "LATE", "due": "", "waiting": "wait", "unknown": "?"}
_WAYS = {
    "test": "measure it as it is",
    "separate": "take it off the cells",
    "pour": "pour it off the gel",
    "cold": "put it in the cold",
    "freeze": "freeze it",
}


@click.command()
@click.option("--specimen", metavar="ID", help="Everything of one specimen instead: all windows, and where it keeps.")
@click.option("--most", metavar="N", type=click.IntRange(1, 100_000), default=40, show_default=True, help="Lines.")
@click.option("--live", is_flag=True, help="Look again and again until interrupted.")
@click.option("--every", metavar="S", type=click.IntRange(0, 3600), default=10, show_default=True, help="With --live.")
@click.option("--looks", metavar="N", type=click.IntRange(1, 1_000_000), help="With --live, stop after so many looks.")
@bench_options
def board(
    specimen: str | None, most: int, live: bool, every: int, looks: int | None,
    file: str | None, address: str, policy: str, at: str | None,
    site: Path | None, demo: bool, as_json: bool,
) -> int:  # fmt: skip
    """Say what is due: each specimen's next step, by when it must begin, what is lost, what can be saved.

    Exit status 1 where anything is late or lost.
    """
    import time

    from cubital.errors import CubitalError

    seen = 0
    try:
        while True:
            status = _look(specimen, most, live, file, address, policy, at, site, demo, as_json)
            seen += 1
            if not live or (looks is not None and seen >= looks):
                return status
            time.sleep(every)
    except CubitalError as error:
        refuse(error, as_json=as_json)
        return REFUSED


def _look(
    specimen: str | None, most: int, live: bool, file: str | None, address: str, policy: str, at: str | None,
    site: Path | None, demo: bool, as_json: bool,
) -> int:  # fmt: skip
    from cubital.app.bench_board import board_document, look_at_board, look_at_clock
    from cubital.cli import wording
    from cubital.cli.sheet import sheet_for
    from cubital.handling.keeping import POLICIES

    here = wording.open_chosen(site, demo=demo)
    now = instant(at, here)
    chosen = next(one for one in POLICIES if one == policy)
    with opened(here, file=file, address=address) as shelf:
        if specimen is not None:
            return _say_clock(look_at_clock(shelf.find(specimen), here, now=now, policy=chosen), here, as_json=as_json)
        view = look_at_board(shelf.waiting(), here, now=now, policy=chosen, most=most)
    if as_json:
        write_json(board_document(view))
    else:
        sheet = sheet_for(sys.stdout)
        if live and sys.stdout.isatty():
            print(_CLEAR, end="")
        print(*draw_board(view, here, sheet), sep="\n", flush=True)
    return 1 if view.page.late or view.page.lost else 0


def _say_clock(view: ClockView, site: Site, *, as_json: bool) -> int:
    from cubital.app.bench_board import clock_document
    from cubital.cli.sheet import sheet_for

    if as_json:
        write_json(clock_document(view))
    else:
        print(*draw_clock(view, site, sheet_for(sys.stdout)), sep="\n", flush=True)
    return 1 if any(window.status(view.at) == "late" for window in view.windows) else 0


def draw_clock(view: ClockView, site: Site, sheet: Sheet) -> list[str]:
    """Every window of one specimen in the order of the bench, and how long each test would keep where."""
    times = Times(site, view.at)
    drawn = times.whole(view.specimen.collected_at)
    head = f"{view.specimen.id}, {view.specimen.kind}, drawn {drawn}, at {times.short(view.at)}, {view.policy} policy"
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(head, rest="  ")]
    lines += ["", f"  {'':<13}{'not before':<13}{'over by':<13}do"]
    for window in view.windows:
        status = window.status(view.at)
        opens = times.short(window.opens_at) if window.opens_at > view.specimen.collected_at else ""
        row = f"  {status:<13}{opens:<13}{times.short(window.due_at):<13}"
        text = f"{window.text}: {', '.join(window.tests)}"
        first, *rest = sheet.wrap(text, first=row, rest=" " * 43)
        if status in ("late", "done late", "done early"):
            first = f"  {sheet.mark(status, 'stop')}{first[2 + len(status) :]}"
        lines += [first, *rest]
        why = "; ".join(dict.fromkeys(reason.text for reason in window.reasons))
        if why:
            lines += wrapped(sheet, f"{why} [{'; '.join(source_words(window.reasons))}]", indent=15)
        for text in window.unknown:
            lines += wrapped(sheet, text, indent=15)
    lines += ["", sheet.mark("Keeps, were it put there now, off its cells", "strong")]
    for number, one in enumerate(view.keeps):
        if number == 0 or view.keeps[number - 1].test != one.test:
            lines.append(f"  {one.test}")
        lines += sheet.wrap(_kept_words(one, times), first=f"    {one.storage:<9}", rest=" " * 15)
    return lines


def _kept_words(one: Keeping, times: Times) -> str:
    if one.until is None:
        return f"no ({one.text})"
    if one.certain_until is not None and one.certain_until < one.until:
        sure = times.short(one.certain_until)
        return f"to {times.short(one.until)}; from {sure} on with a comment: no source says how its times add"
    return f"to {times.short(one.until)} ({one.text})"


def draw_board(view: BoardView, site: Site, sheet: Sheet) -> list[str]:
    """The board as lines: its counts, a row for each specimen, what is lost."""
    page = view.page
    times = Times(site, page.at)
    head = (
        f"Board at {times.whole(page.at)}, {view.policy} policy: {page.late} late, {page.due} due, "
        f"{page.waiting} waiting, {page.unknown} without a known time"
    )
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(head, rest="  ")]
    if page.lines:
        lines += ["", f"      {'begin by':<26}{'specimen':<12}do"]
    for line in page.lines:
        lines += _row(line, view.prospects.get(line.specimen), times, sheet)
    hidden = page.late + page.due + page.waiting + page.unknown - len(page.lines)
    if hidden:
        lines += ["", f"      {hidden} more; --most shows them"]
    if page.lost:
        lines += ["", sheet.mark("Lost: refuse these tests and draw again (cubital redraw)", "strong")]
        for specimen, tests in page.lost:
            lines += wrapped(sheet, f"{specimen}: {', '.join(tests)}", indent=6)
    return lines


def _row(line: Line, found: Prospect | None, times: Times, sheet: Sheet) -> list[str]:
    is_early = line.urgency == "waiting"
    when = f"from {times.short(line.opens_at)}" if is_early else times.short(line.begin_by)
    away = times.until(line.opens_at if is_early else line.begin_by)
    where = "" if line.storage == "ambient" else f" (in {line.storage} storage)"
    row = f"{_FLAGS[line.urgency]:<6}{when:<12} {away:<12} {line.specimen:<11} "
    first, *rest = sheet.wrap(f"{line.text}{where}", first=row, rest=" " * 44)
    if line.urgency == "late":
        first = sheet.mark(first[:4], "stop") + first[4:]
    why = "; ".join(dict.fromkeys(reason.text for reason in line.reasons))
    rests = f": {why} [{'; '.join(source_words(line.reasons))}]" if why else ""
    lines = [first, *rest, *wrapped(sheet, f"{', '.join(line.tests)}{rests}", indent=6)]
    for text in line.unknown:
        lines += wrapped(sheet, f"not known: {text}" if line.urgency == "unknown" else text, indent=6)
    for rescue in () if found is None else found.saved:
        lines += wrapped(sheet, _saved(rescue, times), indent=6)
    return lines


def _saved(rescue: Rescue, times: Times) -> str:
    if not rescue.is_known:
        return f"{rescue.test}: not known whether it still serves"
    due = "as long as it stays so" if rescue.due_at is None else f"by {times.short(rescue.due_at)}"
    if rescue.way == "test":
        return f"{rescue.test} can be saved: {_WAYS['test']}, {due}"
    return f"{rescue.test} can be saved: {_WAYS[rescue.way]} {due}; then it keeps to {times.short(rescue.until)}"
