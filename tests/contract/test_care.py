"""A record that was tampered with is found and the place named; a backup restores into either kind of database."""

from __future__ import annotations

import os
import re
import threading
from pathlib import Path

import pytest
from msgspec.structs import replace
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from cubital.app.record import SpecimenRecord
from cubital.app.record_care import check_record, ends_of, rebuild_states, restore_record
from cubital.app.wiring import (
    back_up,
    head_of_backup,
    note_heads,
    open_accounts,
    open_backup,
    open_record,
    open_store,
    read_heads,
    upgrade_store,
)
from cubital.errors import BrokenChain, ExchangeError, RecordUnavailable, UnreadyRecord
from cubital.handling.chain import EMPTY, head_of, seal
from cubital.handling.record import pour, state_of
from cubital.model.record import AnyContent, Head, Link
from cubital.model.specimen import Spun
from cubital.store.engine import open_engine
from cubital.store.guards import find_faults
from tests.contract import hands
from tests.contract.conftest import KINDS
from tests.contract.events import MORNING, Clock, aliquoted, collected, in_order, judged, received, reported, said


@pytest.fixture
def kept(record: SpecimenRecord, clock: Clock) -> Head:
    """The head of a record of three specimens and seven entries, the last two with the clock a little behind."""
    record.append(*in_order(collected("s1"), received("s1"), judged("s1")))
    record.append(*in_order(aliquoted("s1", "a1"), after=3))
    clock.pass_s(-5)
    record.append(*in_order(collected("s2", at=clock.at), received("s2")))
    return record.head()


def check(address: str, *noted: Head) -> tuple[str, ...]:
    store = open_store(address)
    try:
        return check_record(store, noted=noted).faults
    finally:
        store.close()


def test_a_sound_record_is_said_to_be_sound_with_its_counts(address: str, kept: Head) -> None:
    store = open_store(address)
    found = check_record(store, noted=[kept])
    store.close()
    assert (found.head, found.specimens, found.faults) == (kept, 3, ())
    assert (found.behind, found.trusted) == (2, 0)


def test_an_empty_record_is_sound(address: str) -> None:
    assert check(address) == ()


@pytest.mark.parametrize(
    ("statement", "sequence", "said"),
    [
        ("UPDATE event SET body = replace(body, '1000', '9000') WHERE sequence = 1", 1, "of what it holds"),
        ("UPDATE event SET body = replace(body, 'accept', 'refuse') WHERE sequence = 3", 3, "of what it holds"),
        ("UPDATE event SET recorded_at = '2026-03-02T06:00:00.000000Z' WHERE sequence = 2", 2, "of what it holds"),
        ("UPDATE event SET behind_us = 0 WHERE sequence = 6", 6, "of what it holds"),
        ("UPDATE event SET batch = 2 WHERE sequence = 3", 3, "of what it holds"),
        (f"UPDATE event SET hash = '{'0' * 64}' WHERE sequence = 4", 4, "of what it holds"),
        ("UPDATE event SET key = 'other' WHERE sequence = 5", 5, "the columns"),
        ("UPDATE event SET specimen = 's9' WHERE sequence = 7", 7, "the columns"),
        ("DELETE FROM event WHERE sequence = 4", 4, "entries are missing"),
        ("DELETE FROM event WHERE sequence = 1", 1, "entries are missing"),
        ("UPDATE event SET body = 'nothing' WHERE sequence = 2", 2, "of what it holds"),
    ],
)
def test_a_broken_chain_is_found_and_its_first_broken_link_named(
    address: str, kept: Head, statement: str, sequence: int, said: str
) -> None:
    hands.run(address, statement)
    with pytest.raises(BrokenChain, match=said) as broken:
        check(address)
    assert (broken.value.sequence, broken.value.where) == (sequence, f"record entry {sequence}")


def test_entries_put_in_each_others_place_are_found(address: str, kept: Head) -> None:
    hands.run(
        address, "UPDATE event SET sequence = 1000 WHERE sequence = 2",
        "UPDATE event SET sequence = 2 WHERE sequence = 3", "UPDATE event SET sequence = 3 WHERE sequence = 1000",
    )  # fmt: skip
    with pytest.raises(BrokenChain) as broken:
        check(address)
    assert broken.value.sequence == 2


def test_a_cut_tail_is_found_against_the_note_of_the_database_itself_whatever_is_written_after(
    address: str, kept: Head, record: SpecimenRecord
) -> None:
    hands.run(address, "DELETE FROM event WHERE sequence >= 6", "DELETE FROM specimen WHERE id = 's2'")
    with pytest.raises(BrokenChain, match="cut short") as broken:
        check(address)
    assert broken.value.sequence == 6
    record.append(*in_order(collected("s3"), received("s3"), judged("s3")))
    with pytest.raises(BrokenChain, match="as noted") as broken:
        check(address)
    assert broken.value.sequence == 7


def test_a_cut_tail_whose_note_was_changed_too_is_found_only_against_a_head_noted_elsewhere(
    address: str, kept: Head, record: SpecimenRecord
) -> None:
    hash = record.since(4)[0].hash
    hands.run(
        address, "DELETE FROM event WHERE sequence >= 6", "DELETE FROM specimen WHERE id = 's2'",
        f"UPDATE chain_head SET sequence = 5, hash = '{hash}' WHERE chain = 'record'",
    )  # fmt: skip
    assert check(address) == ()
    with pytest.raises(BrokenChain, match="cut short") as broken:
        check(address, kept)
    assert broken.value.sequence == 6


def test_a_chain_written_anew_fits_and_is_found_only_against_a_head_noted_elsewhere(address: str, kept: Head) -> None:
    hands.write_anew(address, 6, '"patient":"patient-of-s2"', '"patient":"patient-of-s3"')
    store = open_store(address)
    rebuild_states(store)
    store.close()
    assert check(address) == ()
    with pytest.raises(BrokenChain, match="as noted"):
        check(address, kept)


def test_a_state_that_is_not_what_its_events_say_is_found_and_computed_anew(address: str, kept: Head) -> None:
    hands.run(address, "UPDATE specimen SET state = replace(state, '800', '900') WHERE id = 's1'")
    assert check(address) == (
        "specimen s1: its kept state is not what its events say; run: cubital db rebuild",
    )  # fmt: skip
    store = open_store(address)
    assert rebuild_states(store) == 3
    store.close()
    assert check(address, kept) == ()


def test_a_state_too_many_or_too_few_is_found(address: str, kept: Head) -> None:
    hands.run(address, "DELETE FROM specimen WHERE id = 'a1'")
    assert any("2 states are kept for 3 specimens" in fault for fault in check(address))


def test_a_version_that_does_not_count_on_is_found(address: str, kept: Head) -> None:
    hands.run(address, "UPDATE event SET version = 9 WHERE sequence = 7")
    assert check(address) == ("record entry 7: found version 9, expected 2",)


def test_events_that_cannot_have_happened_are_found_even_where_the_chain_fits(address: str, kept: Head) -> None:
    hands.write_anew(address, 4, '"volume_ul":200', '"volume_ul":5000')
    assert any("5000 uL taken" in fault for fault in check(address))


def test_an_aliquot_that_is_not_what_was_poured_is_found(address: str, kept: Head) -> None:
    hands.write_anew(address, 5, '"left_ul":200', '"left_ul":300')
    assert any("another first event of a1" in fault for fault in check(address))


@pytest.mark.parametrize("statement", ["UPDATE event SET body = 'x' WHERE sequence = 1", "DELETE FROM event"])
def test_the_database_itself_refuses_to_change_or_remove_an_event(address: str, kept: Head, statement: str) -> None:
    with pytest.raises(DBAPIError, match="only added to"):
        hands.run(address, statement, is_guarded=True)
    assert check(address, kept) == ()


def test_no_form_of_replacing_or_emptying_gets_past_the_guards(
    sqlite_address: str, postgresql_address: str, clock: Clock
) -> None:
    columns = "sequence, batch, recorded_at, behind_us, key, specimen, version, body, hash"
    upsert = f"INSERT INTO event SELECT {columns} FROM event ON CONFLICT (sequence) DO UPDATE SET key = 'k'"
    for address, statement in [
        (sqlite_address, f"INSERT OR REPLACE INTO event SELECT {columns} FROM event"),
        (sqlite_address, f"REPLACE INTO event SELECT {columns} FROM event"),
        (sqlite_address, "UPDATE OR REPLACE event SET key = 'k'"),
        (postgresql_address, "TRUNCATE event"),
        (postgresql_address, upsert),
    ]:
        record = open_record(address, now=clock)
        record.append(*in_order(collected("s1")))
        record.close()
        with pytest.raises(DBAPIError, match="only added to"):
            hands.run(address, statement, is_guarded=True)
        assert check(address) == ()


@pytest.mark.parametrize("target", KINDS)
@pytest.mark.parametrize("is_portable", [False, True])
def test_a_backup_restores_into_either_kind_and_is_the_same_record(
    address: str, kept: Head, record: SpecimenRecord, tmp_path: Path, request: pytest.FixtureRequest,
    target: str, is_portable: bool,
) -> None:  # fmt: skip
    backup = tmp_path / "backup"
    for head in (back_up(address, backup, is_portable=is_portable), head_of_backup(backup)):
        assert (head.sequence, head.hash) == (kept.sequence, kept.hash)
    restored_to = (
        str(tmp_path / "restored.db") if target == "sqlite" else request.getfixturevalue("second_postgresql_address")
    )
    upgrade_store(restored_to)
    store = open_store(restored_to)
    with open_backup(backup) as (head, links):
        assert restore_record(links, head, store).hash == kept.hash
    store.close()
    assert check(restored_to, kept) == ()
    restored = open_record(restored_to)
    assert restored.since(0) == record.since(0)
    assert sorted(restored.open_specimens(), key=lambda s: s.id) == sorted(record.open_specimens(), key=lambda s: s.id)
    restored.close()


def test_a_restored_record_goes_on_where_the_backup_ended(sqlite_address: str, tmp_path: Path, clock: Clock) -> None:
    record = open_record(sqlite_address, now=clock)
    record.append(*in_order(collected("s1")))
    record.close()
    back_up(sqlite_address, tmp_path / "backup")
    record = open_record(str(tmp_path / "backup"), now=clock)
    assert record.append(*in_order(received("s1"), after=1)).entries[0].sequence == 2
    record.close()
    assert check(str(tmp_path / "backup")) == ()


def test_a_backup_never_writes_over_a_file(address: str, kept: Head, tmp_path: Path) -> None:
    (tmp_path / "backup").write_bytes(b"dear")
    with pytest.raises(RecordUnavailable, match="a file of this name"):
        back_up(address, tmp_path / "backup")
    assert (tmp_path / "backup").read_bytes() == b"dear"
    with pytest.raises(RecordUnavailable, match="nothing was written"):
        back_up(address, tmp_path / "no folder" / "backup")


@pytest.mark.parametrize(
    ("harm", "sequence"),
    [
        (lambda lines: lines[:-1], 7),
        (lambda lines: lines[:3] + lines[4:], 3),
        (lambda lines: [*lines[:-1], lines[-1][:40]], 7),
        (lambda lines: [*lines[:2], lines[2].replace(b"bench-1", b"bench-2"), *lines[3:]], 2),
        (lambda lines: [*lines, lines[-1]], 8),
        (lambda lines: lines[:1], 1),
    ],
)
def test_a_harmed_backup_restores_nothing(
    address: str, sqlite_address: str, tmp_path: Path, kept: Head, harm: object, sequence: int
) -> None:
    backup, target = tmp_path / "backup", str(tmp_path / "target.db")
    back_up(address, backup, is_portable=True)
    assert callable(harm)
    backup.write_bytes(b"".join(harm(backup.read_bytes().splitlines(keepends=True))))
    upgrade_store(target)
    store = open_store(target)
    with pytest.raises(BrokenChain) as broken, open_backup(backup) as (head, links):
        restore_record(links, head, store)
    assert broken.value.sequence == sequence
    with store.reading() as reading:
        assert (reading.head().sequence, reading.count_states()) == (0, 0)
    store.close()


def test_a_restore_into_a_record_with_entries_is_refused(address: str, kept: Head, tmp_path: Path) -> None:
    back_up(address, tmp_path / "backup", is_portable=True)
    store = open_store(address)
    with pytest.raises(UnreadyRecord, match="found 7 entries"), open_backup(tmp_path / "backup") as (head, links):
        restore_record(links, head, store)
    store.close()


@pytest.mark.parametrize(
    "content", [b"", b"{}\n", b'{"format":"cubital.record/2","entries":0,"head":"x"}\n', b"PK\x03\x04"]
)
def test_a_file_that_is_no_backup_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "backup").write_bytes(content)
    with pytest.raises(ExchangeError), open_backup(tmp_path / "backup"):
        pass


def test_a_backup_taken_while_a_station_writes_is_of_one_moment(address: str, tmp_path: Path, clock: Clock) -> None:
    stop = threading.Event()
    failed: list[BaseException] = []

    def write() -> None:
        record = open_record(address, now=clock)
        try:
            number = 0
            while not stop.is_set():
                number += 1
                name = f"t{number}"
                record.append(*in_order(collected(name), received(name), aliquoted(name, f"a{number}")))
        except BaseException as error:
            failed.append(error)
        finally:
            record.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        heads = [back_up(address, tmp_path / f"backup-{n}", is_portable=n % 2 == 0) for n in range(6)]
    finally:
        stop.set()
        writer.join()
    assert failed == []
    assert all(head.sequence % 4 == 0 for head in heads)
    assert check(address, *heads) == ()


def test_a_test_is_reported_from_a_restored_record_only_once(address: str, kept: Head, tmp_path: Path) -> None:
    back_up(address, tmp_path / "backup", is_portable=True)
    target = str(tmp_path / "target.db")
    upgrade_store(target)
    store = open_store(target)
    with open_backup(tmp_path / "backup") as (head, links):
        restore_record(links, head, store)
    store.close()
    record = open_record(target, now=Clock())
    said = record.append(*in_order(reported("a1"), after=1))
    assert record.append(*in_order(reported("a1"), after=1)).entries == said.entries
    record.close()


def test_an_aliquot_as_an_older_edition_wrote_it_is_still_what_was_written(address: str) -> None:
    # Before 2026-11-28 the first event of an aliquot did not say when its plasma came off the cells.
    spun = Spun(rcf_g=1500, spin_s=600, temperature_c=20, **said("t", "spun"))
    event = aliquoted("t", "t-1")
    tube = state_of([collected("t", gel=False), spun])
    poured = pour(tube, event)
    of_old = replace(poured, aliquot=replace(poured.aliquot, separated_at=None))
    store = open_store(address)
    head: Head = EMPTY
    links: list[Link] = []
    told: tuple[tuple[int, AnyContent], ...] = ((1, collected("t", gel=False)), (2, spun), (3, event), (1, of_old))
    for version, content in told:
        links.append(seal(head, content, batch=head.sequence + 1, version=version, now=MORNING))
        head = head_of(links[-1])
    with store.writing() as writing:
        writing.append(links, ())
    rebuild_states(store)
    assert check_record(store).faults == ()
    store.close()


@pytest.mark.parametrize(
    ("statement", "column"),
    [
        ("UPDATE specimen SET status = 'gone' WHERE id = 's2'", "status"),
        ("UPDATE specimen SET status = 'kept' WHERE id = 's2'", "status"),
        ("UPDATE specimen SET patient = 'someone-else' WHERE id = 's2'", "patient"),
        ("UPDATE specimen SET version = 1 WHERE id = 's2'", "version"),
        ("UPDATE specimen SET drawn_at = '2020-01-01T00:00:00.000000Z' WHERE id = 's2'", "drawn_at"),
        ("UPDATE specimen SET drawn_at = NULL WHERE id = 's2'", "drawn_at"),
    ],
)
def test_a_column_that_a_tube_is_looked_up_by_and_that_its_events_do_not_give_is_found(
    address: str, kept: Head, statement: str, column: str
) -> None:
    hands.run(address, statement)
    assert check(address, kept) == (
        f"specimen s2: what is kept to look it up by ({column}) is not what its events say; run: cubital db rebuild",
    )
    store = open_store(address)
    rebuild_states(store)
    store.close()
    assert check(address, kept) == ()


@pytest.mark.parametrize(
    ("sqlite", "postgresql", "said"),
    [
        (["DROP TRIGGER event_is_not_changed"], ["DROP TRIGGER event_is_not_changed ON event"], "is not there"),
        (["DROP TRIGGER trail_is_not_removed"], ["ALTER TABLE trail DISABLE TRIGGER trail_is_not_changed"], "trail_is"),
        (
            ["DROP TRIGGER event_is_not_changed", "CREATE TRIGGER event_is_not_changed BEFORE UPDATE ON event "
             "WHEN 0 BEGIN SELECT 1; END"],
            ["CREATE OR REPLACE FUNCTION refuse_change_of_event() RETURNS trigger LANGUAGE plpgsql AS "
             "$$BEGIN RETURN NEW; END $$"],
            "event_is_not_changed is not as it was made",
        ),
        (
            ["CREATE TRIGGER forger AFTER INSERT ON specimen BEGIN UPDATE specimen SET status = 'gone'; END"],
            ["CREATE TRIGGER forger BEFORE UPDATE ON specimen FOR EACH ROW EXECUTE FUNCTION refuse_change_of_event()"],
            "forger is none of this program's",
        ),
        (
            ["DROP TRIGGER site_file_is_not_replaced"],
            ["CREATE RULE quiet AS ON INSERT TO trail DO INSTEAD NOTHING"], "site_file_is_not_replaced|the rule quiet",
        ),
    ],
)  # fmt: skip
def test_guards_that_are_gone_off_changed_or_strange_are_found(
    address: str, kept: Head, sqlite: list[str], postgresql: list[str], said: str
) -> None:
    is_server = address.startswith("postgresql")
    assert check(address) == ()
    engine = open_engine(address)
    with engine.connect() as connection:
        transaction = connection.begin()
        for statement in postgresql if is_server else sqlite:
            connection.execute(text(statement))
        found = tuple(find_faults(connection))
        transaction.rollback()
    engine.dispose()
    assert any(re.search(said, one) for one in found)


@pytest.fixture
def trail(address: str, clock: Clock, kept: Head) -> Head:
    """Where a trail of five lines ends, in the database of a record."""
    accounts = open_accounts(address, now=clock)
    accounts.set_up(accounts.setup_code, "ada", "seven quiet otters")
    visitor = accounts.visitor(accounts.sign_in("ada", "seven quiet otters", address=""))
    assert visitor is not None
    while len(accounts.trail(visitor)) < 5:
        accounts.note(visitor, "opened bench")
    accounts.close()
    store = open_store(address)
    head = check_record(store).trail
    store.close()
    assert head.sequence == 5
    return head


@pytest.mark.parametrize(
    ("statements", "said"),
    [
        (["UPDATE trail SET account = 'ben' WHERE sequence = 4"], "trail line 4: found the hash"),
        (["UPDATE trail SET did = 'nothing' WHERE sequence = 5"], "trail line 5: found the hash"),
        (["DELETE FROM trail WHERE sequence = 2"], "trail line 2: found line 3"),
        (["DELETE FROM trail WHERE sequence > 3"], "trail line 4: found the end at line 3, expected line 5 as noted"),
        (["DELETE FROM trail"], "trail line 1: found the end at line 0"),
        (["DELETE FROM trail", "DELETE FROM chain_head WHERE chain = 'trail'"], "the trail was emptied"),
        (["DELETE FROM chain_head WHERE chain = 'trail'"], "lost its note of where the trail ends"),
        (["DELETE FROM chain_head WHERE chain = 'record'"], "lost its note of where the record ends"),
    ],
)
def test_a_trail_that_is_not_what_was_written_is_found(
    address: str, trail: Head, statements: list[str], said: str
) -> None:
    assert check(address) == ()
    hands.run(address, *statements)
    assert any(said in one for one in check(address))


def test_a_trail_emptied_and_gone_on_with_is_still_found(address: str, trail: Head, clock: Clock) -> None:
    hands.run(address, "DELETE FROM trail")
    accounts = open_accounts(address, now=clock)
    for _ in range(9):
        accounts.sign_in("ada", "seven quiet otters", address="")
    accounts.close()
    assert any("trail line 5: found another hash than was noted" in one for one in check(address))


def test_a_trail_cut_by_an_owner_who_changes_the_note_is_found_only_against_a_head_noted_elsewhere(
    address: str, trail: Head
) -> None:
    hands.run(
        address, "DELETE FROM trail WHERE sequence > 3",
        "UPDATE chain_head SET sequence = 3, hash = (SELECT hash FROM trail WHERE sequence = 3) WHERE chain = 'trail'",
    )  # fmt: skip
    assert check(address) == ()
    store = open_store(address)
    found = check_record(store, noted_of_trail=[trail])
    store.close()
    assert found.faults == (
        "trail line 4: found the end at line 3, expected line 5 as noted; the trail was cut short",
    )


def test_heads_noted_in_a_file_are_met_and_say_so_and_an_older_end_stays_good(
    address: str, kept: Head, record: SpecimenRecord, tmp_path: Path
) -> None:
    file, store = tmp_path / "heads.txt", open_store(address)
    note_heads(file, ends_of(store))
    record.append(*in_order(collected("s5")))
    note_heads(file, ends_of(store))
    ends = read_heads(file)
    assert [one.record.sequence for one in ends] == [7, 8]
    found = check_record(store, noted=[one.record for one in ends], noted_of_trail=[one.trail for one in ends])
    assert (found.faults, found.met) == ((), 4)
    store.close()
    file.write_text(file.read_text() + "2026-03-02 nonsense\n")
    with pytest.raises(ExchangeError, match=r"line 3: found .*; expected a line as `cubital db note` writes it"):
        note_heads(file, ends[0])


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


def test_a_database_its_log_and_its_backups_are_their_owners_alone_whatever_the_umask(
    address: str, kept: Head, tmp_path: Path
) -> None:
    before = os.umask(0)
    try:
        made = tmp_path / "new" / "deeper" / "lab.db"
        upgrade_store(str(made))
        record = open_record(str(made), now=Clock())
        record.append(*in_order(collected("s1")))
        log = made.with_name("lab.db-wal")
        assert {mode(one) for one in (made, log)} == {0o600}
        record.close()
        assert {mode(made.parent), mode(made.parent.parent)} == {0o700}
        for number, is_portable in enumerate((False, True)):
            backup = tmp_path / f"night-{number}"
            back_up(address, backup, is_portable=is_portable)
            assert mode(backup) == 0o600
    finally:
        os.umask(before)


def test_folders_and_files_that_are_there_keep_their_modes(tmp_path: Path) -> None:
    folder, path = tmp_path / "ward", tmp_path / "ward" / "lab.db"
    folder.mkdir()
    folder.chmod(0o755)
    path.touch()
    path.chmod(0o640)
    upgrade_store(str(path))
    assert (mode(folder), mode(path)) == (0o755, 0o640)


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(RecordUnavailable, match="nothing was recorded; see that the file and its folder"):
        upgrade_store(str(tmp_path / "file" / "lab.db"))
