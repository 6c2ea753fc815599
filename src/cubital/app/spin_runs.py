"""The tubes that wait at the bench for their spin, type by type, and a run that is over, written down once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime

import msgspec

from cubital.app.deeds import Doer, record_spin
from cubital.app.known import Known
from cubital.app.record import SpecimenRecord
from cubital.app.spin_loads import waiting_tubes
from cubital.errors import KeyReused, LostRace
from cubital.model import Site
from cubital.model.centrifuge import RecordedTube
from cubital.model.record import Recorded
from cubital.model.specimen import Spun

MOST_TUBES = 40
"""So many tubes are planned at once: for so many the best runs are found and proved."""
_LAST = datetime.max.replace(tzinfo=UTC)


class Waits(msgspec.Struct, frozen=True, kw_only=True):
    """One tube that waits: its name, until when it clots, by when its run must be over."""

    id: str
    tube: RecordedTube


class Heap(msgspec.Struct, frozen=True, kw_only=True):
    """Tubes of one kind and size, the most urgent first."""

    kind: str
    draw_ul: int
    tubes: tuple[Waits, ...]


class Waiting(msgspec.Struct, frozen=True, kw_only=True):
    """What waits for its spin: the most urgent tubes by kind and size, and how many were left for later.

    `unknown` are tubes that no source says how to spin; `elsewhere` counts those that were not received yet.
    """

    heaps: tuple[Heap, ...]
    more: int
    unknown: tuple[str, ...]
    elsewhere: int

    @property
    def recorded(self) -> Mapping[str, RecordedTube]:
        """The tubes by name."""
        return {one.id: one.tube for heap in self.heaps for one in heap.tubes}


def waiting_for_spin(known: Iterable[Known], site: Site) -> Waiting:
    """What of these specimens was received and waits for its first spin."""
    specimens = {one.specimen.id: one for one in known}
    found = {id: tube for id, tube in waiting_tubes(specimens.values(), site).items() if not tube.was_spun}
    here = {id: tube for id, tube in found.items() if specimens[id].specimen.received_at is not None}
    spun = sorted(
        ((id, tube) for id, tube in here.items() if tube.purpose is not None),
        key=lambda one: (one[1].due_at or _LAST, one[0]),
    )
    heaps: dict[tuple[str, int], list[Waits]] = {}
    for id, tube in spun[:MOST_TUBES]:
        heaps.setdefault((tube.kind, tube.draw_ul), []).append(Waits(id=id, tube=tube))
    return Waiting(
        heaps=tuple(Heap(kind=kind, draw_ul=draw, tubes=tuple(tubes)) for (kind, draw), tubes in heaps.items()),
        more=max(0, len(spun) - MOST_TUBES),
        unknown=tuple(id for id, tube in here.items() if tube.purpose is None), elsewhere=len(found) - len(here),
    )  # fmt: skip


def record_run(
    record: SpecimenRecord, ids: Sequence[str], doer: Doer, *, rcf_g: int, spin_s: int, temperature_c: int
) -> Recorded:
    """Write that these tubes were in one run that is over; sent twice, it is written once.

    Raises `LostRace` where somebody wrote the first spin of one of them before: then nothing is written.
    """
    same = (doer.by, doer.station, rcf_g, spin_s, temperature_c)
    _refuse_spun(record, ids, same)
    try:
        return record_spin(record, ids, doer, rcf_g=rcf_g, spin_s=spin_s, temperature_c=temperature_c)
    except KeyReused:
        # Written by another between the look and the writing.
        _refuse_spun(record, ids, same)
        return record_spin(record, ids, doer, rcf_g=rcf_g, spin_s=spin_s, temperature_c=temperature_c)


def _refuse_spun(record: SpecimenRecord, ids: Sequence[str], same: tuple[object, ...]) -> None:
    for id in ids:
        entry = record.find(f"spun/{id}")
        if entry is None or not isinstance(entry.content, Spun):
            continue
        was = entry.content
        if (was.by, was.station, was.rcf_g, was.spin_s, was.temperature_c) != same:
            raise LostRace(
                f"cannot be spun: {was.by} at {was.station} wrote its spin before; expected one that was not; take it "
                "out of this run; nothing of it was recorded",
                where=f"specimen {id}", specimen=id, by=was.by, station=was.station, at=entry.recorded_at, did="spun",
            )  # fmt: skip
