"""A database of an older edition goes up to the newest one, in either kind, with all that was in it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import MetaData, insert, select
from sqlalchemy.exc import DBAPIError

from cubital.app.record_care import check_record, rebuild_states
from cubital.app.wiring import open_accounts, open_record, open_site_versions, open_store, upgrade_store
from cubital.errors import UnreadyRecord
from cubital.model.site_version import LoggedOrder
from cubital.store.engine import for_writing, open_engine
from cubital.store.migration import upgrade
from cubital.store.tables import EDITION, specimen, tables
from tests.contract import hands
from tests.contract.cluster import Cluster
from tests.contract.events import MORNING, Clock, aliquoted, collected, in_order

WORDS, OWN = "seven quiet otters", "eight loud badgers"
NAME = "going_up"


@pytest.fixture(params=["sqlite", "postgresql"])
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with nothing in it."""
    if request.param == "sqlite":
        yield str(tmp_path / "old.db")
        return
    cluster: Cluster = request.getfixturevalue("cluster")
    cluster.ask(f"CREATE DATABASE {NAME}")
    yield cluster.address(NAME)
    cluster.ask(f"DROP DATABASE {NAME} WITH (FORCE)")


def make(address: str, edition: str) -> None:
    """The tables of this edition, as the program of its day made them: the steps up to it and no further."""
    engine = open_engine(address, is_new_allowed=True)
    assert upgrade(engine, edition) == (None, edition)
    engine.dispose()


def put_down(newest: Path, address: str) -> None:
    """Copy all that a record of today holds into the tables of an older edition, as far as it has them."""
    today, older = open_engine(str(newest)), open_engine(address)
    with today.connect() as source, for_writing(older.connect()) as target, target.begin():
        known = MetaData()
        known.reflect(target)
        for name, table in tables.tables.items():
            if name in known.tables and (rows := source.execute(select(table)).mappings().all()):
                columns = known.tables[name].columns.keys()
                target.execute(insert(known.tables[name]), [{key: row[key] for key in columns} for row in rows])
    today.dispose()
    older.dispose()


def fill(address: str) -> str:
    """A specimen and an aliquot of it, two accounts and one session, as every edition from the second on holds them.

    The secret of the session.
    """
    record = open_record(address, now=Clock())
    record.append(*in_order(collected("s1"), aliquoted("s1", "a1")))
    record.close()
    accounts = open_accounts(address, now=Clock())
    accounts.set_up(accounts.setup_code, "ada", WORDS)
    secret = accounts.sign_in("ada", WORDS, address="")
    visitor = accounts.visitor(secret)
    assert visitor is not None
    accounts.add(visitor, "ben", "supervisor", OWN)
    accounts.note(visitor, "opened site")
    accounts.close()
    return secret


def save(address: str) -> None:
    """A version of the demo site, a draft and an order of a log."""
    versions = open_site_versions(address, demo=True, now=Clock())
    versions.save("ada", 0, {"tests.toml": {"glucose": {"bench": "ward"}}}, "to the ward")
    versions.keep_draft("ben", 1, versions.newest().files, origin="list.csv")
    versions.keep_orders((LoggedOrder(body='{"tests":["K"]}', times=3),))
    versions.close()


@pytest.fixture
def newest(tmp_path: Path) -> Path:
    """A new, empty record of today, to be filled and put down."""
    path = tmp_path / "newest.db"
    upgrade_store(str(path))
    return path


@pytest.mark.parametrize("edition", ["0002", "0003", "0004", "0005"])
def test_accounts_record_and_versions_of_an_older_edition_go_up_and_go_on(
    old: str, edition: str, newest: Path
) -> None:
    make(old, edition)
    secret = fill(str(newest))
    save(str(newest))
    put_down(newest, old)
    refusing = open_record(old, now=Clock())
    with pytest.raises(UnreadyRecord, match=f"edition {edition}; this program writes edition {EDITION}"):
        refusing.head()
    refusing.close()

    assert upgrade_store(old) == (edition, EDITION)
    engine = open_engine(old)
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), tables) == []
    engine.dispose()
    record = open_record(old, now=Clock())
    assert record.head().sequence == 3
    record.append(*in_order(collected("s2")))
    assert [one.id for one in record.drawn_since(MORNING)] == ["s1", "s2"]
    assert record.drawn_since(MORNING + timedelta(seconds=1)) == ()
    record.close()
    accounts = open_accounts(old, now=Clock())
    ada = accounts.visitor(secret)
    assert ada is not None
    assert ada.account.role == "administrator"
    assert accounts.sign_in("ben", OWN, address="")
    assert any(one.did == "opened site" for one in accounts.trail(ada))
    accounts.close()
    store = open_store(old)
    found = check_record(store)
    store.close()
    assert (found.faults, found.head.sequence) == ((), 4)
    assert found.trail.sequence > 4


def test_versions_are_kept_and_saved_and_guarded_after_going_up_from_the_edition_without_them(
    old: str, newest: Path
) -> None:
    make(old, "0002")
    fill(str(newest))
    put_down(newest, old)
    upgrade_store(old)
    versions = open_site_versions(old, demo=True, now=Clock())
    assert (versions.newest().number, versions.history(), versions.draft("ada")) == (0, (), None)
    versions.save("ada", 0, {"tests.toml": {"glucose": {"bench": "ward"}}}, "to the ward")
    versions.restore("ben", 1, 0, "back again")
    assert [(one.number, one.account, one.restores) for one in versions.history()] == [
        (2, "ben", 0), (1, "ada", None), (0, "", None),
    ]  # fmt: skip
    versions.close()
    for statement in ("UPDATE site_version SET note = 'other'", "DELETE FROM site_file"):
        with pytest.raises(DBAPIError, match="only added to"):
            hands.run(old, statement, is_guarded=True)


def test_what_the_edition_of_the_versions_holds_is_the_same_after_going_up(old: str, newest: Path) -> None:
    make(old, "0003")
    save(str(newest))
    versions = open_site_versions(str(newest), demo=True, now=Clock())
    held = versions.history(), versions.at(0).files, versions.at(1).files, versions.draft("ben"), versions.orders()
    versions.close()
    put_down(newest, old)
    upgrade_store(old)
    later = open_site_versions(old, demo=True, now=Clock())
    assert held == (
        later.history(), later.at(0).files, later.at(1).files, later.draft("ben"), later.orders(),
    )  # fmt: skip
    assert later.newest().site.tests["glucose"].bench == "ward"
    later.close()


def test_the_sixth_edition_dates_tubes_not_aliquots_and_leaves_a_state_that_cannot_be_read_to_the_check(
    old: str, newest: Path
) -> None:
    make(old, "0005")
    fill(str(newest))
    put_down(newest, old)
    hands.run(old, "UPDATE specimen SET state = 'nothing' WHERE id = 's1'")
    upgrade_store(old)
    engine = open_engine(old)
    with engine.connect() as connection:
        dated = connection.execute(select(specimen.c.id, specimen.c.drawn_at).order_by(specimen.c.id)).all()
    engine.dispose()
    assert [tuple(row) for row in dated] == [("a1", None), ("s1", None)]
    store = open_store(old)
    assert any("found a state that is none" in one for one in check_record(store).faults)
    rebuild_states(store)
    assert check_record(store).faults == ()
    store.close()
