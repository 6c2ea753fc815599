"""A rotor drawn in a terminal: opposite places above each other, then what stands in each, readable without colour."""

from __future__ import annotations

from cubital.app.spin_loads import ALWAYS, SpinLoads
from cubital.app.spin_words import clock_words, headline_words, lasting, program_words, proof_words
from cubital.cli.sheet import Sheet
from cubital.handling.spin_balance import place_labels
from cubital.model.centrifuge import Filled, SpinRun

CELL = 5
TUBE, BLANK = "T", "b"


def draw_loads(loads: SpinLoads, sheet: Sheet) -> list[str]:
    """The lines of a plan: what is grave first, then every run with its rotor, the proof, the notes."""
    plan = loads.plan
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(headline_words(loads))]
    for left in plan.left_out:
        lines += _flagged(f"{left.tube}: {left.reason}", "LEFT OUT", "stop", sheet)
    for run in plan.runs:
        for tube in run.tubes:
            if late_s := loads.late_s(tube, run):
                due = clock_words(loads, run.end_s - late_s)
                text = f"{tube}: due by {due}, its run ends {clock_words(loads, run.end_s)}, {lasting(late_s)} late"
                lines += _flagged(text, "LATE", "stop", sheet)
    for text in loads.warnings():
        lines += _flagged(text, "watch", "warn", sheet)
    for number, run in enumerate(plan.runs, start=1):
        lines += ["", *_run(loads, number, run, sheet)]
    lines += ["", *sheet.wrap(proof_words(loads), first="proof   ")]
    if any(run.blanks for run in plan.runs):
        text = f"{BLANK}, filled with water as high as the tube opposite, of the same kind and size"
        lines += sheet.wrap(text, first="blank   ")
    for purpose in loads.purposes():
        lines += _program(purpose, sheet)
    for text in loads.unread:
        lines += _flagged(f"nothing reads {text}", "note", "faint", sheet)
    return [*lines, *(sheet.mark(line, "faint") for line in sheet.wrap("; ".join(ALWAYS), first="always  "))]


def _run(loads: SpinLoads, number: int, run: SpinRun, sheet: Sheet) -> list[str]:
    rule = sheet.glyphs.rule
    start, end = clock_words(loads, run.start_s), clock_words(loads, run.end_s)
    title = f"{rule * 2} run {number}: {run.centrifuge}, {start} to {end} "
    temperature = "room temperature" if run.temp_c is None else f"{run.temp_c} C"
    how = f"{loads.force_g(run)} g ({run.rpm} rpm), {lasting(run.spin_s)} at speed, {temperature}"
    return [
        sheet.mark(title + rule * max(0, sheet.width - len(title)), "strong"),
        *sheet.wrap(how, first="set   ", rest="      "),
        *draw_rotor(loads, run, sheet),
        *_listing(loads, run, sheet),
    ]


def draw_rotor(loads: SpinLoads, run: SpinRun, sheet: Sheet) -> list[str]:
    """Each row of places, opposite ones above each other: T a tube, b a blank, a dot an empty place."""
    filled = {place.place: place for place in run.filled}
    lines: list[str] = []
    for row in place_labels(loads.centrifuge_of(run)):
        most = max(1, (sheet.width - 6) // CELL)
        for first in range(0, len(row), most):
            part = row[first : first + most]
            above, below = [here for here, _ in part], [there for _, there in part]
            lines += [
                _cells("", above),
                _cells("", [_sign(filled.get(place), sheet) for place in above]),
                _cells("", [_sign(filled.get(place), sheet) for place in below]),
                _cells("", below),
                "",
            ]
    return ["", *lines]


def _cells(head: str, texts: list[str]) -> str:
    return (head.ljust(6) + "".join(text.center(CELL) for text in texts)).rstrip()


def _sign(place: Filled | None, sheet: Sheet) -> str:
    if place is None:
        return sheet.glyphs.free
    return BLANK if place.tube is None else TUBE


def _listing(loads: SpinLoads, run: SpinRun, sheet: Sheet) -> list[str]:
    """Pairs of opposite places, each on a line of its own, and what stands there."""
    lines = []
    done: set[str] = set()
    by_place = {place.place: place for place in run.filled}
    for place in run.filled:
        if place.place in done:
            continue
        other = by_place[place.opposite]
        done |= {place.place, other.place}
        text = f"{_named(loads, place)}  opposite  {_named(loads, other)}"
        lines += sheet.wrap(text, first="      ", rest="        ")
    return lines


def _named(loads: SpinLoads, place: Filled) -> str:
    if place.tube is None:
        return f"{place.place} blank like {place.like}"
    return f"{place.place} {place.tube} ({loads.tubes[place.tube].type})"


def _program(purpose: str, sheet: Sheet) -> list[str]:
    return [sheet.mark(line, "faint") for line in sheet.wrap(program_words(purpose), first="rests   ")]


def _flagged(text: str, flag: str, how: str, sheet: Sheet) -> list[str]:
    first, *rest = sheet.wrap(text, first=f"{flag}  ")
    return [sheet.mark(flag, how) + first[len(flag) :], *rest]
