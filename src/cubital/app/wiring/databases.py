"""The database of the record: opened for each use case that keeps something there, made, brought up to date."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from cubital.app.clock import now as read_now
from cubital.app.wiring.libraries import needing, needing_server
from cubital.app.wiring.sites import site_files

if TYPE_CHECKING:
    from cubital.app.accounts import Accounts
    from cubital.app.ports import Now, RecordStore
    from cubital.app.record import SpecimenRecord
    from cubital.app.site_editing import SiteVersions
    from cubital.app.taking import Takings


def open_store(address: str) -> RecordStore:
    """The store at this path of a SQLite file or this URL `postgresql://…`, which must hold a record.

    Raises `UnreadyRecord` where there is no such file, and `MissingLibrary` where the libraries of a
    record are not installed; a server is asked only when it is used.
    """
    with needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.record import SqlRecord

    return SqlRecord(open_engine(address))


def open_record(address: str, *, now: Now = read_now) -> SpecimenRecord:
    """The record of specimens at this path or URL, written by the clock `now`."""
    from cubital.app.record import SpecimenRecord

    return SpecimenRecord(open_store(address), now=now)


@contextlib.contextmanager
def passing_record(*, now: Now) -> Iterator[SpecimenRecord]:
    """A new record, by the clock `now`, that is gone afterwards: for what is invented and only shown."""
    with tempfile.TemporaryDirectory(prefix="cubital-") as folder:
        address = str(Path(folder) / "record.db")
        upgrade_store(address)
        record = open_record(address, now=now)
        try:
            yield record
        finally:
            record.close()


def open_accounts(address: str, *, now: Now = read_now) -> Accounts:
    """The accounts in the database of this record; raises as `open_store` does."""
    from cubital.app.accounts import Accounts

    with needing("the accounts", "web"):
        from cubital.store.accounts import sql_accounts
        from cubital.store.engine import open_engine
        from cubital.store.password import Argon2Hasher

    return Accounts(sql_accounts(open_engine(address)), hasher=Argon2Hasher(), now=now)


def open_takings(address: str, *, record: SpecimenRecord, now: Now = read_now) -> Takings:
    """The draws in hand in the database of this record; raises as `open_store` does."""
    from cubital.app.taking import Takings

    with needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.takings import sql_takings

    return Takings(sql_takings(open_engine(address)), record=record, now=now)


def open_site_versions(
    address: str, folder: Path | str | None = None, *, demo: bool = False, now: Now = read_now
) -> SiteVersions:
    """The versions of this site in the database of the record; its folder is the base. Raises as `open_store` does."""
    from cubital.app.site_editing import SiteVersions

    name, files = site_files(folder, demo=demo)
    with needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.site_versions import sql_site_versions

    return SiteVersions(sql_site_versions(open_engine(address)), files, folder=name, now=now)


def upgrade_store(address: str) -> tuple[str | None, str]:
    """Make the tables of a record there, or bring them to the newest edition: the edition before and after."""
    with needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.migration import upgrade

    engine = open_engine(address, is_new_allowed=True)
    try:
        return upgrade(engine)
    finally:
        engine.dispose()
