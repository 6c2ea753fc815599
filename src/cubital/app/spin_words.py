"""A plan of centrifuge runs in words, the same at the prompt and on a page: how good it is, and how that is known."""

from __future__ import annotations

from datetime import timedelta

from cubital.app.spin_loads import SpinLoads, program_marks
from cubital.app.wiring import say_local
from cubital.handling.spin_programs import spin_programs


def headline_words(loads: SpinLoads) -> str:
    """How many tubes in how many runs, how many late, and when all is done."""
    score = loads.plan.score
    if not score.runs:
        return "no run: nothing here can be spun"
    tubes = sum(len(run.tubes) for run in loads.plan.runs)
    late = "none late" if not score.missed else f"{score.missed} late, {lasting(score.late_s)} in all"
    return (
        f"{counted(tubes, 'tube')} in {counted(score.runs, 'run')}, {late}, done by "
        f"{say_local(loads.moment(score.last_end_s), loads.site)}"
    )


def proof_words(loads: SpinLoads) -> str:
    """Whether a better plan is thinkable, and what no plan can be better than."""
    plan = loads.plan
    if plan.is_optimal:
        how = f"after {counted(plan.steps, 'state')}" if plan.steps else "at once"
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
                parts.append(f"done {lasting(score.last_end_s - bound.last_end_s)} after the earliest thinkable")
    return f"NOT PROVED the best: the search stopped after {plan.steps} states; " + "; ".join(parts)


def program_words(purpose: str) -> str:
    """What the facts allow for this purpose, and what that rests on."""
    program = spin_programs()[purpose]
    force = _span(program.rcf_low_g, program.rcf_high_g)
    minutes = _span(program.low_s // 60, program.high_s // 60)
    degrees = _span(program.temp_low_c, program.temp_high_c)
    angle = "" if program.fixed_angle_s is None else f" ({program.fixed_angle_s // 60} min at a fixed angle)"
    return f"{purpose}: {force} g, {minutes} min{angle}, {degrees} C [{'; '.join(program_marks(purpose))}]"


def clock_words(loads: SpinLoads, at_s: int) -> str:
    """The time of the day by the site's clocks, with the day where it is not that of the plan."""
    said = say_local(loads.moment(at_s), loads.site)
    day, clock = said.split(" ", 1)
    return clock if say_local(loads.at, loads.site).startswith(day) else said


def lasting(seconds: int) -> str:
    """A length of time in minutes and seconds, hours where it has any.

    >>> lasting(90), lasting(600), lasting(3661)
    ('1 min 30 s', '10 min', '1 h 1 min 1 s')
    """
    whole = int(timedelta(seconds=seconds).total_seconds())
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    parts = [f"{n} {unit}" for n, unit in ((hours, "h"), (minutes, "min"), (rest, "s")) if n]
    return " ".join(parts) or "0 s"


def counted(count: int, what: str) -> str:
    """So many of something, such as "1 run" or "2 runs"."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def _span(low: int, high: int) -> str:
    return str(low) if low == high else f"{low}-{high}"
