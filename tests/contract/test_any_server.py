"""On a server that is set otherwise than ours, or speaks another language, the record keeps the same promises."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import make_url
from sqlalchemy.exc import DBAPIError, OperationalError

from cubital.app.record_care import check_record
from cubital.app.wiring import open_accounts, open_record, open_store, upgrade_store
from cubital.errors import RecordUnavailable, UnreadyRecord
from cubital.store import engine as engine_module
from cubital.store.fault import fault_of
from tests.contract.cluster import Cluster
from tests.contract.events import Clock, collected, in_order

APPENDS, AT_ONCE = 60, 12


@pytest.mark.parametrize("level", ["repeatable read", "serializable"])
def test_writers_wait_for_each_other_whatever_isolation_the_server_gives_by_itself(
    cluster: Cluster, postgresql_address: str, level: str
) -> None:
    name = make_url(postgresql_address).database
    cluster.ask(f"ALTER DATABASE {name} SET default_transaction_isolation = '{level}'")
    accounts = open_accounts(postgresql_address, now=Clock())
    record = open_record(postgresql_address, now=Clock())

    def work(number: int) -> None:
        record.append(*in_order(collected(f"s{number}")))
        accounts.note(None, "opened bench")

    try:
        with ThreadPoolExecutor(AT_ONCE) as pool:
            list(pool.map(work, range(APPENDS)))
        assert record.head().sequence == APPENDS
    finally:
        record.close()
        accounts.close()
        cluster.ask(f"ALTER DATABASE {name} RESET default_transaction_isolation")
    store = open_store(postgresql_address)
    found = check_record(store)
    store.close()
    assert (found.faults, found.trail.sequence) == ((), APPENDS)


def of_sqlite(name: str, words: str) -> DBAPIError:
    said = sqlite3.OperationalError(words)
    said.sqlite_errorname = name
    return OperationalError("SELECT 1", {}, said)


@pytest.mark.parametrize(
    ("error", "remedy"),
    [
        (of_sqlite("SQLITE_FULL", "x"), "free space on the disk"),
        (of_sqlite("SQLITE_READONLY_DBMOVED", "x"), "let this user write the file and its folder"),
        (of_sqlite("SQLITE_BUSY_SNAPSHOT", "x"), "another writer held it all the while; try again"),
        (of_sqlite("SQLITE_CANTOPEN", "x"), "see that the file and its folder can be written"),
        (of_sqlite("SQLITE_IOERR_FSYNC", "x"), "see that the disk is sound and has space"),
        (of_sqlite("SQLITE_CORRUPT_INDEX", "x"), "keep the file as it is and restore the last backup elsewhere"),
        (of_sqlite("SQLITE_NOTADB", "x"), "name the file of a record"),
        (of_sqlite("SQLITE_ERROR", "database or disk is full"), "see that the database is sound"),
        (psycopg.errors.DiskFull("konnte Datei nicht erweitern"), "free space on the disk"),
        (psycopg.errors.ReadOnlySqlTransaction("nur lesend"), "let this user write to it"),
        (psycopg.errors.SerializationFailure("nicht zu serialisieren"), "other writers were first; try again"),
        (psycopg.errors.TooManyConnections("zu viele"), "the server has no connection left"),
        (psycopg.errors.AdminShutdown("wird beendet"), "see that the server runs, can be reached"),
        (psycopg.OperationalError("Verbindung verweigert"), "see that the server runs, can be reached"),
        (psycopg.errors.InvalidPassword("falsch"), "see that the role and its password are right"),
        (psycopg.errors.InvalidCatalogName("nicht da"), "name a database that is there"),
        (psycopg.errors.InternalError_("no connection to disk full"), "see that the database is sound"),
    ],
)
def test_a_fault_is_told_by_its_code_and_not_by_words_of_some_language(error: Exception, remedy: str) -> None:
    wrapped = error if isinstance(error, DBAPIError) else DBAPIError("SELECT 1", {}, error)
    if isinstance(error, psycopg.OperationalError):
        wrapped = OperationalError("SELECT 1", {}, error)
    found = fault_of(wrapped, where="here", is_committing=False)
    assert isinstance(found, RecordUnavailable)
    assert f"; nothing was recorded; {remedy}" in str(found)


def test_tables_that_are_not_there_are_told_by_their_code() -> None:
    error = DBAPIError("SELECT 1", {}, psycopg.errors.UndefinedTable("Relation existiert nicht"))
    assert isinstance(fault_of(error, where="here", is_committing=False), UnreadyRecord)


@pytest.fixture
def german() -> Iterator[Path]:
    """A folder that PostgreSQL may read, with a German locale and ours, compiled here."""
    compiler = shutil.which("localedef")
    with tempfile.TemporaryDirectory(prefix="cub-locales-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        for source, made in (("de_DE", "de_DE.UTF-8"), ("C", "C.UTF-8")):
            if compiler is not None:
                command = [compiler, "-i", source, "-f", "UTF-8", str(folder / made)]
                subprocess.run(command, capture_output=True, check=False)
            if not (folder / made).exists():
                pytest.skip("this system has no sources of locales")
        yield folder


def test_a_server_that_speaks_german_is_understood(german: Path) -> None:
    server = Cluster(locales=german, speaks="de_DE.UTF-8")
    try:
        server.ask("CREATE DATABASE labor")
        address = server.address("labor")
        record = open_record(address, now=Clock())
        with pytest.raises(UnreadyRecord, match="no tables of a record; run: cubital db upgrade"):
            record.head()
        upgrade_store(address)
        assert record.append(*in_order(collected("s1"))).entries[0].sequence == 1
        server.ask("ALTER DATABASE labor SET default_transaction_read_only = on")
        record.close()
        with pytest.raises(RecordUnavailable, match="nothing was recorded; let this user write to it") as refused:
            record.append(*in_order(collected("s2")))
        assert "kann nicht" in str(refused.value)
        record.close()
        with pytest.raises(RecordUnavailable, match=r"nirgends.*and has this database and role"):
            open_record(server.address("nirgends"), now=Clock()).head()
    finally:
        server.remove()


def test_a_sqlite_that_would_answer_before_the_disk_has_it_is_refused(
    sqlite_address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine_module, "_FULL", 3)
    record = open_record(sqlite_address, now=Clock())
    with pytest.raises(UnreadyRecord, match="found synchronous = 2, expected 3"):
        record.append(*in_order(collected("s1")))
    record.close()
