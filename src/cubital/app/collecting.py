"""Put what a plan drew into the record: one specimen a tube, all of one draw or none, once."""

from __future__ import annotations

from datetime import datetime
from typing import Any, NamedTuple

from cubital.app.record import SpecimenRecord
from cubital.app.unsettled import refuse_unsettled
from cubital.errors import OrderError
from cubital.model import Order, Plan, PlannedTube
from cubital.model.record import Recorded, Step
from cubital.model.specimen import Collected

COLLECT_FORMAT = "cubital.collect/1"
ANTICOAGULATED = "anticoagulated"


class Taken(NamedTuple):
    """Who drew what from whom: opaque keys of the site, and the first part of each specimen's name.

    `irreplaceable` says why none of it can be drawn again; None where it can.
    """

    prefix: str
    patient: str
    by: str
    station: str
    draw: int = 1
    irreplaceable: str | None = None


def specimens_of(plan: Plan, draw: int) -> tuple[PlannedTube, ...]:
    """The tubes of this draw that become specimens: collect tubes and culture bottles, never a discard."""
    return tuple(tube for tube in plan.tubes if tube.draw == draw and tube.purpose != "discard")


def collect(record: SpecimenRecord, plan: Plan, order: Order, taken: Taken, *, at: datetime) -> Recorded:
    """Record every specimen of one draw as collected at this instant (aware, UTC), in one transaction.

    A specimen is named `prefix-position`. A retry under the same names keeps the instant that was recorded
    first, so it doubles nothing. Raises `OrderError` where the draw has no specimen or someone is not named, and
    `UnsettledWords` where the plan leaves out words of its order.
    """
    refuse_unsettled(plan.unsettled)
    for what, said in (("--prefix", taken.prefix), ("--patient", taken.patient), ("--by", taken.by)):
        if not said.strip():
            raise OrderError("found nothing; expected a key of the site; name it", where=what)
    tubes = specimens_of(plan, taken.draw)
    if not tubes:
        numbers = ", ".join(str(draw.number) for draw in plan.draws) or "none"
        raise OrderError(f"found no specimen in draw {taken.draw}; expected one of the draws {numbers}", where="--draw")
    events = [collected_of(tube, order, taken, at) for tube in tubes]
    known = record.find(events[0].key)
    if known is not None:
        events = [collected_of(tube, order, taken, known.content.at) for tube in tubes]
    return record.append(*(Step(event=event, expected=0) for event in events))


def collected_of(tube: PlannedTube, order: Order, taken: Taken, at: datetime) -> Collected:
    """The first event of the specimen in this tube, which is named `prefix-position`."""
    name = f"{taken.prefix}-{tube.position}"
    return Collected(
        key=f"{name}/collected", specimen=name, at=at, by=taken.by, station=taken.station, patient=taken.patient,
        kind=tube.kind, additive=tube.additive, gel=tube.gel, matrix=tube.matrix or "whole-blood",
        draw_ul=tube.draw_ul, usable_ul=tube.draw_ul if tube.usable_ul is None else tube.usable_ul,
        tests=tube.tests, order=order.id, hematocrit=order.patient.hematocrit,
        anticoagulated=ANTICOAGULATED in order.patient.flags, irreplaceable=(taken.irreplaceable or "").strip() or None,
        access=order.access,
    )  # fmt: skip


def collect_document(recorded: Recorded) -> dict[str, Any]:
    """What is in the record now, as the JSON of `cubital collect`."""
    return {
        "format": COLLECT_FORMAT,
        "repeat": recorded.is_repeat,
        "specimens": [
            {"specimen": s.id, "kind": s.kind, "tests": list(s.tests), "collected_at": s.collected_at.isoformat()}
            for s in recorded.specimens
        ],
    }
