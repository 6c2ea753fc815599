"""What can be done with one specimen now and what not, and why; and a deed of a person who had seen it as it was then.

What cannot have happened is the record's own rule (`handling.record`): each deed is tried on the state, none written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any, Literal

import msgspec

from cubital.app.deeds import (
    Doer,
    record_discard,
    record_pouring,
    record_result,
    record_spin,
    record_storage,
)
from cubital.app.known import Known
from cubital.app.record import SpecimenRecord
from cubital.errors import ImpossibleEvent, KeyReused, LostRace, OrderError
from cubital.handling.clock_steps import spin_of
from cubital.handling.keeping import PLACES
from cubital.handling.record import follow, refuse_by_parents
from cubital.handling.stability import is_spun_for
from cubital.model import Site
from cubital.model.record import Entry, Recorded
from cubital.model.specimen import (
    Added,
    Aliquoted,
    AnyEvent,
    Collected,
    Discarded,
    Judged,
    Poured,
    Received,
    Reported,
    Specimen,
    Spun,
    StorageKey,
    Stored,
)  # fmt: skip
from cubital.planning.spins import spin_text

DeedKey = Literal["spun", "stored", "poured", "reported", "discarded"]
DEEDS: tuple[DeedKey, ...] = ("spun", "stored", "poured", "reported", "discarded")
_KINDS: dict[DeedKey, type] = {
    "spun": Spun, "stored": Stored, "poured": Aliquoted, "reported": Reported, "discarded": Discarded,
}  # fmt: skip
MOST_AGO_MIN = 1440


class Choice(msgspec.Struct, frozen=True, kw_only=True):
    """One deed: `refused` says why it cannot be done now, empty where it can; `hint` what to know before.

    `tests` are those that it can be done for; `places` the storages it can go to. `is_final` says that no later deed
    takes it back, so that it is asked once more.
    """

    deed: DeedKey
    refused: str = ""
    hint: str = ""
    tests: tuple[str, ...] = ()
    places: tuple[StorageKey, ...] = ()
    is_final: bool = True


class Deed(msgspec.Struct, frozen=True, kw_only=True):
    """What a person says was done; only what belongs to its kind is looked at."""

    kind: DeedKey
    rcf_g: int | None = None
    spin_s: int | None = None
    temperature_c: int | None = None
    storage: StorageKey | None = None
    into: str = ""
    volume_ul: int | None = None
    tests: tuple[str, ...] = ()
    why: str = ""
    ago_min: int = 0


def choices_of(record: SpecimenRecord, known: Known, site: Site, *, now: datetime) -> tuple[Choice, ...]:
    """Every deed, with why it is refused where this specimen cannot have it now."""
    return tuple(_choice(deed, record, known.specimen, site, now) for deed in DEEDS)


def _choice(deed: DeedKey, record: SpecimenRecord, specimen: Specimen, site: Site, now: datetime) -> Choice:
    told: dict[str, Any] = {"key": "trial", "specimen": specimen.id, "at": now, "by": "trial", "station": "trial"}
    parents = tuple(_parents(record, specimen))

    def refused(event: AnyEvent) -> str:
        try:
            follow(specimen, event)
            refuse_by_parents(event, parents)
        except ImpossibleEvent as error:
            return error.message
        return ""

    if deed == "spun":
        why = refused(Spun(rcf_g=1, spin_s=1, temperature_c=20, **told))
        if specimen.spins and not why:
            why = "spun before; expected a first run; another one is written at the prompt, with a key of its own"
        return Choice(deed=deed, refused=why, hint=_spin_hint(specimen, site))
    if deed == "stored":
        here = specimen.stays[-1].storage if specimen.stays else None
        places = tuple(place for place in PLACES if place != here)
        said = "where it is was never recorded" if here is None else f"recorded {PLACES[here]}"
        return Choice(
            deed=deed, refused=refused(Stored(storage=places[0], **told)), hint=said, places=places, is_final=False
        )
    if deed == "poured":
        least = refused(Aliquoted(child=f"{specimen.id}/trial", volume_ul=1, **told))
        return Choice(deed=deed, refused=least, tests=specimen.waiting)
    if deed == "reported":
        whys = {test: refused(Reported(test=test, volume_ul=0, **told)) for test in specimen.waiting}
        can = tuple(test for test, why in whys.items() if not why)
        gone = refused(Discarded(why="trial", **told)) or "found no test that waits, expected one at least"
        return Choice(deed=deed, refused="" if can else next(iter(whys.values()), gone), tests=can)
    return Choice(deed=deed, refused=refused(Discarded(why="trial", **told)), hint=_waiting_hint(specimen))


def _waiting_hint(specimen: Specimen) -> str:
    waits = len(specimen.waiting)
    if not waits:
        return ""
    return "1 test of it still waits" if waits == 1 else f"{waits} tests of it still wait"


def _spin_hint(specimen: Specimen, site: Site) -> str:
    tests = tuple(site.tests[key] for key in specimen.waiting if key in site.tests)
    spun = tuple(test for test in tests if is_spun_for(test, specimen.matrix))
    if not spun:
        return "no test that waits here is measured off the cells"
    found = spin_of(specimen, spun)
    return "no source says how" if found is None else f"asked: {spin_text(found)}"


def _parents(record: SpecimenRecord, specimen: Specimen) -> Iterator[Specimen]:
    while specimen.parent is not None and (parent := record.specimen(specimen.parent)) is not None:
        yield parent
        specimen = parent


def try_deed(
    record: SpecimenRecord, id: str, deed: Deed, *, by: str, station: str, now: datetime, seen: int, key: str
) -> Recorded:
    """What this deed would leave of the specimen; nothing is written. Raises what `do_deed` raises."""
    return _do(record, id, deed, _doer(deed, by, station, now, seen, key, is_trial=True))


def do_deed(
    record: SpecimenRecord, id: str, deed: Deed, *, by: str, station: str, now: datetime, seen: int, key: str
) -> Recorded:
    """Write this deed of one who had seen so many events of the specimen; sent twice, it is written once.

    Raises `LostRace`, which says who was first, where anything was recorded of it since; `OrderError` for what is not
    said, and `ImpossibleEvent` for what cannot have happened.
    """
    doer = _doer(deed, by, station, now, seen, key, is_trial=False)
    try:
        return _do(record, id, deed, doer)
    except KeyReused:
        # The same form sent twice at one moment, or the same first run written elsewhere meanwhile.
        try:
            return _do(record, id, deed, doer)
        except KeyReused:
            raise _overtaken(record, id, deed, seen) from None


def _doer(
    deed: Deed, by: str, station: str, now: datetime, seen: int, key: str, *, is_trial: bool
) -> Doer:
    if not 0 <= deed.ago_min <= MOST_AGO_MIN:
        raise OrderError(f"found {deed.ago_min} minutes ago; expected 0 to {MOST_AGO_MIN}", where="when")
    at = now - timedelta(minutes=deed.ago_min)
    # The first run of a tube has one key wherever it is written: here, at the rotors or at the prompt.
    own = None if deed.kind == "spun" else f"did/{key}"
    return Doer(by, station, at, own, seen=seen, is_trial=is_trial)


def _do(record: SpecimenRecord, id: str, deed: Deed, doer: Doer) -> Recorded:
    specimen = record.specimen(id)
    if specimen is not None and doer.seen is not None and specimen.events > doer.seen:
        before = record.find(f"{doer.key}/{id}" if doer.key else f"spun/{id}")
        if before is None or (before.content.by, before.content.station) != (doer.by, doer.station):
            raise _overtaken(record, id, deed, doer.seen)
    return _WRITERS[deed.kind](record, id, deed, doer)


def _overtaken(record: SpecimenRecord, id: str, deed: Deed, seen: int) -> LostRace:
    history = record.history(id)
    same = [entry for entry in history[seen:] if isinstance(entry.content, _KINDS[deed.kind])]
    first = (same or history[seen:] or history)[0]
    did = type(first.content).__name__.lower()
    return LostRace(
        f"cannot be {deed.kind}: {first.content.by} at {first.content.station} was first, it was {did}; nothing of "
        "this was recorded; look at it again",
        where=f"specimen {id}", specimen=id, expected=seen, found=len(history), by=first.content.by,
        station=first.content.station, at=first.recorded_at, did=did,
    )  # fmt: skip


def _spin(record: SpecimenRecord, id: str, deed: Deed, doer: Doer) -> Recorded:
    if deed.rcf_g is None or deed.spin_s is None or deed.temperature_c is None:
        raise OrderError("found no whole run; expected force, time and temperature, as it ran", where="run")
    return record_spin(
        record, (id,), doer, rcf_g=deed.rcf_g, spin_s=deed.spin_s, temperature_c=deed.temperature_c
    )


def _store(record: SpecimenRecord, id: str, deed: Deed, doer: Doer) -> Recorded:
    if deed.storage is None:
        raise OrderError(f"found no place; expected one of {', '.join(PLACES)}", where="storage")
    return record_storage(record, (id,), doer, storage=deed.storage)


def _pour(record: SpecimenRecord, id: str, deed: Deed, doer: Doer) -> Recorded:
    if not deed.into or deed.volume_ul is None:
        raise OrderError("expected the name on the label of the new specimen, and how much went into it", where="into")
    return record_pouring(record, id, doer, into=deed.into, volume_ul=deed.volume_ul, tests=deed.tests)


def _report(record: SpecimenRecord, id: str, deed: Deed, doer: Doer) -> Recorded:
    if len(deed.tests) != 1:
        raise OrderError(f"found {len(deed.tests)} tests; expected the one whose result was released", where="test")
    return record_result(record, id, doer, test=deed.tests[0], volume_ul=deed.volume_ul or 0)


def _discard(record: SpecimenRecord, id: str, deed: Deed, doer: Doer) -> Recorded:
    return record_discard(record, (id,), doer, why=deed.why)


_WRITERS: dict[DeedKey, Callable[[SpecimenRecord, str, Deed, Doer], Recorded]] = {
    "spun": _spin, "stored": _store, "poured": _pour, "reported": _report, "discarded": _discard,
}  # fmt: skip


def happening_words(entries: Sequence[Entry]) -> tuple[tuple[Entry, str], ...]:
    """What happened to a specimen in words, oldest first; no patient in it."""
    return tuple((entry, _words(entry.content)) for entry in entries)


def _words(content: object) -> str:
    match content:
        case Collected():
            return "taken"
        case Poured(aliquot=aliquot):
            return f"poured off {aliquot.parent}"
        case Received():
            return "received"
        case Judged(verdicts=verdicts):
            refused = sum(one.outcome == "refuse" for one in verdicts)
            return f"judged: {len(verdicts)} verdict{'' if len(verdicts) == 1 else 's'}, {refused} refused"
        case Spun(rcf_g=rcf_g, spin_s=spin_s, temperature_c=temperature_c):
            return f"spun at {rcf_g} g for {spin_s / 60:g} min at {temperature_c} C"
        case Stored(storage=storage):
            return f"put {PLACES[storage]}"
        case Aliquoted(child=child, volume_ul=volume_ul):
            return f"{volume_ul} uL poured into {child}"
        case Reported(test=test):
            return f"result of {test} released"
        case Added(tests=tests):
            return f"added: {', '.join(tests)}"
        case Discarded(why=why):
            return f"thrown away: {why}"
    return type(content).__name__.lower()
