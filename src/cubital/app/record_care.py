"""Care of a record: is it what was written, a backup of it, and a restore into an empty one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import islice

import msgspec

from cubital.app.clock import now as read_now
from cubital.app.ports import RecordReading, RecordStore, RecordWriting
from cubital.errors import BrokenChain, ImpossibleEvent, RecordError, UnreadyRecord
from cubital.handling.chain import EMPTY, event_of, head_of, meets, read_moment, walk
from cubital.handling.record import begin, follow, pour
from cubital.handling.trail import walk_trail
from cubital.model.record import Head, Link, NotedEnds
from cubital.model.specimen import Aliquoted, Specimen

MOST_FAULTS = 20
_CHUNK = 1000


class CheckedRecord(msgspec.Struct, frozen=True, kw_only=True):
    """What a look over a whole record found; `faults` are of states and files, the chain being whole.

    `behind` counts entries for which the clock stood behind the record, `trusted` how often a
    person vouched for a clock. `trail` is where the trail ends, or the last line of it that fits. `met` counts the
    heads noted elsewhere that are in the record and the trail: without one, a cut end may have gone unseen.
    """

    head: Head
    trail: Head
    met: int
    specimens: int
    behind: int
    trusted: int
    faults: tuple[str, ...]


def check_record(
    store: RecordStore, *, noted: Sequence[Head] = (), noted_of_trail: Sequence[Head] = ()
) -> CheckedRecord:
    """Whether each entry is what was sealed, each event can have happened, and each state is what its events say.

    Raises `BrokenChain` at the first entry that does not fit its seal, a head `noted` elsewhere or the one that the
    database noted itself, and where the record ends before that head. A fault of the trail is one of `faults`.
    """
    with store.reading() as record:
        faults = list(record.find_damage())
        own = record.noted_head("record")
        head, behind, trusted = _check_chain(record, [*noted, *([] if own is None else [own])])
        if own is None and head.sequence:
            faults.append("the database has lost its note of where the record ends; someone removed it")
        trail, said = _check_trail(record, noted_of_trail)
        faults += said
        count = 0
        for links in record.histories():
            count += 1
            if len(faults) < MOST_FAULTS:
                faults += _faults_of(record, links)
        if count != (kept := record.count_states()):
            faults.append(f"{kept} states are kept for {count} specimens; run: cubital db rebuild")
    return CheckedRecord(
        head=head, trail=trail, met=len(noted) + len(noted_of_trail), specimens=count, behind=behind, trusted=trusted,
        faults=tuple(faults),
    )  # fmt: skip


def ends_of(store: RecordStore, *, now: datetime | None = None) -> NotedEnds:
    """Where the record and the trail end now, to be noted where the owner of the database cannot reach it."""
    with store.reading() as record:
        last = record.noted_head("trail") or EMPTY
        return NotedEnds(at=now or read_now(), record=record.head(), trail=last)


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
    heads: dict[int, list[Head]] = {}
    for head in noted:
        heads.setdefault(head.sequence, []).append(head)
    for link in walk(record.links()):
        for head in heads.get(link.sequence, ()):
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


def _check_trail(record: RecordReading, noted: Sequence[Head]) -> tuple[Head, list[str]]:
    """Where the trail ends, and what is wrong with it."""
    own = record.noted_head("trail")
    heads = {(one.sequence, one.hash) for one in (*noted, *([] if own is None else [own]))}
    wanted = {sequence for sequence, _ in heads}
    last = EMPTY
    for head, fault in walk_trail(record.trail(), after=EMPTY):
        if fault is not None:
            return head, [f"trail line {head.sequence + 1}: {fault}"]
        last = head
        if head.sequence in wanted and any(of == head.sequence and hash != head.hash for of, hash in heads):
            return head, [f"trail line {head.sequence}: found another hash than was noted; it was written anew"]
    if wanted and last.sequence < (furthest := max(wanted)):
        found = f"found the end at line {last.sequence}, expected line {furthest} as noted"
        return last, [f"trail line {last.sequence + 1}: {found}; the trail was cut short"]
    if last.sequence == 0 and record.has_accounts():
        return last, ["trail line 1: found no line, but accounts, the first of which left one; the trail was emptied"]
    if own is None and last.sequence:
        return last, ["the database has lost its note of where the trail ends; someone removed it"]
    return last, []


def _faults_of(record: RecordReading, links: Sequence[Link]) -> list[str]:
    """What is wrong with one specimen beside the chain."""
    id = links[0].specimen or ""
    try:
        state = _fold(record, links)
        kept = record.specimen(id)
    except RecordError as error:
        return [str(error)]
    if kept != state:
        return [f"specimen {id}: its kept state is not what its events say; run: cubital db rebuild"]
    if strays := record.strays(state):
        found = f"what is kept to look it up by ({', '.join(strays)}) is not what its events say"
        return [f"specimen {id}: {found}; run: cubital db rebuild"]
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
