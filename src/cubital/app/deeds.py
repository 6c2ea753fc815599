"""What was done at the bench, written into the record once: spun, stored, poured off, reported, thrown away."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from cubital.app.known import instant_text
from cubital.app.record import SpecimenRecord
from cubital.errors import OrderError, RecordError
from cubital.handling.record import follow
from cubital.model import Site
from cubital.model.record import Recorded, Step
from cubital.model.specimen import Aliquoted, AnyEvent, Discarded, Reported, Specimen, Spun, StorageKey, Stored
from cubital.model.writable import COLDEST_C, MOST_RCF_G, MOST_SPIN_S, WARMEST_C
from cubital.planning.directory import Directory

FORMAT = "cubital.did/1"
MOST_AT_ONCE = 500


class Doer(NamedTuple):
    """Who did it, where and when (aware, UTC); `key` of this deed, where the one by the specimen does not serve.

    `seen` is how many events of the specimen the doer had seen, None for all that there are; a trial writes nothing.
    """

    by: str
    station: str
    at: datetime
    key: str | None = None
    seen: int | None = None
    is_trial: bool = False


def record_spin(
    record: SpecimenRecord, ids: Sequence[str], doer: Doer, *, rcf_g: int, spin_s: int, temperature_c: int
) -> Recorded:
    """Write that these tubes were in one run, which had come to rest at the instant of the doer; all or none.

    Without a key of its own a tube's first run is meant: sent again, nothing is written. A second run of a tube
    without gel asks for a key. Raises `OrderError` for a run that no centrifuge makes.
    """
    _within(rcf_g, 1, MOST_RCF_G, "g", where="force")
    _within(spin_s, 1, MOST_SPIN_S, "s", where="time")
    _within(temperature_c, COLDEST_C, WARMEST_C, "C", where="temperature")

    def event(one: Specimen, told: dict[str, Any]) -> AnyEvent:
        return Spun(rcf_g=rcf_g, spin_s=spin_s, temperature_c=temperature_c, **told)

    return _write(record, ids, doer, event, name=lambda one: f"spun/{one.id}")


def record_storage(record: SpecimenRecord, ids: Sequence[str], doer: Doer, *, storage: StorageKey) -> Recorded:
    """Write that these specimens were put into this storage; those that are recorded to be there stay as they are."""
    known = _states(record, ids)
    moved = [one.id for one in known if not (one.stays and one.stays[-1].storage == storage)]
    if not moved and doer.key is None:
        return Recorded(entries=(), specimens=tuple(known), is_repeat=True)
    return _write(
        record, moved or ids, doer, lambda one, told: Stored(storage=storage, **told),
        name=lambda one: f"stored/{one.id}/{len(one.stays) + 1}",
    )  # fmt: skip


def record_pouring(
    record: SpecimenRecord, id: str, doer: Doer, *, into: str, volume_ul: int, tests: Sequence[str] = ()
) -> Recorded:
    """Write that so much of a specimen went into a new one, for these tests of it.

    Whoever pours says which tests go along: they wait in the aliquot from then on, and no longer in its tube.
    """
    if volume_ul <= 0:
        raise OrderError(f"found {volume_ul} uL; expected more than none", where="volume")

    def event(one: Specimen, told: dict[str, Any]) -> AnyEvent:
        return Aliquoted(child=into, volume_ul=volume_ul, tests=tuple(tests), **told)

    return _write(record, (id,), doer, event, name=lambda one: f"poured/{one.id}/{into}")


def record_result(record: SpecimenRecord, id: str, doer: Doer, *, test: str, volume_ul: int = 0) -> Recorded:
    """Write that a result of this test was released, which used so much of the specimen."""
    return _write(
        record, (id,), doer, lambda one, told: Reported(test=test, volume_ul=volume_ul, **told),
        name=lambda one: f"reported/{one.id}/{test}",
    )  # fmt: skip


def record_discard(record: SpecimenRecord, ids: Sequence[str], doer: Doer, *, why: str) -> Recorded:
    """Write that these specimens were thrown away, and why."""
    if not why.strip():
        raise OrderError("found nothing; expected in words why it was thrown away", where="why")
    return _write(
        record, ids, doer, lambda one, told: Discarded(why=why.strip(), **told), name=lambda one: f"discarded/{one.id}"
    )


def named_test(record: SpecimenRecord, id: str, word: str, site: Site) -> str:
    """The test that a word means on this specimen: its own key of one, else what the site's directory says."""
    (one,) = _states(record, (id,))
    if word in one.tests:
        return word
    kind, key = Directory(site).resolve(word, where="test")
    if kind != "test":
        raise OrderError(f"found the panel {key}; expected a test; write each", where="test")
    return key


def _write(
    record: SpecimenRecord, ids: Sequence[str], doer: Doer,
    event: Callable[[Specimen, dict[str, Any]], AnyEvent], *, name: Callable[[Specimen], str],
) -> Recorded:  # fmt: skip
    """Append one event a specimen in one transaction. A retry keeps the instant that was recorded first."""
    if not doer.by.strip():
        raise OrderError("found nobody; expected who did it; name a handle of the site", where="by")
    steps = []
    states = _states(record, ids)
    for one in states:
        key = name(one) if doer.key is None else f"{doer.key}/{one.id}"
        before = record.find(key)
        at = doer.at if before is None else before.content.at
        told = {"key": key, "specimen": one.id, "at": at, "by": doer.by, "station": doer.station}
        steps.append(Step(event=event(one, told), expected=one.events if doer.seen is None else doer.seen))
    if doer.is_trial:
        after = tuple(follow(one, step.event) for one, step in zip(states, steps, strict=True))
        return Recorded(entries=(), specimens=after)
    return record.append(*steps)


def _states(record: SpecimenRecord, ids: Sequence[str]) -> list[Specimen]:
    """The state of each of these; raises `RecordError` where one is not recorded, or none or too many are named."""
    if not 0 < len(ids) <= MOST_AT_ONCE or len(set(ids)) < len(ids):
        raise OrderError(f"found {len(ids)} names; expected 1 to {MOST_AT_ONCE}, each once", where="specimen")
    found = []
    for id in ids:
        specimen = record.specimen(id)
        if specimen is None:
            raise RecordError(
                f"found no specimen {id[:60]!r}; expected one that is recorded; check its label; nothing was recorded",
                where="specimen",
            )
        found.append(specimen)
    return found


def _within(found: int, least: int, most: int, unit: str, *, where: str) -> None:
    if not least <= found <= most:
        raise OrderError(f"found {found} {unit}; expected {least} to {most} {unit}", where=where)


def deed_document(recorded: Recorded) -> dict[str, Any]:
    """What the specimens are now, as one JSON object; no patient in it."""
    return {
        "format": FORMAT,
        "repeat": recorded.is_repeat,
        "specimens": [
            {
                "specimen": one.id, "left_ul": one.left_ul, "storage": one.storage, "spins": len(one.spins),
                "parent": one.parent, "waiting": list(one.waiting), "reported": list(one.reported),
                "discarded": instant_text(one.discarded_at),
            }
            for one in recorded.specimens
        ],
    }  # fmt: skip
