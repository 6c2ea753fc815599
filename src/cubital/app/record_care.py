"""Care of a record: is it what was written, a backup of it, and a restore into an empty one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice

import msgspec

from cubital.app.ports import RecordReading, RecordStore, RecordWriting
from cubital.errors import BrokenChain, ImpossibleEvent, RecordError, UnreadyRecord
from cubital.handling.chain import EMPTY, event_of, head_of, meets, read_moment, walk
from cubital.handling.record import begin, follow, pour
from cubital.model.record import Head, Link
from cubital.model.specimen import Aliquoted, Specimen

MOST_FAULTS = 20
_CHUNK = 1000


class CheckedRecord(msgspec.Struct, frozen=True, kw_only=True):
    """What a look over a whole record found; `faults` are of states and files, the chain being whole.

    `behind` counts entries for which the clock stood behind the record, `trusted` how often a
    person vouched for a clock.
    """

    head: Head
    specimens: int
    behind: int
    trusted: int
    faults: tuple[str, ...]


def check_record(store: RecordStore, *, noted: Sequence[Head] = ()) -> CheckedRecord:
    """Whether each entry is what was sealed, each event can have happened, and each state is what its events say.

    Raises `BrokenChain` at the first entry that does not fit its seal or a head `noted` elsewhere,
    and where the record ends before that head.
    """
    with store.reading() as record:
        faults = list(record.find_damage())
        head, behind, trusted = _check_chain(record, noted)
        count = 0
        for links in record.histories():
            count += 1
            if len(faults) < MOST_FAULTS:
                faults += _faults_of(record, links)
        if count != (kept := record.count_states()):
            faults.append(f"{kept} states are kept for {count} specimens; run: cubital db rebuild")
    return CheckedRecord(head=head, specimens=count, behind=behind, trusted=trusted, faults=tuple(faults))


def restore_record(source: Iterable[Link], head: Head, store: RecordStore) -> Head:
    """Put the entries that end with this head into a record that has none, all of them or nothing.

    Raises `UnreadyRecord` where it has some, and `BrokenChain` where the entries do not fit each
    other or the head.
    """
    with store.writing() as record:
        if (found := record.head()).sequence:
            raise UnreadyRecord(
                f"found {found.sequence} entries; a record is restored into an empty one; name a new database",
                where=store.where,
            )
        last: Head = EMPTY
        links = walk(source)
        while chunk := list(islice(links, _CHUNK)):
            record.append(chunk, ())
            last = head_of(chunk[-1])
        if (last.sequence, last.hash) != (head.sequence, head.hash):
            raise BrokenChain(
                f"found the end {last}, expected {head} as its head says; it was cut short; nothing was restored",
                where=f"record entry {last.sequence + 1}",
                sequence=last.sequence + 1,
            )
        _rebuild(record)
        return last


def rebuild_states(store: RecordStore) -> int:
    """Compute every state anew from its events and keep it; how many there are. No event is touched."""
    with store.writing() as record:
        return _rebuild(record)


def read_back(source: Iterable[Link], head: Head) -> None:
    """Raise `BrokenChain` where what was written to a backup is not the chain that ends with this head."""
    last: Head = EMPTY
    for link in walk(source):
        last = Head(sequence=link.sequence, hash=link.hash)
    if (last.sequence, last.hash) != (head.sequence, head.hash):
        raise BrokenChain(f"found the end {last}, expected {head}", where="backup", sequence=last.sequence + 1)


def _check_chain(record: RecordReading, noted: Sequence[Head]) -> tuple[Head, int, int]:
    behind = trusted = 0
    last = EMPTY
    for link in walk(record.links()):
        for head in noted:
            meets(link, head)
        behind += link.behind_us > 0
        trusted += link.specimen is None
        last = Head(sequence=link.sequence, hash=link.hash, recorded_at=read_moment(link.recorded_at))
    for head in noted:
        if last.sequence < head.sequence:
            raise BrokenChain(
                f"found the end at entry {last.sequence}, expected entry {head.sequence} as noted; the record was cut "
                "short",
                where=f"record entry {last.sequence + 1}",
                sequence=last.sequence + 1,
            )
    return last, behind, trusted


def _faults_of(record: RecordReading, links: Sequence[Link]) -> list[str]:
    """What is wrong with one specimen beside the chain."""
    id = links[0].specimen or ""
    try:
        state = _fold(record, links)
    except RecordError as error:
        return [str(error)]
    if record.specimen(id) != state:
        return [f"specimen {id}: its kept state is not what its events say; run: cubital db rebuild"]
    return []


def _fold(record: RecordReading, links: Sequence[Link]) -> Specimen:
    """The state after these links, each event of which can have happened; aliquots are what was poured."""
    state: Specimen | None = None
    for number, link in enumerate(links, start=1):
        event = event_of(link)
        if link.version != number:
            raise RecordError(f"found version {link.version}, expected {number}", where=f"record entry {link.sequence}")
        before = state
        state = begin(event) if before is None else follow(before, event)
        if before is not None and isinstance(event, Aliquoted):
            _refuse_other_pouring(record, before, event)
    if state is None:
        raise ImpossibleEvent("found no event, expected a collection", where="record")
    return state


def _refuse_other_pouring(record: RecordReading, parent: Specimen, event: Aliquoted) -> None:
    first = record.history(event.child)[:1]
    wanted = pour(parent, event)
    # As it was written before the state said when the cells came off: such a record is still what was written.
    of_old = msgspec.structs.replace(wanted.aliquot, separated_at=None, matrix=parent.matrix)
    if not first or event_of(first[0]) not in (wanted, msgspec.structs.replace(wanted, aliquot=of_old)):
        raise RecordError(
            f"found another first event of {event.child} than its pouring from {parent.id}",
            where=f"specimen {event.child}",
        )


def _rebuild(record: RecordWriting) -> int:
    record.forget_states()
    count = 0
    states = (_fold(record, links) for links in record.histories())
    while chunk := list(islice(states, _CHUNK)):
        record.keep_states(chunk)
        count += len(chunk)
    return count
