"""A rotor drawn in a terminal: opposite places above each other, then what stands in each, readable without colour."""

from __future__ import annotations

from datetime import timedelta

from cubital.app.spin_loads import ALWAYS, SpinLoads, program_marks
from cubital.app.wiring import say_local
from cubital.cli.sheet import Sheet
from cubital.handling.spin_balance import place_labels
from cubital.handling.spin_programs import spin_programs
from cubital.model.centrifuge import Filled, SpinRun

CELL = 5
TUBE, BLANK = "T", "b"


def draw_loads(loads: SpinLoads, sheet: Sheet) -> list[str]:
    """The lines of a plan: what is grave first, then every run with its rotor, the proof, the notes."""
    plan = loads.plan
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(_headline(loads))]
    for left in plan.left_out:
        lines += _flagged(f"{left.tube}: {left.reason}", "LEFT OUT", "stop", sheet)
    for run in plan.runs:
        for tube in run.tubes:
            if late_s := loads.late_s(tube, run):
                due = _clock(loads, run.end_s - late_s)
                text = f"{tube}: due by {due}, its run ends {_clock(loads, run.end_s)}, {_lasting(late_s)} late"
                lines += _flagged(text, "LATE", "stop", sheet)
    for text in loads.warnings():
        lines += _flagged(text, "watch", "warn", sheet)
    for number, run in enumerate(plan.runs, start=1):
        lines += ["", *_run(loads, number, run, sheet)]
    lines += ["", *sheet.wrap(_proof(loads), first="proof   ")]
    if any(run.blanks for run in plan.runs):
        text = f"{BLANK}, filled with water as high as the tube opposite, of the same kind and size"
        lines += sheet.wrap(text, first="blank   ")
    for purpose in loads.purposes():
        lines += _program(purpose, sheet)
    for text in loads.unread:
        lines += _flagged(f"nothing reads {text}", "note", "faint", sheet)
    return [*lines, *(sheet.mark(line, "faint") for line in sheet.wrap("; ".join(ALWAYS), first="always  "))]


def _headline(loads: SpinLoads) -> str:
    score = loads.plan.score
    if not score.runs:
        return "no run: nothing here can be spun"
    tubes = sum(len(run.tubes) for run in loads.plan.runs)
    late = "none late" if not score.missed else f"{score.missed} late, {_lasting(score.late_s)} in all"
    return (
        f"{_counted(tubes, 'tube')} in {_counted(score.runs, 'run')}, {late}, done by "
        f"{say_local(loads.moment(score.last_end_s), loads.site)}"
    )


def _run(loads: SpinLoads, number: int, run: SpinRun, sheet: Sheet) -> list[str]:
    rule = sheet.glyphs.rule
    title = f"{rule * 2} run {number}: {run.centrifuge}, {_clock(loads, run.start_s)} to {_clock(loads, run.end_s)} "
    temperature = "room temperature" if run.temp_c is None else f"{run.temp_c} C"
    how = f"{loads.force_g(run)} g ({run.rpm} rpm), {_lasting(run.spin_s)} at speed, {temperature}"
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


def _proof(loads: SpinLoads) -> str:
    plan = loads.plan
    if plan.is_optimal:
        how = f"after {_counted(plan.steps, 'state')}" if plan.steps else "at once"
        return (
            "no plan for these centrifuges has fewer tubes late, then fewer seconds late, then fewer runs, "
            f"then an earlier end (proved {how})"
        )
    bound, score = plan.bound, plan.score
    parts = [f"late {score.missed}, at least {bound.missed}"]
    if bound.missed == score.missed:
        parts.append(f"seconds late {score.late_s}, at least {bound.late_s}")
        if bound.late_s == score.late_s:
            parts.append(f"runs {score.runs}, at least {bound.runs}")
            if bound.runs == score.runs:
                parts.append(f"done {_lasting(score.last_end_s - bound.last_end_s)} after the earliest thinkable")
    return f"NOT PROVED the best: the search stopped after {plan.steps} states; " + "; ".join(parts)


def _program(purpose: str, sheet: Sheet) -> list[str]:
    program = spin_programs()[purpose]
    force = _span(program.rcf_low_g, program.rcf_high_g)
    minutes = _span(program.low_s // 60, program.high_s // 60)
    degrees = _span(program.temp_low_c, program.temp_high_c)
    angle = "" if program.fixed_angle_s is None else f" ({program.fixed_angle_s // 60} min at a fixed angle)"
    text = f"{purpose}: {force} g, {minutes} min{angle}, {degrees} C [{'; '.join(program_marks(purpose))}]"
    return [sheet.mark(line, "faint") for line in sheet.wrap(text, first="rests   ")]


def _span(low: int, high: int) -> str:
    return str(low) if low == high else f"{low}-{high}"


def _clock(loads: SpinLoads, at_s: int) -> str:
    """The time of the day by the site's clocks, with the day where it is not that of the plan."""
    said = say_local(loads.moment(at_s), loads.site)
    day, clock = said.split(" ", 1)
    return clock if say_local(loads.at, loads.site).startswith(day) else said


def _lasting(seconds: int) -> str:
    """A length of time in minutes and seconds, hours where it has any.

    >>> _lasting(90), _lasting(600), _lasting(3661)
    ('1 min 30 s', '10 min', '1 h 1 min 1 s')
    """
    whole = int(timedelta(seconds=seconds).total_seconds())
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    parts = [f"{n} {unit}" for n, unit in ((hours, "h"), (minutes, "min"), (rest, "s")) if n]
    return " ".join(parts) or "0 s"


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _flagged(text: str, flag: str, how: str, sheet: Sheet) -> list[str]:
    first, *rest = sheet.wrap(text, first=f"{flag}  ")
    return [sheet.mark(flag, how) + first[len(flag) :], *rest]
