"""Which waiting tubes go into which run of which centrifuge, at which setting and in which place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec.structs import replace

from cubital import facts
from cubital.errors import SpinError
from cubital.handling.spin_balance import rows_mask, stand
from cubital.handling.spin_bench import Bench, bits
from cubital.handling.spin_bound import Cost
from cubital.handling.spin_search import Chosen, Found, search
from cubital.handling.spin_settings import settings_of, temperatures_of
from cubital.model.centrifuge import (
    Centrifuge,
    LeftOut,
    SpinPlan,
    SpinProgram,
    SpinRun,
    SpinScore,
    Standing,
    WaitingTube,
)

# States that the search may take: a bench of 40 tubes is proved in far fewer, a larger one may be stopped.
MOST_STEPS = 60_000


def plan_spins(
    tubes: Sequence[WaitingTube],
    centrifuges: Sequence[Centrifuge],
    programs: Mapping[str, SpinProgram],
    *,
    standing: Mapping[str, Standing] | None = None,
    most_steps: int = MOST_STEPS,
) -> SpinPlan:
    """The runs with the fewest tubes late, then the fewest seconds late, the fewest runs, the earliest end.

    A run ends in time for a tube when it has come to rest by `due_s`. Seconds count from one instant
    for ready times, due times and `standing`, which says when each centrifuge is free (else at 0).
    Runs are never broken off; a blank can be made for any tube; nothing else is loaded meanwhile.

    The plan is the optimum where it says so (`is_optimal`); where the search was stopped after
    `most_steps`, `bound` is what no plan can be better than. What no centrifuge here can spin is
    left out with the reason. Raises `SpinError` where a tube or a centrifuge is named twice, or a
    program is not known.
    """
    _refuse_repeats(tubes, centrifuges, programs)
    standing = standing or {}
    left_out = [
        LeftOut(tube=tube.id, reason=reason)
        for tube in tubes
        if (reason := _why_not(tube, centrifuges, programs, standing)) is not None
    ]
    out = {left.tube for left in left_out}
    spinnable = [tube for tube in tubes if tube.id not in out]
    if not spinnable:
        nothing = SpinScore(missed=0, late_s=0, runs=0, last_end_s=0)
        return SpinPlan(runs=(), score=nothing, bound=nothing, left_out=tuple(left_out))
    bench = Bench(spinnable, centrifuges, standing, programs)
    found = search(bench, most_steps=most_steps)
    return _written(bench, found, tuple(left_out))


def _refuse_repeats(
    tubes: Sequence[WaitingTube], centrifuges: Sequence[Centrifuge], programs: Mapping[str, SpinProgram]
) -> None:
    for what, names in (("tube", [t.id for t in tubes]), ("centrifuge", [c.key for c in centrifuges])):
        repeated = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
        if repeated:
            raise SpinError(f"found {what} {repeated[0]!r} twice; expected it once; take one out", where="spin")
    for tube in tubes:
        for purpose in tube.programs:
            if purpose not in programs:
                raise SpinError(
                    f"found the program {purpose!r}; expected one of {', '.join(programs)}; correct it",
                    where=f"tube {tube.id}",
                )


def _why_not(
    tube: WaitingTube,
    centrifuges: Sequence[Centrifuge],
    programs: Mapping[str, SpinProgram],
    standing: Mapping[str, Standing],
) -> str | None:
    """Why no run here may take this tube; None where one may."""
    if tube.gel and tube.was_spun:
        return f"{facts.respin().text} ({facts.respin().why})"
    if not tube.programs:
        return "no program is known for it; it may be one that is not spun"
    wide = [c for c in centrifuges if rows_mask(c, tube.diameter_um)]
    if not wide:
        return f"no centrifuge here has a place for {tube.diameter_um / 1000:g} mm"
    need = (tube.programs, tube.gel)
    for centrifuge in wide:
        now_c = standing[centrifuge.key].temp_c if centrifuge.key in standing else None
        for temp_c in temperatures_of([programs[p] for p in tube.programs], centrifuge, now_c=now_c):
            if settings_of(centrifuge, programs, [need], temp_c=temp_c):
                return None
    return f"no centrifuge here that holds it reaches {' or '.join(tube.programs)}" + (
        " with a gel tube" if tube.gel else ""
    )


def _written(bench: Bench, found: Found, left_out: tuple[LeftOut, ...]) -> SpinPlan:
    chosen = _moved_up(bench, _gel_to_swing_out(bench, list(found.runs)))
    runs = [_run(bench, run) for run in chosen]
    missed = [bench.tubes[i].id for run in chosen for i in bits(run.tubes) if run.end_s > bench.due[i]]
    return SpinPlan(
        runs=tuple(sorted(runs, key=lambda run: (run.start_s, run.centrifuge))),
        score=_scored(bench, chosen),
        bound=_score(found.bound),
        left_out=left_out,
        missed=tuple(sorted(missed)),
        steps=found.steps,
    )


def _score(cost: Cost) -> SpinScore:
    missed, late_s, runs, last_end_s = cost
    return SpinScore(missed=missed, late_s=late_s, runs=runs, last_end_s=last_end_s)


def _scored(bench: Bench, runs: Sequence[Chosen]) -> SpinScore:
    late = [run.end_s - bench.due[i] for run in runs for i in bits(run.tubes) if run.end_s > bench.due[i]]
    return _score((len(late), sum(late), len(runs), max(run.end_s for run in runs)))


def _run(bench: Bench, run: Chosen) -> SpinRun:
    centrifuge = bench.machines[run.machine].centrifuge
    return SpinRun(
        centrifuge=centrifuge.key,
        start_s=run.start_s,
        end_s=run.end_s,
        rpm=run.way.setting.rpm,
        spin_s=run.way.setting.spin_s,
        temp_c=run.way.setting.temp_c,
        filled=stand((bench.tubes[i] for i in bits(run.tubes)), centrifuge),
    )


def _gel_to_swing_out(bench: Bench, runs: list[Chosen]) -> list[Chosen]:
    """The same runs, gel tubes moved from a fixed-angle rotor into a swing-out one where none is later for it."""
    for at, run in enumerate(runs):
        if bench.machines[run.machine].centrifuge.rotor == "swing-out":
            continue
        for i in bits(run.tubes):
            if not bench.tubes[i].gel or runs[at].tubes == 1 << i:
                continue
            for there, other in enumerate(runs):
                if _welcomes(bench, other, i, late_s=max(0, run.end_s - bench.due[i])):
                    runs[at] = replace(runs[at], tubes=runs[at].tubes & ~(1 << i))
                    runs[there] = replace(other, tubes=other.tubes | 1 << i)
                    break
    return runs


def _moved_up(bench: Bench, runs: list[Chosen]) -> list[Chosen]:
    """The same runs, each as early as its tubes and the run before it let it be."""
    free_s = [station.free_s for station in bench.stations]
    found = []
    for run in sorted(runs, key=lambda run: run.start_s):
        machine = bench.machines[run.machine]
        here = next(k for k in machine.stations if run.way in bench.stations[k].ways)
        start_s = max(free_s[here], *(bench.ready[i] for i in bits(run.tubes)))
        end_s = start_s + run.way.run_s
        for k in machine.stations:
            change_s = 0 if k == here else machine.centrifuge.temp_change_s
            free_s[k] = end_s + machine.centrifuge.reload_s + change_s
        found.append(replace(run, start_s=start_s, end_s=end_s))
    return found


def _welcomes(bench: Bench, run: Chosen, i: int, *, late_s: int) -> bool:
    """Whether this run can take one more gel tube onto a swing-out rotor, and end as early for it as it needs."""
    return (
        bench.machines[run.machine].centrifuge.rotor == "swing-out"
        and bool(run.way.tubes >> i & 1)
        and bench.ready[i] <= run.start_s
        and max(0, run.end_s - bench.due[i]) <= late_s
        and bench.fits(run.machine, run.tubes | 1 << i)
    )
