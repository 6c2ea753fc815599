"""The blood of a patient that the record of specimens holds: into the order whose limit it counts for, and as draws."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta, timezone
from itertools import groupby
from zoneinfo import ZoneInfo

import msgspec

from cubital.app.blood_loss import DrawnBlood, DrawnTube
from cubital.app.record import SpecimenRecord
from cubital.errors import RecordError
from cubital.model import Order, Patient, Recorded, Site
from cubital.model.specimen import Specimen
from cubital.planning.caps import DAY_H, periods_h, policies_for


def specimens_on_record(record: SpecimenRecord, patient: str) -> tuple[Specimen, ...]:
    """Every specimen of this patient, aliquots and discarded ones too; raises `RecordError` where there is none.

    A key without any is more often a slip than a patient whose first draw this is.
    """
    found = record.specimens_of(patient)
    if not found:
        raise RecordError(
            "found no specimen of this patient; expected one at least; check the key, or leave it out at a first draw",
            where="patient",
        )
    return found


def with_recorded(order: Order, site: Site, specimens: Iterable[Specimen], *, now: datetime) -> Order:
    """The order with what the record has of the patient's blood, by the periods of the caps that hold.

    Where the order says nothing of blood drawn before, that of the shortest period is taken; what it says goes before.
    `now` is aware; `specimens` are of the one patient.
    """
    patient = order.patient
    since, until = window(order, site, now)
    taken = [one for one in specimens if one.parent is None]
    periods = periods_h(policies_for(patient, site), patient.age_h) or (DAY_H,)
    recorded = tuple(
        Recorded(period_h=period_h, volume_ul=_volume_ul(taken, since - timedelta(hours=period_h), until))
        for period_h in sorted({DAY_H, *periods})
    )
    shortest_ul = next(row.volume_ul for row in recorded if row.period_h == periods[0])
    known: Patient = msgspec.structs.replace(
        patient, recorded=recorded, drawn_ul=patient.drawn_ul if patient.drawn_ul else shortest_ul
    )
    return msgspec.structs.replace(order, patient=known)


def window(order: Order, site: Site, now: datetime) -> tuple[datetime, datetime]:
    """The instants between which the draw of this order may be: one and the same where it is now.

    A draw on another day may be at any time of that day at the site, so the most blood is counted.
    """
    if order.now is not None:
        return order.now, order.now
    zone = ZoneInfo(site.time_zone)
    if order.on is None or order.on == now.astimezone(zone).date():
        return now, now
    first = datetime(order.on.year, order.on.month, order.on.day, tzinfo=zone)
    return first, first + timedelta(days=1)


def _volume_ul(specimens: Sequence[Specimen], after: datetime, until: datetime) -> int:
    """What was drawn in this span; a draw just one period before the next one is not in it."""
    return sum(one.draw_ul for one in specimens if after < one.collected_at <= until)


def drawn_blood(specimens: Iterable[Specimen], site: Site) -> tuple[DrawnBlood, ...]:
    """The draws that these specimens came from: those of one instant are one draw.

    Tubes and tests are told only where the site still has all of them.
    """
    zone = ZoneInfo(site.time_zone)
    taken = sorted((one for one in specimens if one.parent is None), key=lambda one: one.collected_at)
    draws = []
    for at, group in groupby(taken, key=lambda one: one.collected_at):
        tubes = tuple(group)
        local = at.astimezone(zone)
        # With its offset alone, for instants of one zone are subtracted as the clocks showed them.
        local = local.replace(tzinfo=timezone(local.utcoffset() or timedelta(0)))
        tests = tuple(dict.fromkeys(test for one in tubes for test in one.tests))
        draws.append(
            DrawnBlood(
                at=local, volume_ul=sum(one.draw_ul for one in tubes),
                tubes=tuple(DrawnTube(kind=one.kind, volume_ul=one.draw_ul) for one in tubes)
                if all(one.kind in site.kinds for one in tubes) else (),
                tests=tests if all(test in site.tests for test in tests) else (),
            )
        )  # fmt: skip
    return tuple(draws)
