"""Is this plan of centrifuge runs sound? From first principles: shares no code with what makes one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from cubital.model.centrifuge import (
    Centrifuge,
    Filled,
    PlaceRow,
    SpinPlan,
    SpinProgram,
    SpinRun,
    Standing,
    WaitingTube,
)

# RCF = 1.118e-5 x r(cm) x rpm^2 (standard; from memory).
_RCF = Fraction(1118, 10**8)


def verify_spins(
    plan: SpinPlan,
    tubes: Sequence[WaitingTube],
    centrifuges: Sequence[Centrifuge],
    programs: Mapping[str, SpinProgram],
    *,
    standing: Mapping[str, Standing] | None = None,
) -> list[str]:
    """Everything that is wrong with the plan, in words; empty where it is sound.

    It checks that a plan can be carried out and says what is true of itself, not that none is better.
    """
    by_id = {tube.id: tube for tube in tubes}
    by_key = {centrifuge.key: centrifuge for centrifuge in centrifuges}
    faults = [*_counted(plan, by_id)]
    for run in plan.runs:
        where = f"{run.centrifuge} at {run.start_s} s"
        centrifuge = by_key.get(run.centrifuge)
        if centrifuge is None:
            faults.append(f"{where}: no such centrifuge")
            continue
        loaded = [by_id[tube] for tube in run.tubes if tube in by_id]
        checks = (
            _clock(run, loaded, centrifuge),
            _machine(run, centrifuge),
            _programs(run, loaded, centrifuge, programs),
            _places(run, by_id, centrifuge),
        )
        faults += [f"{where}: {fault}" for check in checks for fault in check]
    faults += _sequence(plan, by_key, standing or {})
    faults += _score(plan, by_id)
    faults += [
        f"{left.tube}: left out, yet {key} can spin it"
        for left in plan.left_out
        for key in _able(by_id.get(left.tube), centrifuges, programs, standing or {})
    ]
    return faults


def _counted(plan: SpinPlan, by_id: Mapping[str, WaitingTube]) -> Iterator[str]:
    named = [tube for run in plan.runs for tube in run.tubes] + [left.tube for left in plan.left_out]
    for tube in by_id:
        if named.count(tube) != 1:
            yield f"{tube}: named {named.count(tube)} times, expected once"
    for tube in named:
        if tube not in by_id:
            yield f"{tube}: not among the tubes that wait"
    for run in plan.runs:
        if not run.tubes:
            yield f"{run.centrifuge} at {run.start_s} s: a run without a tube"


def _clock(run: SpinRun, loaded: Sequence[WaitingTube], centrifuge: Centrifuge) -> Iterator[str]:
    if run.end_s != run.start_s + run.spin_s + centrifuge.ramp_s:
        yield f"ends at {run.end_s} s, expected {run.start_s + run.spin_s + centrifuge.ramp_s} s"
    for tube in loaded:
        if tube.ready_s > run.start_s:
            yield f"{tube.id} is ready at {tube.ready_s} s only"


def _machine(run: SpinRun, centrifuge: Centrifuge) -> Iterator[str]:
    if run.rpm % centrifuge.rpm_step or not centrifuge.rpm_low <= run.rpm <= centrifuge.rpm_high:
        yield f"{run.rpm} rpm is no speed of it"
    if centrifuge.is_refrigerated != (run.temp_c is not None):
        yield "a set temperature where it has none, or none where it has one"
    if run.temp_c is not None and not centrifuge.temp_low_c <= run.temp_c <= centrifuge.temp_high_c:
        yield f"{run.temp_c} C is no temperature of it"


def _programs(
    run: SpinRun, loaded: Sequence[WaitingTube], centrifuge: Centrifuge, programs: Mapping[str, SpinProgram]
) -> Iterator[str]:
    for tube in loaded:
        if tube.gel and tube.was_spun:
            yield f"{tube.id} is a gel tube that was spun before"
        if not any(_meets(run.rpm, run.spin_s, run.temp_c, tube, centrifuge, programs[p]) for p in tube.programs):
            yield f"{tube.id} is not served by {run.rpm} rpm, {run.spin_s} s, {run.temp_c} C"


def _meets(
    rpm: int, spin_s: int, temp_c: int | None, tube: WaitingTube, centrifuge: Centrifuge, program: SpinProgram
) -> bool:
    radius_cm = Fraction(centrifuge.radius_mm, 10)
    rcf_g = _RCF * radius_cm * rpm**2
    slower_g = _RCF * radius_cm * max(0, rpm - centrifuge.rpm_step) ** 2
    is_single = program.rcf_low_g == program.rcf_high_g and slower_g < program.rcf_low_g
    is_forceful = program.rcf_low_g <= rcf_g and (rcf_g <= program.rcf_high_g or is_single)
    degrees = (centrifuge.temp_low_c, centrifuge.temp_high_c) if temp_c is None else (temp_c, temp_c)
    is_tempered = all(program.temp_low_c <= degree <= program.temp_high_c for degree in degrees)
    low_s, high_s = program.low_s, program.high_s
    if centrifuge.rotor == "fixed-angle" and program.fixed_angle_s is not None:
        low_s, high_s = program.fixed_angle_s, max(high_s, program.fixed_angle_s)
    is_allowed = not tube.gel or (
        centrifuge.takes_gel and (centrifuge.rotor == "swing-out" or program.fixed_angle_s is not None)
    )
    return is_forceful and is_tempered and is_allowed and low_s <= spin_s <= high_s


def _places(run: SpinRun, by_id: Mapping[str, WaitingTube], centrifuge: Centrifuge) -> Iterator[str]:
    opposite, row_of = _layout(centrifuge)
    filled = {place.place: place for place in run.filled}
    if len(filled) < len(run.filled):
        yield "two things in one place"
    for label, place in filled.items():
        if label not in opposite or opposite[label] != place.opposite:
            yield f"place {label} is not opposite {place.opposite}"
            continue
        other = filled.get(place.opposite)
        if other is None:
            yield f"nothing opposite {label}"
            continue
        tube = by_id.get(place.tube or place.like or "")
        if tube is None:
            yield f"{label}: a blank like no tube that waits"
            continue
        if not row_of[label].low_um <= tube.diameter_um <= row_of[label].high_um:
            yield f"{tube.id} of {tube.diameter_um} um does not fit {label}"
        yield from _balanced(place, other, by_id, centrifuge)


def _balanced(place: Filled, other: Filled, by_id: Mapping[str, WaitingTube], centrifuge: Centrifuge) -> Iterator[str]:
    if place.tube is None:
        if other.tube is None or place.like != other.tube:
            yield f"the blank in {place.place} is not like the tube opposite"
        return
    one, two = by_id.get(place.tube), by_id.get(other.tube or "")
    if one is None or two is None:
        return
    if (one.type, one.diameter_um, one.measure) != (two.type, two.diameter_um, two.measure):
        yield f"{one.id} is opposite {two.id}, another kind of tube"
    elif abs(one.load_mg - two.load_mg) > centrifuge.balance_mg:
        yield f"{one.id} and {two.id} differ by {abs(one.load_mg - two.load_mg)} mg"


def _layout(centrifuge: Centrifuge) -> tuple[dict[str, str], dict[str, PlaceRow]]:
    """Which place is opposite which, and the row of each."""
    opposite: dict[str, str] = {}
    row_of: dict[str, PlaceRow] = {}
    loose = [row for row in centrifuge.places if row.buckets is None for _ in range(row.pairs)]
    for at, row in enumerate(loose, start=1):
        here, there = str(at), str(at + len(loose))
        opposite[here], opposite[there] = there, here
        row_of[here] = row_of[there] = row
    numbers: dict[str, int] = {}
    for row in centrifuge.places:
        for _ in range(row.pairs if row.buckets else 0):
            assert row.buckets is not None
            here, there = row.buckets
            numbers[here] = numbers.get(here, 0) + 1
            one, two = f"{here}{numbers[here]}", f"{there}{numbers[here]}"
            opposite[one], opposite[two] = two, one
            row_of[one] = row_of[two] = row
    return opposite, row_of


def _sequence(plan: SpinPlan, by_key: Mapping[str, Centrifuge], standing: Mapping[str, Standing]) -> Iterator[str]:
    for key, centrifuge in by_key.items():
        stands = standing.get(key, Standing(free_s=0))
        free_s, temp_c = stands.free_s, stands.temp_c
        for run in sorted((r for r in plan.runs if r.centrifuge == key), key=lambda r: r.start_s):
            change_s = centrifuge.temp_change_s if run.temp_c is not None and run.temp_c != temp_c else 0
            if run.start_s < free_s + change_s:
                yield f"{key} at {run.start_s} s: it is free at {free_s + change_s} s only"
            free_s, temp_c = run.end_s + centrifuge.reload_s, run.temp_c


def _score(plan: SpinPlan, by_id: Mapping[str, WaitingTube]) -> Iterator[str]:
    late = {
        tube: run.end_s - (by_id[tube].due_s or 0)
        for run in plan.runs
        for tube in run.tubes
        if tube in by_id and by_id[tube].due_s is not None and run.end_s > (by_id[tube].due_s or 0)
    }
    last_s = max((run.end_s for run in plan.runs), default=0)
    counted = (len(late), sum(late.values()), len(plan.runs), last_s)
    stated = (plan.score.missed, plan.score.late_s, plan.score.runs, plan.score.last_end_s)
    if counted != stated:
        yield f"scores {counted}, says {stated}"
    if sorted(late) != sorted(plan.missed):
        yield f"late are {sorted(late)}, says {sorted(plan.missed)}"
    if plan.bound > plan.score:
        yield "says that no plan can be as good as it is"


def _able(
    tube: WaitingTube | None,
    centrifuges: Sequence[Centrifuge],
    programs: Mapping[str, SpinProgram],
    standing: Mapping[str, Standing],
) -> Iterator[str]:
    """The centrifuges that can spin a tube: every speed step is tried."""
    if tube is None or (tube.gel and tube.was_spun):
        return
    for centrifuge in centrifuges:
        if not any(row.low_um <= tube.diameter_um <= row.high_um for row in centrifuge.places):
            continue
        first = -(-centrifuge.rpm_low // centrifuge.rpm_step) * centrifuge.rpm_step
        speeds = range(first, centrifuge.rpm_high + 1, centrifuge.rpm_step)
        degrees: Sequence[int | None] = (
            range(centrifuge.temp_low_c, centrifuge.temp_high_c + 1) if centrifuge.is_refrigerated else (None,)
        )
        for purpose in tube.programs:
            program = programs[purpose]
            times = {program.low_s, program.fixed_angle_s or program.low_s}
            if any(
                _meets(rpm, spin_s, degree, tube, centrifuge, program)
                for spin_s in times
                for degree in degrees
                for rpm in speeds
            ):
                yield centrifuge.key
                break
