"""Files that are whole or not there: a copy of a SQLite record while others write to it, or lines of one."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable
from pathlib import Path
from urllib.parse import quote

from cubital.errors import RecordUnavailable
from cubital.store.private import make_private


def copy_file(source: Path, target: Path) -> None:
    """Copy the record in `source` into a new file, as of one moment, with SQLite's online backup.

    Raises `RecordUnavailable` where either file cannot be used, or `target` is there already.
    """

    def write(beside: Path) -> None:
        reader = sqlite3.connect(f"file:{quote(str(source.absolute()))}?mode=ro", uri=True)
        writer = sqlite3.connect(beside)
        try:
            reader.backup(writer)
            # One file without a log beside it is what a person expects to carry away.
            writer.execute("PRAGMA journal_mode = DELETE")
        finally:
            writer.close()
            reader.close()

    _make(target, write)


def write_file(target: Path, lines: Iterable[bytes]) -> None:
    """Write these lines into a new file; raises `RecordUnavailable` where it cannot be, or is there already."""

    def write(beside: Path) -> None:
        with beside.open("wb") as file:
            file.writelines(lines)

    _make(target, write)


def _make(target: Path, write: Callable[[Path], None]) -> None:
    """Write beside the name, sync, and then name: a kill or a full disk leaves no half file of that name."""
    if target.exists():
        raise _fault(target, "a file of this name")
    beside = target.with_name(f".{target.name}.partial")
    try:
        beside.unlink(missing_ok=True)
        make_private(beside)
        write(beside)
        _sync(beside)
        beside.rename(target)
        _sync(target.parent)
    except (OSError, sqlite3.Error) as error:
        beside.unlink(missing_ok=True)
        raise _fault(target, getattr(error, "strerror", None) or str(error)) from error


def _fault(target: Path, found: str) -> RecordUnavailable:
    return RecordUnavailable(
        f"found {found}; nothing was written; name a new file on a disk with space", where=str(target)
    )


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
