"""An invented morning for the demo site: specimens on an empty record, so that a newcomer sees a living board."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, NamedTuple

from cubital.app.collecting import Taken, collect
from cubital.app.deeds import Doer, record_spin, record_storage
from cubital.app.draws import dated, plan_order
from cubital.app.known import known_of
from cubital.app.receipt import Person, record_receipt
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import order_of_words
from cubital.errors import RecordError
from cubital.handling.receipt import Arrival, LabelSeen
from cubital.model import Site
from cubital.model.specimen import Specimen

PREFIX = "INV"
"""What the name of every invented specimen begins with."""
BY, STATION = "nobody (invented)", "demo"


class _Draw(NamedTuple):
    """One invented draw: how long ago, for what; what became of its tubes since."""

    ago_min: int
    tests: tuple[str, ...]
    patient: int
    age: str = "54 a"
    came_after_min: int | None = None
    faults: tuple[str, ...] = ()
    spun_after_min: int | None = None
    cold_after_min: int | None = None
    irreplaceable: str | None = None


_MORNING = (
    _Draw(4, ("K", "Na", "creatinine", "CBC"), 1),
    _Draw(9, ("PT", "aPTT", "troponin-i"), 2, age="71 a"),
    _Draw(13, ("folate serum", "ferritin"), 15, came_after_min=6),
    _Draw(16, ("lactate", "CBC", "CRP"), 3, age="66 a"),
    _Draw(24, ("TSH", "ferritin", "glucose", "K"), 4, came_after_min=12),
    _Draw(34, ("PT", "Na", "K", "ALT", "CBC"), 5, came_after_min=15),
    _Draw(38, ("ammonia",), 6, age="47 a"),
    _Draw(47, ("CK", "troponin-i", "CBC"), 7, age="80 a", came_after_min=20),
    _Draw(58, ("bilirubin total", "CRP", "CBC"), 8, age="5 d", irreplaceable="newborn, at the limit of the day"),
    _Draw(75, ("PT", "D-dimer"), 9, came_after_min=30),
    _Draw(113, ("K", "LD", "phosphate"), 10, age="39 a", came_after_min=70),
    _Draw(115, ("CBC", "PT"), 11, came_after_min=25, faults=("clotted",)),
    _Draw(130, ("TSH", "vitamin B12"), 12, came_after_min=20, spun_after_min=70),
    _Draw(150, ("Na", "K", "lipase"), 13, came_after_min=25, spun_after_min=45, cold_after_min=80),
    _Draw(270, ("aPTT", "PT"), 14, age="62 a", came_after_min=35),
)  # fmt: skip


def offers_morning(record: SpecimenRecord, *, is_demo: bool) -> bool:
    """Whether an invented morning may be put in: only at the demo site, and only while nothing is recorded."""
    return is_demo and record.head().sequence == 0


def invent_morning(record: SpecimenRecord, site: Site, *, now: datetime) -> int:
    """Put the invented morning into this empty record and say how many specimens it has.

    Raises `RecordError` where anything is recorded already: invented specimens never stand among others.
    """
    if record.head().sequence:
        raise RecordError(
            "found a record with entries; expected an empty one: invented specimens stand among no others; make a "
            "record of its own: cubital db upgrade --db demo.db",
            where="demo",
        )
    count = 0
    for number, draw in enumerate(_MORNING, start=1):
        specimens = _collected(record, site, draw, number, now)
        count += len(specimens)
        _brought_on(record, site, draw, specimens, now)
    return count


def _collected(
    record: SpecimenRecord, site: Site, draw: _Draw, number: int, now: datetime
) -> tuple[Specimen, ...]:
    at = (now - timedelta(minutes=draw.ago_min)).replace(microsecond=0)
    fields: dict[str, Any] = {"tests": list(draw.tests), "patient": {"age": draw.age}}
    order = dated(order_of_words(fields, where="demo", today=at.date()), at.date())
    plan = plan_order(order, site, today=at.date())
    taken = Taken(
        f"{PREFIX}{number:02d}", f"invented-{draw.patient:02d}", BY, STATION, irreplaceable=draw.irreplaceable
    )
    return collect(record, plan, order, taken, at=at).specimens


def _brought_on(
    record: SpecimenRecord, site: Site, draw: _Draw, specimens: tuple[Specimen, ...], now: datetime
) -> None:
    def when(after_min: int) -> datetime:
        return (now - timedelta(minutes=draw.ago_min - after_min)).replace(microsecond=0)

    if draw.came_after_min is None:
        return
    for known in known_of(record, specimens):
        is_clotted = "clotted" in draw.faults and known.specimen.matrix == "whole-blood"
        arrival = Arrival(
            at=when(draw.came_after_min), label=LabelSeen(agree=2, has_time=True, has_collector=True),
            is_expired=False, is_clotted=is_clotted, fill_percent=100, has_leaked=False, was_open=False, was_dark=True,
        )  # fmt: skip
        record_receipt(record, known, site, arrival, Person(by=BY, station=STATION))
    spinnable = [one.id for one in specimens if one.matrix in ("serum", "plasma")]
    if draw.spun_after_min is not None and spinnable:
        doer = Doer(BY, STATION, when(draw.spun_after_min))
        record_spin(record, spinnable, doer, rcf_g=1500, spin_s=600, temperature_c=21)
    if draw.cold_after_min is not None:
        record_storage(record, [one.id for one in specimens], Doer(BY, STATION, when(draw.cold_after_min)),
                       storage="cold")  # fmt: skip
