"""The record of specimens: append to it, so that one of two stations wins and no retry doubles; read it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from cubital.app.ports import Now, RecordReading, RecordStore
from cubital.errors import ClockSetBack, ImpossibleEvent, KeyReused, LostRace, RecordError
from cubital.handling.chain import entry_of, event_of, head_of, seal
from cubital.handling.record import begin, follow, pour, refuse_by_parents, state_of
from cubital.model.record import AnyContent, ClockTrusted, Entry, Head, Link, Recorded, Step
from cubital.model.specimen import Aliquoted, AnyEvent, Poured, Specimen
from cubital.model.writable import refuse_unwritable

CLOCK_TOLERANCE_S = 60
"""How far a clock may stand behind the record, or an event ahead of the clock; a house rule without a source."""


class SpecimenRecord:
    """One record in its store, written by the clock `now`, which must give aware UTC."""

    def __init__(self, store: RecordStore, *, now: Now) -> None:
        self._store = store
        self._now = now

    def append(self, *steps: Step) -> Recorded:
        """Record these events in one transaction, all of them or none; what was recorded comes back.

        An aliquoting records the aliquot's first event with it. A repeat, every event under its
        key with the same content, changes nothing and gets the answer of the first time.

        Raises `LostRace` where another station wrote to a specimen that the writer had not seen,
        `ImpossibleEvent` where an event cannot have happened, `KeyReused` where a key stands for
        something else, `ClockSetBack` where the clock cannot be right, `RecordUnavailable` where
        the database fails; then nothing of it is recorded, unless that error says otherwise.
        """
        for step in steps:
            if not isinstance(step.event, Poured):
                refuse_unwritable(step.event)
        keys = [step.event.key for step in steps]
        if len(set(keys)) < len(keys):
            raise KeyReused("found one key for two events; expected a key for each", where="record")
        with self._store.writing() as record:
            known = {key: link for key in keys if (link := record.link_of(key)) is not None}
            if known:
                return _repeat(record, steps, known)
            head = record.head()
            batch = _Batch(record, head, now=self._moment(head))
            for step in steps:
                batch.add(step)
            record.append(batch.links, batch.specimens)
        return Recorded(entries=tuple(entry_of(link) for link in batch.links), specimens=batch.specimens)

    def trust_clock(self, *, key: str, by: str, station: str, why: str) -> Recorded:
        """Record that a person vouches for this clock, which the record had refused as set back.

        Raises `RecordError` where the clock is not behind: then there is nothing to vouch for.
        """
        with self._store.writing() as record:
            now = self._now()
            if (link := record.link_of(key)) is not None:
                entry = entry_of(link)
                told = (by, station, why)
                content = entry.content
                if not isinstance(content, ClockTrusted) or (content.by, content.station, content.why) != told:
                    raise _reused(content, link)
                return Recorded(entries=(entry,), specimens=(), is_repeat=True)
            head = record.head()
            if not _is_behind(now, head):
                raise RecordError("found a clock that is not behind the record; nothing to vouch for", where="record")
            content = ClockTrusted(key=key, at=now, by=by, station=station, why=why)
            refuse_unwritable(content)
            link = seal(head, content, batch=head.sequence + 1, version=None, now=now)
            record.append((link,), ())
        return Recorded(entries=(entry_of(link),), specimens=())

    def find(self, key: str) -> Entry | None:
        """What was recorded under this key; None where nothing was."""
        with self._store.reading() as record:
            link = record.link_of(key)
        return None if link is None else entry_of(link)

    def specimen(self, id: str) -> Specimen | None:
        """The state of this specimen, computed from its events; None where it has none."""
        with self._store.reading() as record:
            return _state(record.history(id))

    def history(self, specimen: str) -> tuple[Entry, ...]:
        """Everything that happened to this specimen, in the order of the record."""
        with self._store.reading() as record:
            return tuple(entry_of(link) for link in record.history(specimen))

    def open_specimens(self) -> tuple[Specimen, ...]:
        """Every specimen with a test that nothing has settled yet: see `Specimen.waiting`."""
        with self._store.reading() as record:
            return tuple(record.specimens(statuses=("open",)))

    def kept_specimens(self) -> tuple[Specimen, ...]:
        """Every specimen that was not discarded, settled or not."""
        with self._store.reading() as record:
            return tuple(record.specimens(statuses=("open", "kept")))

    def drawn_since(self, moment: datetime) -> tuple[Specimen, ...]:
        """Every specimen drawn at or after this instant, discarded ones too; no aliquots."""
        with self._store.reading() as record:
            return record.drawn_since(moment)

    def specimens_of(self, patient: str) -> tuple[Specimen, ...]:
        """Every specimen of this patient, discarded ones too, oldest first."""
        with self._store.reading() as record:
            return record.specimens_of(patient)

    def since(self, sequence: int, *, limit: int = 1000) -> tuple[Entry, ...]:
        """What was recorded after this entry, in order, at most `limit` of it."""
        with self._store.reading() as record:
            return tuple(entry_of(link) for link in record.links(after=sequence, limit=limit))

    def head(self) -> Head:
        """Where the record ends now."""
        with self._store.reading() as record:
            return record.head()

    def close(self) -> None:
        """Give back every connection to the database."""
        self._store.close()

    def _moment(self, head: Head) -> datetime:
        """Now; raises `ClockSetBack` where that is too far before what was recorded last."""
        now = self._now()
        if head.recorded_at is not None and _is_behind(now, head):
            raise ClockSetBack(
                f"found this clock at {_say(now)}, the last entry at {_say(head.recorded_at)}; expected no step back "
                f"of over {CLOCK_TOLERANCE_S} s; nothing was recorded; put the clock right, or if it is right: cubital "
                "db trust-clock",
                where="record",
                now=now,
                last=head.recorded_at,
            )
        return now


class _Batch:
    """The links of one transaction as they come about, and the states that they leave."""

    def __init__(self, record: RecordReading, head: Head, *, now: datetime) -> None:
        self._record = record
        self._head = head
        self._now = now
        self._number = head.sequence + 1
        self._states: dict[str, Specimen] = {}
        self._changed: dict[str, Specimen] = {}
        self.links: list[Link] = []

    @property
    def specimens(self) -> tuple[Specimen, ...]:
        """The state of each specimen that the batch changed, in order of its first change."""
        return tuple(self._changed.values())

    def add(self, step: Step) -> None:
        """Take this event in, and with an aliquoting the first event of the aliquot."""
        event = step.event
        if isinstance(event, Poured):
            raise _impossible(event, "an aliquot on its own", "the aliquoting of its parent, which makes it")
        if event.at > self._now + timedelta(seconds=CLOCK_TOLERANCE_S):
            raise _impossible(
                event,
                f"{_say(event.at)}, with this clock at {_say(self._now)}",
                f"an event no more than {CLOCK_TOLERANCE_S} s ahead of it",
            )
        before = self._write(event, step.expected)
        if isinstance(event, Aliquoted) and before is not None:
            poured = pour(before, event)
            if (link := self._record.link_of(poured.key)) is not None:
                raise _reused(poured, link)
            self._write(poured, 0)

    def _write(self, event: AnyEvent, expected: int) -> Specimen | None:
        before = self._state(event.specimen)
        self._refuse_lost_race(event, before, expected)
        if before is None:
            after = begin(event)
        else:
            after = follow(before, event)
            refuse_by_parents(event, self._parents(before))
        link = seal(self._head, event, batch=self._number, version=after.events, now=self._now)
        self._head = head_of(link)
        self._states[after.id] = self._changed[after.id] = after
        self.links.append(link)
        return before

    def _state(self, id: str) -> Specimen | None:
        if id not in self._states and (state := _state(self._record.history(id))) is not None:
            self._states[id] = state
        return self._states.get(id)

    def _parents(self, specimen: Specimen) -> list[Specimen]:
        parents: list[Specimen] = []
        while specimen.parent is not None and (parent := self._state(specimen.parent)) is not None:
            parents.append(parent)
            specimen = parent
        return parents

    def _refuse_lost_race(self, event: AnyEvent, before: Specimen | None, expected: int) -> None:
        found = 0 if before is None else before.events
        if found < expected:
            raise _impossible(event, f"{found} events of it, {expected} named", "the record that they were read from")
        if found == expected:
            return
        links = [*self._record.history(event.specimen), *(x for x in self.links if x.specimen == event.specimen)]
        first = entry_of(links[expected])
        did = _kind(first.content)
        raise LostRace(
            f"cannot be {_kind(event)}: {first.content.by} at {first.content.station} was first, it was {did} at "
            f"{_say(first.recorded_at)}; found {found} events, expected {expected}; nothing of this was recorded; "
            "read it again",
            where=f"specimen {event.specimen}",
            specimen=event.specimen,
            expected=expected,
            found=found,
            by=first.content.by,
            station=first.content.station,
            at=first.recorded_at,
            did=did,
        )


def _repeat(record: RecordReading, steps: Sequence[Step], known: Mapping[str, Link]) -> Recorded:
    """The answer of the first time; raises `KeyReused` where this is not quite the same request."""
    links: list[Link] = []
    for step in steps:
        link = known.get(step.event.key)
        if link is None:
            raise KeyReused(
                f"found {len(known)} of {len(steps)} keys recorded; expected all or none of one request; nothing more "
                "was recorded",
                where="record",
            )
        if entry_of(link).content != step.event:
            raise _reused(step.event, link)
        links.append(link)
        if isinstance(step.event, Aliquoted):
            poured = record.link_of(f"{step.event.key}/{step.event.child}")
            links += () if poured is None else (poured,)
    versions = {link.specimen: link.version for link in links}
    states: list[Specimen] = []
    for specimen, version in versions.items():
        state = _state(record.history(specimen or "")[:version])
        states += () if state is None else (state,)
    return Recorded(entries=tuple(entry_of(link) for link in links), specimens=tuple(states), is_repeat=True)


def _state(links: Sequence[Link]) -> Specimen | None:
    return state_of(event_of(link) for link in links) if links else None


def _is_behind(now: datetime, head: Head) -> bool:
    return head.recorded_at is not None and now < head.recorded_at - timedelta(seconds=CLOCK_TOLERANCE_S)


def _say(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M:%S} UTC"


def _kind(content: AnyContent) -> str:
    return type(content).__name__.lower()


def _impossible(event: AnyEvent, found: str, expected: str) -> ImpossibleEvent:
    return ImpossibleEvent(
        f"cannot be {_kind(event)}: found {found}; expected {expected}", where=f"specimen {event.specimen}"
    )


def _reused(content: AnyContent, link: Link) -> KeyReused:
    return KeyReused(
        f"found its key at entry {link.sequence} for another event than this one ({_kind(content)}); expected a new "
        "key for a new event, and the same content for a repeat; nothing was recorded",
        where="record",
    )
