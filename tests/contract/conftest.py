"""A new, empty record in each kind of database."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, upgrade_store
from cubital.store.tables import tables
from tests.contract import hands
from tests.contract.cluster import Cluster, remove_orphans
from tests.contract.events import Clock

KINDS = ("sqlite", "postgresql")
DATABASES = ("record_one", "record_two")


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """One PostgreSQL for all tests of this process, with two records in it."""
    remove_orphans()
    found = Cluster()
    try:
        for name in DATABASES:
            found.ask(f"CREATE DATABASE {name}")
            upgrade_store(found.address(name))
        yield found
    finally:
        found.remove()


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """An empty record in SQLite, to copy."""
    path = tmp_path_factory.mktemp("empty") / "record.db"
    upgrade_store(str(path))
    return path.read_bytes()


@pytest.fixture
def sqlite_address(empty_file: bytes, tmp_path: Path) -> str:
    """A new, empty record in a file."""
    path = tmp_path / "record.db"
    path.write_bytes(empty_file)
    return str(path)


@pytest.fixture
def postgresql_address(cluster: Cluster) -> str:
    """An empty record in a database."""
    return _emptied(cluster.address(DATABASES[0]))


@pytest.fixture
def second_postgresql_address(cluster: Cluster) -> str:
    """Another one, to restore into."""
    return _emptied(cluster.address(DATABASES[1]))


def _emptied(address: str) -> str:
    # A new database takes half a second; past its guards the old one is emptied in a hundredth of that.
    hands.run(address, f"TRUNCATE {', '.join(tables.tables)}")
    return address


@pytest.fixture(params=KINDS)
def address(request: pytest.FixtureRequest) -> str:
    """A new, empty record, once in each kind of database."""
    found = request.getfixturevalue(f"{request.param}_address")
    assert isinstance(found, str)
    return found


@pytest.fixture
def clock() -> Clock:
    """A clock at an invented morning."""
    return Clock()


@pytest.fixture
def record(address: str, clock: Clock) -> Iterator[SpecimenRecord]:
    """The record, written by the test's own clock."""
    found = open_record(address, now=clock)
    yield found
    found.close()
