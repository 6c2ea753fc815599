"""`cubital db`: make the record's tables, check it, back it up, restore it."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json

if TYPE_CHECKING:
    from cubital.app.ports import RecordStore
    from cubital.model.record import Head


_NONE_NOTED = "none given; what its owner cut off at the end or wrote anew is seen only with one"


def _refusing(command: Callable[..., int]) -> Callable[..., int]:
    """The command, saying an error raised on purpose in words, and with --json as a document too."""

    @functools.wraps(command)
    def run(**options: Any) -> int:
        from cubital.errors import CubitalError

        try:
            return command(**options)
        except CubitalError as error:
            complain(error)
            if options["as_json"]:
                write_json(document(error))
            return REFUSED

    return run


@contextmanager
def _opened(address: str) -> Iterator[RecordStore]:
    from cubital.app.wiring import open_store

    store = open_store(address)
    try:
        yield store
    finally:
        store.close()


@click.group()
def db() -> None:
    """Make, check, back up and restore the record of specimens."""


@db.command()
@wording.record_option
@wording.as_json
@_refusing
def upgrade(address: str, as_json: bool) -> int:
    """Make the tables of a record, or bring them to the newest edition."""
    from cubital.app.wiring import upgrade_store

    before, after = upgrade_store(address)
    with _opened(address) as store:
        where = store.where
    if as_json:
        write_json({"format": "cubital.record-upgrade/1", "db": where, "before": before, "after": after})
    elif before is None:
        print(f"{where}: made, edition {after}")
    elif before == after:
        print(f"{where}: edition {after} already")
    else:
        print(f"{where}: edition {before} brought to {after}")
    return 0


@db.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--portable", is_flag=True, help="Write lines that restore into either kind of database.")
@wording.record_option
@wording.as_json
@_refusing
def backup(file: Path, portable: bool, address: str, as_json: bool) -> int:
    """Write the record into a new FILE, read it back, and print its head; others may write meanwhile."""
    from cubital.app.wiring import back_up

    head = back_up(address, file, is_portable=portable)
    return _say(as_json, "cubital.record-backup/1", f"wrote {file}: {_entries(head)}", head, file=str(file))


@db.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@wording.record_option
@wording.as_json
@_refusing
def restore(file: Path, address: str, as_json: bool) -> int:
    """Put the backup in FILE into an empty record, which is made where there is none."""
    from cubital.app.record_care import restore_record
    from cubital.app.wiring import open_backup, upgrade_store

    with open_backup(file) as (head, links):
        upgrade_store(address)
        with _opened(address) as store:
            restored = restore_record(links, head, store)
            said = f"{store.where}: restored, {_entries(restored)}"
    return _say(as_json, "cubital.record-restore/1", said, restored, file=str(file))


@db.command()
@click.option("--head", "heads", metavar="N:HASH", multiple=True, help="A head noted earlier; repeatable.")
@click.option("--trail-head", "trail_heads", metavar="N:HASH", multiple=True, help="One of the trail; repeatable.")
@click.option("--heads", "file", metavar="FILE", type=click.Path(path_type=Path), help="Heads that `db note` wrote.")
@click.option("--against", metavar="FILE", type=click.Path(path_type=Path), help="A backup whose head must be in it.")
@wording.record_option
@wording.as_json
@_refusing
def check(
    heads: tuple[str, ...], trail_heads: tuple[str, ...], file: Path | None, against: Path | None, address: str,
    as_json: bool,
) -> int:  # fmt: skip
    """Say whether the record is what was written, and where it is not.

    What the owner of the database cut off at the end or wrote anew is seen only against a head noted elsewhere, or a
    backup: the answer says how many were given and met.
    """
    from cubital.app.record_care import check_record
    from cubital.app.wiring import head_of_backup, read_head, read_heads

    noted = [read_head(text) for text in heads] + ([head_of_backup(against)] if against else [])
    of_trail = [read_head(text, where="--trail-head") for text in trail_heads]
    if file is not None:
        for one in read_heads(file):
            noted.append(one.record)
            of_trail.append(one.trail)
    with _opened(address) as store:
        found = check_record(store, noted=noted, noted_of_trail=of_trail)
        where, is_private = store.where, store.is_private
    if as_json:
        write_json(
            {
                "format": "cubital.record-check/1", "db": where, "sound": not found.faults,
                "entries": found.head.sequence, "head": str(found.head), "specimens": found.specimens,
                "private": is_private, "trail_lines": found.trail.sequence, "trail_head": str(found.trail),
                "heads_met": found.met,
                "clock_behind": found.behind, "clock_trusted": found.trusted, "faults": list(found.faults),
            }
        )  # fmt: skip
        return REFUSED if found.faults else 0
    for fault in found.faults:
        print(f"error: {fault}")
    sound = "the chain is whole, but see above" if found.faults else "sound"
    print(f"{where}: {sound}; {_counted(found.specimens, 'specimen')}, {_entries(found.head)}")
    if not is_private:
        print(f"access: others on this machine may read it; run: chmod 600 {where}*")
    print(f"trail: {_counted(found.trail.sequence, 'line')}, head {found.trail}")
    print(f"heads noted elsewhere: {f'{found.met} met' if found.met else _NONE_NOTED}")
    if found.behind or found.trusted:
        times = _counted(found.trusted, "time")
        print(f"clock: behind the record at {_entries_of(found.behind)}, vouched for {times}")
    return REFUSED if found.faults else 0


@db.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@wording.record_option
@wording.as_json
@_refusing
def note(file: Path, address: str, as_json: bool) -> int:
    """Add where record and trail end now to FILE, which stands where the owner of the database cannot write it anew.

    `cubital db check --heads FILE` holds the record to every line of it.
    """
    from cubital.app.record_care import ends_of
    from cubital.app.wiring import note_heads

    with _opened(address) as store:
        ends = ends_of(store)
    note_heads(file, ends)
    said = f"added to {file}: {_entries(ends.record)}; trail head {ends.trail}"
    return _say(as_json, "cubital.record-note/1", said, ends.record, trail_head=str(ends.trail), file=str(file))


@db.command()
@wording.record_option
@wording.as_json
@_refusing
def rebuild(address: str, as_json: bool) -> int:
    """Compute the state of every specimen anew from its events, which are not touched."""
    from cubital.app.record_care import rebuild_states

    with _opened(address) as store:
        count = rebuild_states(store)
        where = store.where
    if as_json:
        write_json({"format": "cubital.record-rebuild/1", "db": where, "specimens": count})
    else:
        print(f"{where}: {_counted(count, 'state')} computed anew")
    return 0


@db.command("trust-clock")
@click.option("--by", required=True, metavar="WHO", help="Who vouches for the clock.")
@click.option("--station", required=True, metavar="WHERE", help="The station whose clock it is.")
@click.option("--why", required=True, metavar="WORDS", help="What had been wrong.")
@wording.record_option
@wording.as_json
@_refusing
def trust_clock(by: str, station: str, why: str, address: str, as_json: bool) -> int:
    """Vouch for this machine's clock after the record refused it as set back."""
    from cubital.app.wiring import open_record

    record = open_record(address)
    try:
        (entry,) = record.trust_clock(
            key=f"trust-clock/{record.head().sequence + 1}", by=by, station=station, why=why
        ).entries
    finally:
        record.close()
    said = f"entry {entry.sequence}: {by} vouches for the clock, {entry.recorded_at:%Y-%m-%d %H:%M:%S} UTC"
    if as_json:
        moment = entry.recorded_at.isoformat()
        write_json({"format": "cubital.record-clock/1", "entry": entry.sequence, "recorded_at": moment})
    else:
        print(said)
    return 0


def _say(as_json: bool, format: str, said: str, head: Head, **more: str) -> int:
    if as_json:
        write_json({"format": format, "entries": head.sequence, "head": str(head), **more})
    else:
        print(said)
    return 0


def _entries(head: Head) -> str:
    return f"{_entries_of(head.sequence)}, head {head}"


def _entries_of(count: int) -> str:
    return f"{count} entr{'y' if count == 1 else 'ies'}"


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
