"""Loading the centrifuges of a site with the tubes that wait."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

import msgspec
from msgspec.structs import replace

from cubital import facts
from cubital.app.clock import now as read_now
from cubital.app.known import Known, instant_text
from cubital.chemistry.centrifuge import force_g
from cubital.errors import SiteError
from cubital.handling.clock import Clock
from cubital.handling.clock_steps import spin_of
from cubital.handling.keeping import PolicyKey
from cubital.handling.spin import MOST_STEPS, plan_spins
from cubital.handling.spin_programs import spin_programs
from cubital.handling.stability import is_spun_for
from cubital.model import Site
from cubital.model.centrifuge import Centrifuge, LeftOut, RecordedTube, SpinPlan, SpinRun, SpinScore, WaitingTube

__all__ = ["MOST_STEPS", "SpinLoads", "load_centrifuges", "program_marks", "spin_document", "waiting_tubes"]

FORMAT = "cubital.spin/1"
UNMEASURED = "it waits for its spin and is not in the file: how full it is, is not known"
ALWAYS = (
    "the centrifuge's own instructions, and what your laboratory validated, come first",
    "tubes of one kind and size count as equally heavy but for their blood",
    "nothing else is loaded meanwhile, and no run is broken off",
)


class SpinLoads(msgspec.Struct, frozen=True, kw_only=True):
    """A plan of runs with what it was made from; its seconds count from `at`."""

    at: datetime
    site: Site
    plan: SpinPlan
    tubes: Mapping[str, WaitingTube]
    idle: tuple[str, ...]
    unread: tuple[str, ...]

    def moment(self, at_s: int) -> datetime:
        """The instant of a second of the plan."""
        return self.at + timedelta(seconds=at_s)

    def centrifuge_of(self, run: SpinRun) -> Centrifuge:
        """The centrifuge of a run."""
        return next(centrifuge for centrifuge in self.site.centrifuges if centrifuge.key == run.centrifuge)

    def force_g(self, run: SpinRun) -> int:
        """The force of a run at the bottom of its tubes, in whole g."""
        return round(force_g(rpm=run.rpm, radius_cm=self.centrifuge_of(run).radius_mm / 10))

    def late_s(self, tube: str, run: SpinRun) -> int:
        """How many seconds this run ends after the tube is due; 0 where it is in time or nothing is due."""
        due_s = self.tubes[tube].due_s
        return 0 if due_s is None else max(0, run.end_s - due_s)

    def purposes(self) -> list[str]:
        """What the tubes are spun for, each once."""
        return sorted({purpose for tube in self.tubes.values() for purpose in tube.programs})

    def warnings(self) -> list[str]:
        """What to watch: gel tubes at a fixed angle, second spins, programs that one source would not allow."""
        found = []
        for run in self.plan.runs:
            gels = [tube for tube in run.tubes if self.tubes[tube].gel]
            if gels and self.centrifuge_of(run).rotor == "fixed-angle":
                found.append(
                    f"{', '.join(gels)}: gel tubes at a fixed angle in {run.centrifuge}; the facts prefer a rotor "
                    "that swings out, and one source allows no other"
                )
        programs = spin_programs()
        twice = [tube.id for tube in self.tubes.values() if any(programs[p].spins > 1 for p in tube.programs)]
        if twice:
            found.append(
                f"{', '.join(twice)}: this is the first of two spins; move the plasma to a new tube, which waits "
                "with a clock of its own"
            )
        return found


def waiting_tubes(known: Iterable[Known], site: Site, *, policy: PolicyKey = "strict") -> dict[str, RecordedTube]:
    """The tubes among these specimens that have a spin among their windows, by name, with its window and purpose."""
    clock = Clock(site, policy=policy)
    found = {}
    for one in known:
        specimen = one.specimen
        windows = clock.windows(specimen, poured_at=one.poured_at)
        window = next((w for w in windows if w.step == "spin"), None)
        if window is None or specimen.parent is not None or specimen.discarded_at is not None:
            continue
        spun_for = tuple(test for test in clock.known_tests(specimen) if is_spun_for(test, specimen.matrix))
        spin = spin_of(specimen, spun_for)
        found[specimen.id] = RecordedTube(
            kind=specimen.kind, draw_ul=specimen.draw_ul, purpose=None if spin is None else spin.purpose,
            ready_at=window.opens_at, due_at=window.due_at, was_spun=bool(specimen.spins),
        )  # fmt: skip
    return found


def load_centrifuges(
    data: bytes, site: Site, *, where: str, at: str | None = None, now: datetime | None = None,
    most_steps: int = MOST_STEPS, recorded: Mapping[str, RecordedTube] | None = None,
) -> SpinLoads:  # fmt: skip
    """The runs for the tubes in a file of `tubes`, `centrifuges` and `at`; see `exchange.waiting_file`.

    Of `recorded` tubes the file needs the width and the fill only; one that waits and is not in the file is
    left out and named.

    Raises `SiteError` where the site has no centrifuge in use, `OrderError` and `ExchangeError` for the file.
    """
    from cubital.app.wiring import read_waiting

    if not site.centrifuges:
        raise SiteError(
            "found no centrifuge; expected one at least; write centrifuges.toml in the site's folder", where=site.name
        )
    waiting = read_waiting(data, site, now=now or read_now(), at=at, where=where, recorded=recorded or {})
    in_use = [centrifuge for centrifuge in site.centrifuges if centrifuge.key not in waiting.idle]
    if not in_use:
        raise SiteError("found every centrifuge out of use; expected one at least in use", where=where)
    tubes = {tube.id: tube for tube in waiting.tubes}
    unmeasured = [
        LeftOut(tube=id, reason=UNMEASURED)
        for id, tube in (recorded or {}).items()
        if id not in tubes and not tube.was_spun
    ]
    plan = plan_spins(waiting.tubes, in_use, spin_programs(), standing=waiting.standing, most_steps=most_steps)
    return SpinLoads(
        at=waiting.at, site=site, plan=replace(plan, left_out=(*plan.left_out, *unmeasured)), tubes=tubes,
        idle=waiting.idle, unread=waiting.unread,
    )  # fmt: skip


def spin_document(loads: SpinLoads) -> dict[str, Any]:
    """The runs as JSON: instants in UTC, every place with what stands in it."""
    plan = loads.plan
    return {
        "format": FORMAT,
        "site": loads.site.name,
        "at": _said(loads.at),
        "optimal": plan.is_optimal,
        "score": _score(loads, plan.score),
        "bound": _score(loads, plan.bound),
        "steps": plan.steps,
        "runs": [_run(loads, run) for run in plan.runs],
        "missed": list(plan.missed),
        "left_out": [{"tube": left.tube, "reason": left.reason} for left in plan.left_out],
        "idle": list(loads.idle),
        "warnings": loads.warnings(),
        "always": list(ALWAYS),
        "programs": [_program(purpose) for purpose in loads.purposes()],
        "unread": list(loads.unread),
    }


def _said(moment: datetime) -> str | None:
    return instant_text(moment)


def _score(loads: SpinLoads, score: SpinScore) -> dict[str, Any]:
    return {
        "missed": score.missed, "late_s": score.late_s, "runs": score.runs,
        "last_end": _said(loads.moment(score.last_end_s)) if score.runs else None,
    }  # fmt: skip


def _run(loads: SpinLoads, run: SpinRun) -> dict[str, Any]:
    return {
        "centrifuge": run.centrifuge, "start": _said(loads.moment(run.start_s)), "end": _said(loads.moment(run.end_s)),
        "rcf_g": loads.force_g(run), "rpm": run.rpm, "spin_s": run.spin_s, "temp_c": run.temp_c,
        "blanks": run.blanks,
        "places": [
            {
                "place": filled.place, "opposite": filled.opposite, "tube": filled.tube,
                "blank_like": filled.like,
                "late_s": 0 if filled.tube is None else loads.late_s(filled.tube, run),
            }
            for filled in run.filled
        ],
    }  # fmt: skip


def program_marks(purpose: str) -> list[str]:
    """What a program rests on."""
    spin = next(spin for spin in facts.spins() if spin.purpose == purpose)
    return [mark.label() for mark in spin.marks]


def _program(purpose: str) -> dict[str, Any]:
    program = spin_programs()[purpose]
    return {
        "purpose": purpose, "rcf_g": [program.rcf_low_g, program.rcf_high_g],
        "spin_s": [program.low_s, program.high_s], "fixed_angle_s": program.fixed_angle_s,
        "temp_c": [program.temp_low_c, program.temp_high_c], "spins": program.spins,
        "rests_on": program_marks(purpose),
    }  # fmt: skip
