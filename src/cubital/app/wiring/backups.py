"""Backups of the record: written, read back, and the head that was noted of one."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from cubital.app.wiring.databases import open_store
from cubital.app.wiring.streams import unreadable
from cubital.errors import ExchangeError

if TYPE_CHECKING:
    from cubital.model.record import Head, Link, NotedEnds


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


def note_heads(path: Path, ends: NotedEnds) -> None:
    """Add a line with these ends to the file; raises `ExchangeError` where it cannot be, or is of another kind."""
    where = str(path)
    if path.exists():
        read_heads(path)
    moment = ends.at.astimezone(UTC)
    try:
        with path.open("a", encoding="ascii") as file:
            file.write(f"{moment:%Y-%m-%dT%H:%M:%SZ} record {ends.record} trail {ends.trail}\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise unreadable(where, error) from None


def read_heads(path: Path) -> list[NotedEnds]:
    """The ends that were noted in this file, oldest first; raises `ExchangeError` where a line is none."""
    from cubital.model.record import NotedEnds

    where = str(path)
    try:
        lines = path.read_text(encoding="ascii", errors="replace").splitlines()
    except OSError as error:
        raise unreadable(where, error) from None
    found = []
    for number, line in enumerate(lines, start=1):
        place = f"{where} line {number}"
        try:
            at, _, record, _, trail = line.split(" ")
            moment = datetime.fromisoformat(at)
        except ValueError:
            raise ExchangeError(
                f"found {line[:40]!r}; expected a line as `cubital db note` writes it", where=place
            ) from None
        found.append(
            NotedEnds(at=moment, record=read_head(record, where=place), trail=read_head(trail, where=place))
        )
    return found


def read_head(text: str, *, where: str = "--head") -> Head:
    """The head that was noted so, as `cubital db check` prints it; raises `ExchangeError` for anything else.

    Spaces between the digits, as on paper, are no part of it.

    >>> read_head("12:" + "ab" * 32).sequence
    12
    """
    from cubital.model.record import Head

    number, _, digits = "".join(text.split()).partition(":")
    if not (number.isascii() and number.isdigit() and re.fullmatch(r"[0-9a-f]{64}", digits)):
        raise ExchangeError(
            f"found {text[:80]!r}; expected a head as the check prints it: the number of an entry, a colon, 64 digits",
            where=where,
        )
    return Head(sequence=int(number), hash=digits)
