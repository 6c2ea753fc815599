"""Transactions on one part of a database: many may read it, one at a time writes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Generic, TypeVar

from sqlalchemy import Connection, Engine, func, select
from sqlalchemy.exc import SQLAlchemyError

from cubital.store.engine import for_writing, name_of
from cubital.store.fault import fault_of
from cubital.store.record import refuse_other_edition

Book = TypeVar("Book")


class Books(Generic[Book]):
    """One part of a database, such as its accounts: each transaction on it is a `book`.

    `lock` is the number by which its writers wait for each other in PostgreSQL; each part has its own, so that a
    sign-in waits for no event. In SQLite every writer waits for every other.
    """

    def __init__(self, engine: Engine, book: Callable[[Connection], Book], *, lock: int) -> None:
        self._engine = engine
        self._book = book
        self._lock = lock
        self._is_ready = False

    @contextmanager
    def reading(self) -> Iterator[Book]:
        """A transaction that only reads."""
        with self._transaction(is_writing=False) as book:
            yield book

    @contextmanager
    def writing(self) -> Iterator[Book]:
        """A transaction that no other writer of this part overlaps; whole when it ends well, else not at all."""
        with self._transaction(is_writing=True) as book:
            yield book

    def close(self) -> None:
        """Give back every connection."""
        self._engine.dispose()

    @contextmanager
    def _transaction(self, *, is_writing: bool) -> Iterator[Book]:
        where = name_of(self._engine)
        is_committing = False
        try:
            with self._engine.connect() as connection:
                if is_writing:
                    for_writing(connection)
                with connection.begin() as transaction:
                    if is_writing and self._engine.dialect.name == "postgresql":
                        connection.execute(select(func.pg_advisory_xact_lock(self._lock)))
                    if not self._is_ready:
                        refuse_other_edition(connection, where=where)
                        self._is_ready = True
                    yield self._book(connection)
                    is_committing = is_writing
                    transaction.commit()
                    is_committing = False
        except SQLAlchemyError as error:
            raise fault_of(error, where=where, is_committing=is_committing) from error
