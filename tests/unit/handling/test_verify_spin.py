"""The verifier of centrifuge runs finds every way in which a plan can be wrong."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from msgspec.structs import replace

from cubital.handling.spin import plan_spins
from cubital.handling.verify_spin import verify_spins
from cubital.model.centrifuge import LeftOut, SpinPlan, SpinRun, SpinScore, Standing
from tests.unit.handling.spin_benches import ANGLE, COOLED, PROGRAMS, SWING, tube

TUBES = [
    tube("a", "serum"), tube("b", "serum", load_mg=5000), tube("c", "serum", load_mg=2000), tube("d", "citrate"),
    tube("e", "cold", ready_s=600, due_s=1200), tube("w", "serum", type="wide", diameter_um=16_000),
    tube("g", "gel", gel=True, was_spun=True),
]  # fmt: skip
MACHINES = [SWING, COOLED, ANGLE]
STANDING = {"cooled": Standing(free_s=0, temp_c=20)}


def sound() -> SpinPlan:
    return plan_spins(TUBES, MACHINES, PROGRAMS, standing=STANDING)


def faults(plan: SpinPlan) -> list[str]:
    return verify_spins(plan, TUBES, MACHINES, PROGRAMS, standing=STANDING)


def with_run(plan: SpinPlan, tube_id: str, change: Callable[[SpinRun], SpinRun]) -> SpinPlan:
    runs = tuple(change(run) if tube_id in run.tubes else run for run in plan.runs)
    return replace(plan, runs=runs)


def swap(run: SpinRun, one: str, other: str) -> SpinRun:
    filled = tuple(replace(p, tube=other if p.tube == one else one if p.tube == other else p.tube) for p in run.filled)
    return replace(run, filled=filled)


def test_a_sound_plan_has_no_fault() -> None:
    assert faults(sound()) == []
    assert sound().missed == ("e",)


WRONG: dict[str, tuple[Callable[[SpinPlan], SpinPlan], str]] = {
    "a run is forgotten": (lambda p: replace(p, runs=p.runs[1:]), "named 0 times"),
    "a tube is in two runs": (lambda p: replace(p, runs=(*p.runs, p.runs[0])), "named 2 times"),
    "an unknown centrifuge": (
        lambda p: with_run(p, "d", lambda r: replace(r, centrifuge="none")), "no such centrifuge",
    ),
    "an end that is no end": (lambda p: with_run(p, "d", lambda r: replace(r, end_s=r.end_s - 1)), "expected"),
    "a start before the tube is ready": (
        lambda p: with_run(p, "e", lambda r: replace(r, start_s=599, end_s=599 + 660)), "is ready at 600 s only",
    ),
    "a start before the rotor is cold": (
        lambda p: with_run(p, "e", lambda r: replace(r, start_s=600, end_s=1260)), "it is free at",
    ),
    "a speed between steps": (lambda p: with_run(p, "d", lambda r: replace(r, rpm=r.rpm + 1)), "is no speed of it"),
    "too slow": (lambda p: with_run(p, "d", lambda r: replace(r, rpm=1000)), "is not served by"),
    "too short": (
        lambda p: with_run(p, "d", lambda r: replace(r, spin_s=840, end_s=r.end_s - 60)), "is not served by",
    ),
    "too warm": (lambda p: with_run(p, "e", lambda r: replace(r, temp_c=20)), "is not served by"),
    "no degree at all": (lambda p: with_run(p, "e", lambda r: replace(r, temp_c=None)), "none where it has one"),
    "another degree than it has": (lambda p: with_run(p, "e", lambda r: replace(r, temp_c=90)), "no temperature of it"),
    "a blank is forgotten": (
        lambda p: with_run(p, "d", lambda r: replace(r, filled=r.filled[:1])), "nothing opposite",
    ),
    "a heavy tube opposite a light one": (
        lambda p: with_run(p, "a", lambda r: swap(r, "b", "c")), "differ by 3300 mg",
    ),
    "a wide tube in a narrow place": (lambda p: with_run(p, "w", lambda r: swap(r, "w", "a")), "does not fit"),
    "a wide tube opposite a narrow one": (
        lambda p: with_run(p, "w", lambda r: swap(r, "w", "b")), "another kind of tube",
    ),
    "a place that is not opposite": (
        lambda p: with_run(
            p, "d", lambda r: replace(r, filled=tuple(replace(f, opposite=f.place) for f in r.filled))
        ), "is not opposite",
    ),
    "a place taken twice": (
        lambda p: with_run(p, "d", lambda r: replace(r, filled=(*r.filled, r.filled[0]))), "two things in one place",
    ),
    "a blank like another tube": (
        lambda p: with_run(
            p, "d", lambda r: replace(r, filled=tuple(replace(f, like="a" if f.like else None) for f in r.filled))
        ), "is not like the tube opposite",
    ),
    "a blank like nothing": (
        lambda p: with_run(
            p, "d", lambda r: replace(r, filled=tuple(replace(f, like="zz" if f.like else None) for f in r.filled))
        ), "a blank like no tube",
    ),
    "a score too good": (lambda p: replace(p, score=replace(p.score, late_s=0)), "scores"),
    "a late tube not named": (lambda p: replace(p, missed=()), "late are ['e']"),
    "a bound above the score": (
        lambda p: replace(p, bound=SpinScore(missed=9, late_s=0, runs=0, last_end_s=0)), "no plan can be as good",
    ),
    "a gel tube spun again": (
        lambda p: replace(with_run(p, "a", lambda r: swap(r, "a", "g")), left_out=(LeftOut(tube="a", reason=""),)),
        "g is a gel tube that was spun before",
    ),
    "a tube left out that can be spun": (
        lambda p: replace(p, left_out=(*p.left_out, LeftOut(tube="d", reason=""))),
        "d: left out, yet swing can spin it",
    ),
    "a tube that does not wait": (
        lambda p: with_run(p, "d", lambda r: swap(r, "d", "zz")), "zz: not among the tubes that wait",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_the_verifier_finds(name: str) -> None:
    change, words = WRONG[name]
    said = faults(change(sound()))
    assert any(words in fault for fault in said), said
