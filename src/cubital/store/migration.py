"""Bringing the tables of a record to the newest edition."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.script.revision import ResolutionError
from alembic.util.exc import CommandError
from sqlalchemy import Connection, Engine, func, select
from sqlalchemy.exc import SQLAlchemyError

from cubital.errors import UnreadyRecord
from cubital.store.engine import for_writing, name_of
from cubital.store.fault import fault_of

_MIGRATIONS = Path(__file__).with_name("migrations")
_LOCK = 0x6375626974616D


def steps() -> ScriptDirectory:
    """The steps from one edition to the next that this program knows."""
    return ScriptDirectory(_MIGRATIONS, version_locations=[_MIGRATIONS])


def upgrade(engine: Engine) -> tuple[str | None, str]:
    """Bring the tables to the newest edition in one transaction; the edition before and after.

    Raises `UnreadyRecord` where the tables are of an edition that this program does not know.
    """
    where = name_of(engine)
    is_committing = False
    try:
        with engine.connect() as connection:
            if engine.dialect.name == "sqlite":
                # Readers do not wait for the writer, nor it for them; the file remembers it.
                connection.connection.driver_connection.execute("PRAGMA journal_mode = WAL")  # type: ignore[union-attr]
            with for_writing(connection).begin() as transaction:
                if engine.dialect.name == "postgresql":
                    connection.execute(select(func.pg_advisory_xact_lock(_LOCK)))
                found = _run(connection, where)
                is_committing = True
                transaction.commit()
        return found
    except SQLAlchemyError as error:
        raise fault_of(error, where=where, is_committing=is_committing) from error


def _run(connection: Connection, where: str) -> tuple[str | None, str]:
    script = steps()
    before = MigrationContext.configure(connection).get_current_revision()

    def find_steps(edition: Any, _: MigrationContext) -> Any:
        return script._upgrade_revs("head", edition)

    work: Callable[[Any, MigrationContext], Any] = find_steps
    try:
        with EnvironmentContext(Config(), script, fn=work) as environment:
            environment.configure(connection=connection, transactional_ddl=True)
            environment.run_migrations()
    except (CommandError, ResolutionError):
        raise UnreadyRecord(
            f"found tables of edition {before}, which this program does not know; use the newest program in use",
            where=where,
        ) from None
    after = MigrationContext.configure(connection).get_current_revision()
    if after is None:
        raise UnreadyRecord("found no edition after the upgrade", where=where)
    return before, after
