"""Backups of the record: written, read back, and the head that was noted of one."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from cubital.app.wiring.databases import open_store
from cubital.app.wiring.streams import unreadable
from cubital.errors import ExchangeError

if TYPE_CHECKING:
    from cubital.model.record import Head, Link


def back_up(address: str, target: Path, *, is_portable: bool = False) -> Head:
    """Write a backup of the record into a new file, read it back, and say with which head it ends.

    A SQLite record is copied as a SQLite file, unless it `is_portable`; one in PostgreSQL is written
    as lines, which restore into either. Others may write meanwhile.
    """
    store = open_store(address)
    from cubital.app.record_care import read_back
    from cubital.exchange import record_lines
    from cubital.store.copy import copy_file, write_file

    try:
        file = store.file
        if file is not None and not is_portable:
            copy_file(file, target)
        else:
            with store.reading() as record:
                write_file(target, record_lines.write_lines(record.head(), record.links()))
        with open_backup(target) as (head, links):
            read_back(links, head)
        return head
    finally:
        store.close()


@contextlib.contextmanager
def open_backup(path: Path) -> Iterator[tuple[Head, Iterator[Link]]]:
    """The head and the entries of a backup, of either form; raises `ExchangeError` where it is none."""
    from cubital.exchange import record_lines

    where = str(path)
    try:
        file = path.open("rb")
    except OSError as error:
        raise unreadable(where, error) from None
    with file:
        start = file.read(100)
        file.seek(0)
        if record_lines.is_lines(start):
            yield record_lines.read_heading(file, where=where), record_lines.read_links(file, where=where)
            return
    if not start.startswith(b"SQLite format 3\x00"):
        raise ExchangeError("found a file of another kind; expected a backup of a record", where=where)
    store = open_store(where)
    try:
        with store.reading() as record:
            yield record.head(), record.links()
    finally:
        store.close()


def head_of_backup(path: Path) -> Head:
    """The head with which this backup ends."""
    with open_backup(path) as (head, _):
        return head


def read_head(text: str) -> Head:
    """The head that was noted so, as `cubital db check` prints it; raises `ExchangeError` for anything else.

    >>> read_head("12:" + "ab" * 32).sequence
    12
    """
    from cubital.model.record import Head

    number, _, digits = text.strip().partition(":")
    if not (number.isascii() and number.isdigit() and re.fullmatch(r"[0-9a-f]{64}", digits)):
        raise ExchangeError(
            f"found {text[:80]!r}; expected a head as the check prints it: the number of an entry, a colon, 64 digits",
            where="--head",
        )
    return Head(sequence=int(number), hash=digits)
