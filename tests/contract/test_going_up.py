"""A database of an older edition goes up to the newest one, in either kind, with all that was in it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from sqlalchemy.exc import DBAPIError

from cubital.app.wiring import open_accounts, open_record, open_site_versions, upgrade_store
from cubital.errors import UnreadyRecord
from cubital.model.site_version import LoggedOrder
from cubital.store import record as record_module
from cubital.store.engine import for_writing, open_engine
from cubital.store.migration import steps
from cubital.store.tables import EDITION, tables
from tests.contract import hands
from tests.contract.cluster import Cluster
from tests.contract.events import Clock, collected, in_order

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
    script = steps()

    def find_steps(before: Any, _: MigrationContext) -> Any:
        return script._upgrade_revs(edition, before)

    engine = open_engine(address, is_new_allowed=True)
    with engine.connect() as connection, for_writing(connection).begin():
        with EnvironmentContext(Config(), script, fn=find_steps) as environment:
            environment.configure(connection=connection, transactional_ddl=True)
            environment.run_migrations()
        assert MigrationContext.configure(connection).get_current_revision() == edition
    engine.dispose()


def fill(address: str) -> str:
    """A specimen, two accounts and one session, as every edition from the second on holds them; its secret."""
    record = open_record(address, now=Clock())
    record.append(*in_order(collected("s1")))
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


@pytest.mark.parametrize("edition", ["0002", "0003", "0004"])
def test_accounts_record_and_versions_of_an_older_edition_go_up_and_go_on(
    old: str, edition: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(old, edition)
    with monkeypatch.context() as of_its_day:
        of_its_day.setattr(record_module, "EDITION", edition)
        secret = fill(old)
        if edition > "0002":
            versions = open_site_versions(old, demo=True, now=Clock())
            versions.save("ada", 0, {"tests.toml": {"glucose": {"bench": "ward"}}}, "to the ward")
            versions.keep_draft("ada", 1, versions.newest().files, origin="list.csv")
            versions.keep_orders((LoggedOrder(body='{"tests":["K"]}', times=3),))
            versions.close()
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
    assert record.head().sequence == 1
    record.append(*in_order(collected("s2")))
    record.close()
    accounts = open_accounts(old, now=Clock())
    ada = accounts.visitor(secret)
    assert ada is not None
    assert ada.account.role == "administrator"
    assert accounts.sign_in("ben", OWN, address="")
    assert any(one.did == "opened site" for one in accounts.trail(ada))
    accounts.close()


def test_versions_are_kept_and_saved_and_guarded_after_going_up_from_the_edition_without_them(
    old: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(old, "0002")
    with monkeypatch.context() as of_its_day:
        of_its_day.setattr(record_module, "EDITION", "0002")
        fill(old)
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


def test_what_the_edition_of_the_versions_holds_is_the_same_after_going_up(
    old: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(old, "0003")
    with monkeypatch.context() as of_its_day:
        of_its_day.setattr(record_module, "EDITION", "0003")
        versions = open_site_versions(old, demo=True, now=Clock())
        versions.save("ada", 0, {"tests.toml": {"glucose": {"bench": "ward"}}}, "to the ward")
        versions.keep_draft("ben", 1, versions.newest().files, origin="list.csv")
        versions.keep_orders((LoggedOrder(body='{"tests":["K"]}', times=3),))
        held = versions.history(), versions.at(0).files, versions.at(1).files, versions.draft("ben"), versions.orders()
        versions.close()
    upgrade_store(old)
    later = open_site_versions(old, demo=True, now=Clock())
    assert held == (
        later.history(), later.at(0).files, later.at(1).files, later.draft("ben"), later.orders(),
    )  # fmt: skip
    assert later.newest().site.tests["glucose"].bench == "ward"
    later.close()
