"""A new, empty record in each kind of database."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest

from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, upgrade_store
from tests.contract.cluster import Cluster
from tests.contract.events import Clock

KINDS = ("sqlite", "postgresql")
_TEMPLATE = "empty_record"
_numbers = itertools.count()


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """One PostgreSQL for all tests of this process, with a record to copy in it."""
    found = Cluster()
    try:
        found.ask(f"CREATE DATABASE {_TEMPLATE}")
        upgrade_store(found.address(_TEMPLATE))
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
def postgresql_address(cluster: Cluster) -> Iterator[str]:
    """A new, empty record in a database of its own."""
    name = f"record_{next(_numbers)}"
    cluster.ask(f"CREATE DATABASE {name} TEMPLATE {_TEMPLATE}")
    yield cluster.address(name)
    cluster.ask(f"DROP DATABASE {name} WITH (FORCE)")


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
