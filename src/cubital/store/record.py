"""A record in SQLite or PostgreSQL, as the use cases ask for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from itertools import groupby
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Row, Select, delete, func, inspect, select, text, tuple_
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import SQLAlchemyError

from cubital.errors import UnreadyRecord
from cubital.handling.chain import EMPTY, body_of, head_of, say_moment, specimen_of
from cubital.model.record import ChainKey, Head, Link, TrailLink
from cubital.model.specimen import Specimen
from cubital.store.engine import for_writing, name_of, path_of
from cubital.store.fault import fault_of
from cubital.store.guards import find_faults
from cubital.store.heads import note_head, noted_head
from cubital.store.private import is_private
from cubital.store.site_faults import find_site_faults
from cubital.store.tables import EDITION, account, event, specimen, trail

_LINK: Select[*tuple[Any, ...]] = select(
    event.c.sequence, event.c.batch, event.c.recorded_at, event.c.behind_us, event.c.key, event.c.specimen,
    event.c.version, event.c.body, event.c.hash,
)  # fmt: skip
_LINE = select(*(trail.c[name] for name in TrailLink.__struct_fields__)).order_by(trail.c.sequence)
# Any number will do that nothing else in this database locks by.
_LOCK = 0x6375626974616C
_PAGE = 1000


class SqlRecord:
    """The record in one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._is_sqlite = engine.dialect.name == "sqlite"
        self._is_ready = False

    @property
    def where(self) -> str:
        """How a message names it, without a password."""
        return name_of(self._engine)

    @property
    def file(self) -> Path | None:
        """The file that holds it; None where a server does."""
        return path_of(self._engine) if self._is_sqlite else None

    @property
    def is_private(self) -> bool:
        """Whether nobody but its owner may read the file that holds it; a server keeps its own."""
        return self.file is None or is_private(self.file)

    @contextmanager
    def reading(self) -> Iterator[Reading]:
        """A transaction that sees one moment of the record."""
        options = {} if self._is_sqlite else {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        with self._transaction(options) as connection:
            yield Reading(connection)

    @contextmanager
    def writing(self) -> Iterator[Writing]:
        """A transaction that no other writer overlaps; whole when it ends well, else not at all."""
        with self._transaction({}, is_writing=True) as connection:
            yield Writing(connection)

    def close(self) -> None:
        """Give back every connection."""
        self._engine.dispose()

    @contextmanager
    def _transaction(self, options: dict[str, Any], *, is_writing: bool = False) -> Iterator[Connection]:
        is_committing = False
        try:
            with self._engine.connect() as connection:
                if is_writing:
                    for_writing(connection)
                with connection.execution_options(**options).begin() as transaction:
                    self._prepare(connection, is_writing=is_writing)
                    yield connection
                    is_committing = is_writing
                    transaction.commit()
                    is_committing = False
        except SQLAlchemyError as error:
            raise fault_of(error, where=self.where, is_committing=is_committing) from error

    def _prepare(self, connection: Connection, *, is_writing: bool) -> None:
        if is_writing and not self._is_sqlite:
            # Whatever the server's default: an answer means that the commit is on its disk.
            lock, sync = func.pg_advisory_xact_lock(_LOCK), func.set_config("synchronous_commit", "on", True)
            connection.execute(select(lock, sync))
        if not self._is_ready:
            refuse_other_edition(connection, where=self.where)
            self._is_ready = True


class Reading:
    """One unchanging view of the record."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def head(self) -> Head:
        """Where the record ends."""
        row = self._connection.execute(_LINK.order_by(event.c.sequence.desc()).limit(1)).first()
        return EMPTY if row is None else head_of(_link(row))

    def link_of(self, key: str) -> Link | None:
        """The link with this key; None where there is none."""
        row = self._connection.execute(_LINK.where(event.c.key == key)).first()
        return None if row is None else _link(row)

    def history(self, specimen: str) -> tuple[Link, ...]:
        """The links of one specimen in order; empty where it is unknown."""
        rows = self._connection.execute(_LINK.where(event.c.specimen == specimen).order_by(event.c.version))
        return tuple(_link(row) for row in rows)

    def links(self, *, after: int = 0, limit: int | None = None) -> Iterator[Link]:
        """The links after this sequence, in order, without holding them all."""
        left = limit
        while left is None or left > 0:
            size = _PAGE if left is None else min(left, _PAGE)
            rows = self._read(_LINK.where(event.c.sequence > after).order_by(event.c.sequence).limit(size))
            yield from rows
            if len(rows) < size:
                return
            after = rows[-1].sequence
            left = None if left is None else left - size

    def histories(self) -> Iterator[tuple[Link, ...]]:
        """The links of each specimen, one specimen after another."""
        for _, links in groupby(self._by_specimen(), key=lambda link: link.specimen):
            yield tuple(links)

    def _by_specimen(self) -> Iterator[Link]:
        query = _LINK.where(event.c.specimen.is_not(None)).order_by(event.c.specimen, event.c.version).limit(_PAGE)
        rows = self._read(query)
        while rows:
            yield from rows
            after = (rows[-1].specimen, rows[-1].version)
            rows = self._read(query.where(tuple_(event.c.specimen, event.c.version) > after))

    def specimen(self, id: str) -> Specimen | None:
        """The kept state of this specimen."""
        state = self._connection.execute(select(specimen.c.state).where(specimen.c.id == id)).scalar()
        return None if state is None else specimen_of(state)

    def strays(self, state: Specimen) -> tuple[str, ...]:
        """The columns that should repeat this state and say something else; empty where nothing is kept."""
        row = self._connection.execute(select(specimen).where(specimen.c.id == state.id)).first()
        kept = {name: value for name, value in _kept(state).items() if name != "state"}
        return () if row is None else tuple(name for name, value in kept.items() if getattr(row, name) != value)

    def drawn_since(self, moment: datetime) -> tuple[Specimen, ...]:
        """The kept states of all tubes drawn at or after this instant, discarded ones too, oldest first."""
        query = select(specimen.c.state).where(specimen.c.drawn_at >= say_moment(moment))
        states = self._connection.execute(query.order_by(specimen.c.drawn_at, specimen.c.id)).scalars()
        return tuple(map(specimen_of, states))

    def specimens_of(self, patient: str) -> tuple[Specimen, ...]:
        """The kept states of all specimens of a patient, discarded ones too, oldest first."""
        states = self._connection.execute(select(specimen.c.state).where(specimen.c.patient == patient)).scalars()
        return tuple(sorted(map(specimen_of, states), key=lambda one: (one.collected_at, one.id)))

    def specimens(self, *, statuses: Sequence[str]) -> Iterator[Specimen]:
        """The kept states of all specimens of these statuses."""
        query = select(specimen.c.state).where(specimen.c.status.in_(statuses))
        return map(specimen_of, self._connection.execute(query).scalars())

    def count_states(self) -> int:
        """How many states are kept."""
        return self._connection.execute(select(func.count()).select_from(specimen)).scalar_one()

    def find_damage(self) -> tuple[str, ...]:
        """What the database itself finds wrong with what it holds, and with its guards; empty as a rule."""
        guards = (*find_faults(self._connection), *find_site_faults(self._connection))
        if self._connection.dialect.name != "sqlite":
            return guards
        said = self._connection.execute(text("PRAGMA integrity_check(20)")).scalars().all()
        return (*(line for line in said if line != "ok"), *guards)

    def noted_head(self, chain: ChainKey) -> Head | None:
        """Where this database noted the end of the chain."""
        return noted_head(self._connection, chain)

    def trail(self) -> Iterator[TrailLink]:
        """The lines of the trail in order."""
        after = 0
        while rows := self._connection.execute(_LINE.where(trail.c.sequence > after).limit(_PAGE)).all():
            yield from (TrailLink(**row._mapping) for row in rows)
            after = rows[-1].sequence

    def has_accounts(self) -> bool:
        """Whether there is any account."""
        return self._connection.execute(select(account.c.name).limit(1)).first() is not None

    def _read(self, query: Select[*tuple[Any, ...]]) -> list[Link]:
        return [_link(row) for row in self._connection.execute(query)]


class Writing(Reading):
    """The only writer of the record, until its transaction ends."""

    def append(self, links: Sequence[Link], specimens: Sequence[Specimen]) -> None:
        """Add these links and keep these states."""
        if links:
            previous = self.head()
            self._connection.execute(event.insert(), [_row(link) for link in links])
            note_head(self._connection, "record", head_of(links[-1]), previous=previous)
        self.keep_states(specimens)

    def forget_states(self) -> None:
        """Drop every kept state, to be computed anew; no link is touched."""
        self._connection.execute(delete(specimen))

    def keep_states(self, specimens: Iterable[Specimen]) -> None:
        """Keep these states in place of older ones."""
        rows = [_kept(one) for one in specimens]
        if not rows:
            return
        dialect = sqlite if self._connection.dialect.name == "sqlite" else postgresql
        insert = dialect.insert(specimen)
        changed = {name: insert.excluded[name] for name in rows[0] if name != "id"}
        self._connection.execute(insert.on_conflict_do_update(index_elements=["id"], set_=changed), rows)


def refuse_other_edition(connection: Connection, *, where: str) -> None:
    """Raise `UnreadyRecord` where the tables are not of the edition that this program writes."""
    if not inspect(connection).has_table("alembic_version"):
        raise UnreadyRecord("found no tables of a record; run: cubital db upgrade", where=where)
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if found != EDITION:
        raise UnreadyRecord(
            f"found tables of edition {found}; this program writes edition {EDITION}; "
            "run cubital db upgrade with the newest program in use",
            where=where,
        )


def _kept(state: Specimen) -> dict[str, Any]:
    """The row of this state: all but `state` repeats it, to look it up by."""
    return {
        "id": state.id, "patient": state.patient, "status": _status(state), "version": state.events,
        "drawn_at": None if state.parent is not None else say_moment(state.collected_at), "state": body_of(state),
    }  # fmt: skip


def _status(state: Specimen) -> str:
    if state.discarded_at is not None:
        return "gone"
    return "open" if state.waiting else "kept"


def _link(row: Row[*tuple[Any, ...]]) -> Link:
    return Link(
        sequence=row[0], batch=row[1], recorded_at=row[2], behind_us=row[3], key=row[4], specimen=row[5],
        version=row[6], body=row[7], hash=row[8],
    )  # fmt: skip


def _row(link: Link) -> dict[str, Any]:
    return {name: getattr(link, name) for name in link.__struct_fields__}
