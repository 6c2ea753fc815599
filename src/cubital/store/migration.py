"""Bringing the tables of a record to the newest edition."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.script.revision import ResolutionError
from alembic.util.exc import CommandError
from sqlalchemy import Connection, Engine, func, select
from sqlalchemy.exc import SQLAlchemyError

from cubital.errors import UnreadyRecord
from cubital.store.engine import for_writing, name_of
from cubital.store.fault import fault_of

_HERE = Path(__file__).parent
_LOCK = 0x6375626974616D


def steps() -> ScriptDirectory:
    """The steps from one edition to the next that this program knows."""
    return ScriptDirectory.from_config(_config())


def upgrade(engine: Engine, edition: str = "head") -> tuple[str | None, str]:
    """Bring the tables to this edition, the newest one, in one transaction; the edition before and after.

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
                found = _run(connection, edition, where)
                is_committing = True
                transaction.commit()
        return found
    except SQLAlchemyError as error:
        raise fault_of(error, where=where, is_committing=is_committing) from error


def _run(connection: Connection, edition: str, where: str) -> tuple[str | None, str]:
    before = MigrationContext.configure(connection).get_current_revision()
    config = _config()
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, edition)
    except (CommandError, ResolutionError):
        raise UnreadyRecord(
            f"found tables of edition {before}, which this program does not know; use the newest program in use",
            where=where,
        ) from None
    after = MigrationContext.configure(connection).get_current_revision()
    if after is None:
        raise UnreadyRecord("found no edition after the upgrade", where=where)
    return before, after


def _config() -> Config:
    config = Config()
    # A percent sign would be a reference to another option.
    for name, folder in (("script_location", _HERE), ("version_locations", _HERE / "migrations")):
        config.set_main_option(name, str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    return config
