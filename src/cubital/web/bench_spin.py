"""The Spin page: which waiting tubes go into which run, the rotor drawn, and the runs that are over written down."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import msgspec
from starlette.responses import Response

from cubital.app.deeds import Doer
from cubital.app.spin_loads import ALWAYS, SpinLoads, load_centrifuges
from cubital.app.spin_runs import Heap, Waiting, record_run, waiting_for_spin
from cubital.app.spin_words import clock_words, headline_words, lasting, program_words, proof_words
from cubital.errors import CubitalError, LostRace, OrderError, RecordUnavailable
from cubital.model.centrifuge import Filled, SpinRun
from cubital.units import millilitres_text
from cubital.web.bench_numbers import number_said
from cubital.web.bench_page import STATION, frame
from cubital.web.bench_race import who_was_first
from cubital.web.bench_rows import Cap, cap_of, kind_of
from cubital.web.bench_times import Times
from cubital.web.rotor_picture import RotorPicture, rotor_picture
from cubital.web.visit import Visit

MOST_STEPS = 20_000
"""The search stops after so many states on a page, so that it answers soon; then it says how far it is proved."""


class TypeOf(msgspec.Struct, frozen=True, kw_only=True):
    """Tubes of one kind and size, as the form asks of them."""

    key: str
    name: str
    size: str
    cap: Cap
    diameter: str
    is_full: bool
    tubes: tuple[tuple[str, str, str, bool, str], ...]


class RunShown(msgspec.Struct, frozen=True, kw_only=True):
    """One run in words, with its rotor."""

    number: int
    centrifuge: str
    start: str
    end: str
    setting: str
    rcf_g: int
    minutes: str
    temp_c: str
    picture: RotorPicture
    pairs: tuple[str, ...]
    tubes: tuple[str, ...]
    late: tuple[str, ...]


def open_spin(visit: Visit) -> Response:
    """What waits for its spin, and what the plan must know of it."""
    return visit.page("bench_spin.html", {**frame(visit, "spin"), **_asked(visit, _waiting(visit))})


def plan_or_record(visit: Visit) -> Response:
    """The best runs for what the form says; or a run that is over, written down."""
    try:
        if visit.said("do") == "record":
            return _record(visit)
        waiting = _waiting(visit)
        loads = _load(visit, waiting)
    except RecordUnavailable:
        raise
    except LostRace as error:
        return _refused(visit, who_was_first(error, visit), status=409)
    except CubitalError as error:
        return _refused(visit, str(error), status=422)
    return visit.page("bench_spin.html", {**frame(visit, "spin"), **_asked(visit, waiting), **_shown(loads, visit)})


def _waiting(visit: Visit) -> Waiting:
    return waiting_for_spin(visit.desk.board.known(), visit.desk.site)


def _refused(visit: Visit, said: str, *, status: int) -> Response:
    shown = {**frame(visit, "spin", said=said), **_asked(visit, _waiting(visit))}
    return visit.page("bench_spin.html", shown, status=status)


def _record(visit: Visit) -> Response:
    assert visit.visitor is not None
    ids = visit.all_said("tube")
    rcf_g, minutes, temp_c = (number_said(visit, name) for name in ("rcf_g", "minutes", "temp_c"))
    if rcf_g is None or minutes is None or temp_c is None or rcf_g != int(rcf_g) or temp_c != int(temp_c):
        raise OrderError("expected force, time and temperature of the run, force and degrees whole", where="run")
    doer = Doer(visit.visitor.account.name, STATION, visit.desk.now())
    record_run(
        visit.desk.record, ids, doer, rcf_g=int(rcf_g), spin_s=int(minutes * 60), temperature_c=int(temp_c)
    )
    return visit.go("/bench/spin")


def _load(visit: Visit, waiting: Waiting) -> SpinLoads:
    """The plan for the tubes that are ticked; what is not said of them is refused by name, never guessed."""
    tubes: list[dict[str, Any]] = []
    for heap in waiting.heaps:
        key = key_of(heap)
        for one in heap.tubes:
            if one.id not in visit.all_said("take"):
                continue
            row: dict[str, Any] = {"id": one.id}
            if (diameter := number_said(visit, f"diameter {key}")) is not None:
                row["diameter_mm"] = diameter
            fill = number_said(visit, f"fill {one.id}")
            if fill is None and visit.said(f"full {key}"):
                fill = Decimal(heap.draw_ul) / 1000
            if fill is not None:
                row["fill_ml"] = fill
            tubes.append(row)
    if not tubes:
        raise OrderError("found no tube ticked; expected one at least; tick what goes into the runs", where="spin")
    rows = []
    for centrifuge in visit.desk.site.centrifuges:
        row = {"name": centrifuge.key, "in_use": bool(visit.said(f"in_use {centrifuge.key}"))}
        if (temp := number_said(visit, f"stands_c {centrifuge.key}")) is not None:
            row["temp_c"] = temp
        rows.append(row)
    data = json.dumps({"tubes": tubes, "centrifuges": rows}, default=_plain).encode()
    taken = {id: tube for id, tube in waiting.recorded.items() if any(row["id"] == id for row in tubes)}
    return load_centrifuges(
        data, visit.desk.site, where="spin", now=visit.desk.now(), most_steps=MOST_STEPS, recorded=taken
    )


def _plain(value: object) -> float | int:
    """A number of the form for the JSON that the reader of waiting tubes takes."""
    assert isinstance(value, Decimal)
    return int(value) if value == int(value) else float(value)


def key_of(heap: Heap) -> str:
    """What the form calls these tubes, such as "citrate 2.7"."""
    return f"{heap.kind} {millilitres_text(heap.draw_ul)}"


def _asked(visit: Visit, waiting: Waiting) -> dict[str, Any]:
    site = visit.desk.site
    times = Times(site, visit.desk.now())
    is_sent = visit.method == "POST" and visit.said("do") == "plan"
    specimens = {one.specimen.id: one.specimen for one in visit.desk.board.known()}
    taken = set(visit.all_said("take"))
    types = []
    for heap in waiting.heaps:
        first = specimens[heap.tubes[0].id]
        key = key_of(heap)
        rows = tuple(
            (one.id, times.short(one.tube.ready_at) if one.tube.ready_at > times.now else "",
             times.short(one.tube.due_at), not is_sent or one.id in taken, visit.said(f"fill {one.id}"))
            for one in heap.tubes
        )  # fmt: skip
        types.append(
            TypeOf(
                key=key, name=kind_of(first, site), size=f"{millilitres_text(heap.draw_ul)} mL",
                cap=cap_of(first, site), diameter=visit.said(f"diameter {key}"),
                is_full=bool(visit.said(f"full {key}")), tubes=rows,
            )
        )  # fmt: skip
    machines = [
        (one.key, f"{one.rotor}, {one.radius_mm / 10:g} cm, {2 * sum(row.pairs for row in one.places)} places",
         not is_sent or bool(visit.said(f"in_use {one.key}")), visit.said(f"stands_c {one.key}"))
        for one in site.centrifuges
    ]  # fmt: skip
    return {
        "types": types, "machines": machines, "more": waiting.more, "no_program": waiting.unknown,
        "elsewhere": waiting.elsewhere, "runs": (), "headline": "",
    }  # fmt: skip


def _shown(loads: SpinLoads, visit: Visit) -> dict[str, Any]:
    specimens = {one.specimen.id: one.specimen for one in visit.desk.board.known()}
    caps = {id: cap_of(specimens[id], loads.site) for id in loads.tubes}
    return {
        "headline": headline_words(loads), "proof": proof_words(loads), "warnings": loads.warnings(),
        "runs": [_run(loads, number, run, caps) for number, run in enumerate(loads.plan.runs, start=1)],
        "left_out": [(left.tube, left.reason) for left in loads.plan.left_out],
        "programs": [program_words(purpose) for purpose in loads.purposes()], "always_spin": ALWAYS,
        "is_proved": loads.plan.is_optimal,
    }  # fmt: skip


def _run(loads: SpinLoads, number: int, run: SpinRun, caps: dict[str, Cap]) -> RunShown:
    temperature = "room temperature" if run.temp_c is None else f"{run.temp_c} C"
    done: set[str] = set()
    pairs = []
    by_place = {one.place: one for one in run.filled}
    for one in run.filled:
        if one.place not in done:
            done |= {one.place, one.opposite}
            pairs.append(f"{_named(loads, one)} opposite {_named(loads, by_place[one.opposite])}")
    late = tuple(
        f"{tube}: its run ends {lasting(late_s)} after it is due"
        for tube in run.tubes
        if (late_s := loads.late_s(tube, run))
    )
    return RunShown(
        number=number, centrifuge=run.centrifuge, start=clock_words(loads, run.start_s)[:5],
        end=clock_words(loads, run.end_s)[:5],
        setting=f"{loads.force_g(run)} g ({run.rpm} rpm), {lasting(run.spin_s)} at speed, {temperature}",
        rcf_g=loads.force_g(run), minutes=f"{run.spin_s / 60:g}", temp_c="" if run.temp_c is None else str(run.temp_c),
        picture=rotor_picture(loads.centrifuge_of(run), run, caps), pairs=tuple(pairs), tubes=run.tubes, late=late,
    )  # fmt: skip


def _named(loads: SpinLoads, place: Filled) -> str:
    if place.tube is None:
        return f"place {place.place} blank like {place.like}"
    return f"place {place.place} {place.tube} ({loads.tubes[place.tube].type})"
