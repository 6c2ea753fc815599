"""Connections to the database of a record, set so that what was acknowledged is on the disk."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError

from cubital.errors import MissingLibrary, RecordUnavailable, UnreadyRecord
from cubital.store.private import make_folders, make_private

WAIT_S = 10
"""How long a station waits for another one's transaction, or for a server to answer."""

POOLED = 4
"""A process of the pages opens four parts of a database, each with up to twice so many connections: 32 in all. A server
of PostgreSQL takes 100 unless told otherwise, so two processes, or three, leave room for the commands."""

_WRITES = "cubital_writes"
_FULL = 2


def open_engine(address: str, *, is_new_allowed: bool = False) -> Engine:
    """The engine for this path of a SQLite file, or this URL `postgresql://…`.

    A file that is not there is refused unless it `is_new_allowed`: a slip in its name must not
    begin a second record. Raises `UnreadyRecord` for that, or an address of another kind, and
    `MissingLibrary` where the driver is not installed.
    """
    if "://" not in address:
        return _sqlite_engine(Path(address), is_new_allowed=is_new_allowed)
    try:
        url = make_url(address)
    except ArgumentError:
        raise _strange("an address that cannot be read") from None
    backend = url.get_backend_name()
    if backend == "postgresql":
        return _postgresql_engine(url.set(drivername="postgresql+psycopg"))
    if backend == "sqlite" and url.database:
        return _sqlite_engine(Path(url.database), is_new_allowed=is_new_allowed)
    raise _strange(f"an address of {backend}")


def name_of(engine: Engine) -> str:
    """How a message names this database: the path of its file, or its URL without the password."""
    if engine.dialect.name == "sqlite":
        return str(path_of(engine))
    return engine.url.set(drivername="postgresql").render_as_string(hide_password=True)


def path_of(engine: Engine) -> Path:
    """The file of a SQLite engine."""
    return Path(engine.get_execution_options()["cubital_path"])


def for_writing(connection: Connection) -> Connection:
    """This connection, told that its next transaction is to be the only one that writes."""
    return connection.execution_options(**{_WRITES: True})


def _sqlite_engine(path: Path, *, is_new_allowed: bool) -> Engine:
    if not is_new_allowed and not path.is_file():
        raise UnreadyRecord(
            "found no such file; expected the database of a record; make one: cubital db upgrade", where=str(path)
        )
    if is_new_allowed and not path.exists():
        try:
            make_folders(path)
            make_private(path)
        except (OSError, ValueError) as error:
            said = getattr(error, "strerror", None) or str(error)
            raise RecordUnavailable(
                f"found {said}; nothing was recorded; see that the file and its folder can be written", where=str(path)
            ) from None
    # Never "rwc": SQLite would make a file that all may read.
    address = f"file:{quote(str(path.absolute()))}"
    url = URL.create("sqlite+pysqlite", database=address, query={"uri": "true", "mode": "rw"})
    engine = create_engine(url, connect_args={"timeout": WAIT_S}, execution_options={"cubital_path": str(path)})
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    # With None the driver begins nothing by itself: `_begin_sqlite` does, and all of it is one transaction.
    connection.isolation_level = None
    # FULL: with NORMAL a loss of power can take back a commit that was answered (SQLite, "PRAGMA synchronous").
    connection.execute("PRAGMA synchronous = FULL")
    (found,) = connection.execute("PRAGMA synchronous").fetchone()
    if found != _FULL:
        # SQLite passes over a pragma that it was built without, and says nothing.
        raise UnreadyRecord(
            f"found synchronous = {found}, expected {_FULL} (FULL); this SQLite would answer before the disk has it; "
            "use another build of SQLite",
            where="SQLite",
        )
    connection.execute("PRAGMA recursive_triggers = ON")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _postgresql_engine(url: URL) -> Engine:
    try:
        # Said, not left to the server: a writer waits for the lock and must then see what the one before it wrote.
        return create_engine(
            url, pool_pre_ping=True, pool_size=POOLED, max_overflow=POOLED, isolation_level="READ COMMITTED",
            connect_args={"connect_timeout": WAIT_S},
        )
    except ModuleNotFoundError as error:
        raise MissingLibrary.of(error.name, need="PostgreSQL", extra="postgres", where="--db") from None


def _strange(found: str) -> UnreadyRecord:
    return UnreadyRecord(
        f"found {found}; expected the path of a file, or postgresql://USER@HOST/DATABASE", where="--db"
    )
