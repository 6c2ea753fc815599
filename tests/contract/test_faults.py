"""A killed station, eight that race, a full disk, a read-only file, a lost server: nothing answered is lost."""

from __future__ import annotations

import contextlib
import os
import random
import time
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from cubital.app.record import SpecimenRecord
from cubital.app.record_care import check_record
from cubital.app.wiring import open_record, open_store, upgrade_store
from cubital.errors import RecordUnavailable, UnreadyRecord
from cubital.handling.chain import entry_of
from cubital.model.record import Link
from cubital.store.engine import open_engine
from cubital.store.record import SqlRecord
from tests.contract.bench_worker import (
    begin,
    receive_all,
    stations,
    work_until_killed,
    write_one,
    write_until_refused,
)
from tests.contract.cluster import Cluster
from tests.contract.events import Clock, collected, in_order, judged, received

SPECIMENS = 2000
STATIONS = 8
NOBODY = 65534


def links_of(address: str, after: int = 0) -> list[Link]:
    store = open_store(address)
    try:
        with store.reading() as reading:
            return list(reading.links(after=after))
    finally:
        store.close()


def kill_two_busy_stations(address: str, run: int, chance: random.Random) -> list[str]:
    """Kill two stations with SIGKILL, each at a random moment of its work; the keys that they were answered."""
    pipes = [stations.Pipe() for _ in range(2)]
    busy = [begin(work_until_killed, address, 2 * run + n, there) for n, (_, there) in enumerate(pipes)]
    answered: list[str] = []
    for here, there in pipes:
        there.close()
        while (keys := here.recv()) != "warm":
            answered += keys
    for here, _ in pipes:
        here.send("go")
    for station in busy:
        time.sleep(chance.uniform(0, 0.02))
        station.kill()
    for station, (here, _) in zip(busy, pipes, strict=True):
        station.join()
        with contextlib.suppress(EOFError, ConnectionResetError):
            while True:
                answered += here.recv()
        here.close()
    return answered


def kill_stations(address: str, runs: int, *, seed: int = 20260302) -> tuple[int, int]:
    """Kill two stations a run; how many requests were answered, and how many written without an answer."""
    chance = random.Random(seed)
    store = open_store(address)
    seen = answered = silent = 0
    for run in range(runs):
        keys = kill_two_busy_stations(address, run, chance)
        with store.reading() as reading:
            links = list(reading.links(after=seen))
        seen += len(links)
        written = {link.key for link in links}
        assert set(keys) <= written
        assert_batches_are_whole(links)
        answered += len(keys)
        silent += len(written) - len(keys)
    found = check_record(store)
    store.close()
    assert (found.faults, found.head.sequence) == ((), seen)
    # Each station was killed past its first tube; a kill between commit and answer leaves at most one whole request.
    assert answered > 12 * runs
    assert 0 <= silent <= 4 * runs
    return answered, silent


@pytest.mark.parametrize(("kind", "runs"), [("sqlite", 120), ("postgresql", 30)])
def test_stations_killed_at_any_moment_lose_nothing_answered_and_leave_no_half_event(
    request: pytest.FixtureRequest, kind: str, runs: int
) -> None:
    # Two stations a run: 300 kills in all; `python -m tests.attack.stations` makes it 300 a database.
    kill_stations(request.getfixturevalue(f"{kind}_address"), runs)


REQUESTS = {("Collected", "Received"), ("Judged",), ("Aliquoted", "Poured"), ("Reported",)}


def assert_batches_are_whole(links: list[Link]) -> None:
    """Each request of a station is there with all of its events."""
    batches: dict[int, tuple[str, ...]] = {}
    for link in links:
        batches[link.batch] = (*batches.get(link.batch, ()), type(entry_of(link).content).__name__)
    assert set(batches.values()) <= REQUESTS


def race_stations(address: str) -> int:
    """Let eight stations race for two thousand specimens: one wins each, and the others are told who; how often."""
    record = open_record(address, now=Clock())
    record.append(*(step for number in range(SPECIMENS) for step in in_order(collected(f"s{number}"))))
    pipes = [stations.Pipe() for _ in range(STATIONS)]
    racing = [begin(receive_all, address, f"station-{n}", n, there) for n, (_, there) in enumerate(pipes)]
    for here, _ in pipes:
        assert here.recv() == "ready"
    for here, _ in pipes:
        here.send("go")
    told: list[tuple[list[str], list[tuple[str, str]]]] = [here.recv() for here, _ in pipes]
    for station in racing:
        station.join()
    winners: dict[str, str] = {}
    for number, (won, _) in enumerate(told):
        for name in won:
            assert winners.setdefault(name, f"station-{number}") == f"station-{number}"
    assert len(winners) == SPECIMENS
    losses = sum(len(lost) for _, lost in told)
    assert losses > STATIONS
    assert all(winners[name] == by for _, lost in told for name, by in lost)
    assert record.head().sequence == 2 * SPECIMENS
    record.close()
    return losses


def test_of_eight_stations_that_race_for_two_thousand_specimens_one_wins_each(address: str) -> None:
    race_stations(address)


def refused_in_a_process(address: str, **limits: Any) -> tuple[int, str, str]:
    here, there = stations.Pipe()
    station = stations.Process(target=write_until_refused, args=(address, there), kwargs=limits)
    station.start()
    there.close()
    told: tuple[int, str, str] = here.recv()
    station.join()
    here.close()
    return told


def assert_kept_and_writable(address: str, answered: int) -> None:
    """Every answered tube is there, nothing of the refused one, and the record goes on once it can be written."""
    assert len(links_of(address)) == 2 * answered
    store = open_store(address)
    assert check_record(store).faults == ()
    store.close()
    record = open_record(address, now=Clock())
    write_one(record, 999_999_999)
    record.close()


def test_a_file_that_may_not_grow_refuses_clearly_and_loses_nothing(sqlite_address: str) -> None:
    answered, kind, said = refused_in_a_process(sqlite_address, most_bytes=400_000)
    assert answered > 5
    assert kind == "RecordUnavailable"
    # The limit bites in the log, so that it is the commit which fails: the answer must not claim to know.
    assert "it is not known whether this was recorded" in said
    assert_kept_and_writable(sqlite_address, answered)


def test_a_full_database_refuses_clearly_and_loses_nothing(sqlite_address: str) -> None:
    engine = open_engine(sqlite_address)
    event.listen(engine, "connect", lambda connection, _: connection.execute("PRAGMA max_page_count = 60"))
    record = SpecimenRecord(SqlRecord(engine), now=Clock())
    answered = 0
    said = ""
    while not said:
        try:
            write_one(record, answered)
            answered += 1
        except RecordUnavailable as error:
            said = str(error)
    record.close()
    assert said.endswith("found database or disk is full; nothing was recorded; free space on the disk")
    assert answered > 5
    assert_kept_and_writable(sqlite_address, answered)


def test_a_full_disk_of_a_server_refuses_clearly_and_loses_nothing() -> None:
    full = Cluster(segment_mb=1, most_file_kb=1500)
    try:
        full.ask("CREATE DATABASE small")
        address = full.address("small")
        upgrade_store(address)
        record = open_record(address, now=Clock())
        answered = 0
        said = ""
        while not said:
            try:
                write_one(record, answered)
                answered += 1
            except RecordUnavailable as error:
                said = str(error)
        assert "could not extend file" in said
        assert said.endswith("nothing was recorded; free space on the disk")
        assert answered > 100
        assert record.head().sequence == 2 * answered
        record.close()
    finally:
        full.remove()


def test_a_file_that_may_not_be_written_refuses_clearly_and_can_still_be_read(sqlite_address: str) -> None:
    record = open_record(sqlite_address, now=Clock())
    write_one(record, 0)
    record.close()
    path = Path(sqlite_address)
    path.chmod(0o444)
    is_root = os.getuid() == 0
    for folder in (path.parent, *path.parent.parents):
        if is_root and folder.stat().st_uid == 0 and str(folder) != "/tmp" and len(folder.parts) > 2:
            folder.chmod(0o755)
    path.parent.chmod(0o755)
    answered, kind, said = refused_in_a_process(sqlite_address, user=NOBODY if is_root else None)
    assert (answered, kind) == (0, "RecordUnavailable")
    assert "readonly database; nothing was recorded; let this user write" in said
    path.chmod(0o644)
    assert len(links_of(sqlite_address)) == 2


def test_a_server_that_goes_away_and_comes_back_is_used_again_without_a_new_start(
    cluster: Cluster, postgresql_address: str
) -> None:
    record = open_record(postgresql_address, now=Clock())
    first = record.append(*in_order(collected("s1")))
    cluster.stop()
    try:
        with pytest.raises(RecordUnavailable, match="nothing was recorded; see that the server runs"):
            record.append(*in_order(received("s1"), after=1))
        with pytest.raises(RecordUnavailable):
            record.open_specimens()
    finally:
        cluster.start()
    assert record.history("s1") == first.entries
    assert record.append(*in_order(received("s1"), after=1)).specimens[0].events == 2
    record.close()


def test_an_answer_that_is_lost_with_the_server_is_said_to_be_unknown_and_a_retry_tells(
    cluster: Cluster, postgresql_address: str
) -> None:
    engine = open_engine(postgresql_address)
    record = SpecimenRecord(SqlRecord(engine), now=Clock())
    record.append(*in_order(collected("s1")))
    steps = in_order(received("s1"), after=1)
    event.listen(engine, "commit", lambda _: cluster.stop(), once=True)
    try:
        with pytest.raises(RecordUnavailable, match="not known whether this was recorded: send it again") as lost:
            record.append(*steps)
        assert not lost.value.is_outcome_known
    finally:
        cluster.start()
    said = record.append(*steps)
    again = record.append(*steps)
    assert (again.entries, again.is_repeat) == (said.entries, True)
    assert record.head().sequence == 2
    record.close()


def test_a_writer_that_is_kept_waiting_too_long_is_told(sqlite_address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cubital.store.engine.WAIT_S", 0.05)
    holding, waiting = open_store(sqlite_address), open_record(sqlite_address, now=Clock())
    with holding.writing(), pytest.raises(RecordUnavailable, match="database is locked; nothing was recorded"):
        waiting.append(*in_order(collected("s1")))
    assert waiting.append(*in_order(collected("s1"))).entries[0].sequence == 1
    holding.close()
    waiting.close()


def test_a_file_that_vanishes_is_not_made_anew_behind_ones_back(sqlite_address: str) -> None:
    record = open_record(sqlite_address, now=Clock())
    record.append(*in_order(collected("s1")))
    record.close()
    for path in Path(sqlite_address).parent.glob("record.db*"):
        path.unlink()
    with pytest.raises(RecordUnavailable, match="unable to open"):
        record.append(*in_order(judged("s1"), after=1))
    with pytest.raises(UnreadyRecord, match="no such file"):
        open_store(sqlite_address)
    assert not Path(sqlite_address).exists()


def test_a_file_of_something_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "letter.db"
    path.write_bytes(b"Dear laboratory, " * 200)
    record = open_record(str(path), now=Clock())
    with pytest.raises(
        RecordUnavailable, match="file is not a database; nothing was recorded; name the file of a record"
    ):
        record.append(*in_order(collected("s1")))
    record.close()
    assert path.read_bytes() == b"Dear laboratory, " * 200
