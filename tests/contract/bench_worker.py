"""Stations that run in processes of their own, to be killed or raced; started from a server without threads."""

from __future__ import annotations

import multiprocessing
import os
import random
import resource
from collections.abc import Callable
from datetime import timedelta
from multiprocessing.connection import Connection
from typing import Any

from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record
from cubital.errors import LostRace, RecordError, RecordUnavailable
from tests.contract.events import MORNING, Clock, aliquoted, collected, in_order, judged, received, reported

stations = multiprocessing.get_context("forkserver")
# The server loads the libraries once; each station is then forked from it in milliseconds.
stations.set_forkserver_preload(
    ["pytest", "tests.contract.bench_worker", "cubital.store.record", "cubital.store.migration"]
)


def begin(work: Callable[..., None], *arguments: Any) -> Any:
    """A started process that does this work."""
    process = stations.Process(target=work, args=arguments, daemon=True)
    process.start()
    return process


def work_until_killed(address: str, run: int, answers: Connection) -> None:
    """Fill, receive, judge, aliquot and report without end; the keys of each answered request are told.

    After the first tube it waits for a word, so that a kill finds it at work and not at its start.
    """
    record = open_record(address, now=Clock(MORNING + timedelta(seconds=run)))
    chance = random.Random(run)
    for number in range(1_000_000):
        name = f"r{run}-{number}"
        for steps in (
            in_order(collected(name), received(name)),
            in_order(judged(name), after=2),
            in_order(aliquoted(name, f"{name}-a", chance.randint(1, 400)), after=3),
            in_order(reported(name, "sodium"), after=4),
        ):
            said = record.append(*steps)
            answers.send([entry.content.key for entry in said.entries])
        if number == 0:
            answers.send("warm")
            answers.recv()


def receive_all(address: str, station: str, seed: int, answers: Connection) -> None:
    """Receive whatever is not received, as a bench does that reads its list now and then; tell what was won."""
    record = open_record(address, now=Clock())
    chance = random.Random(seed)
    answers.send("ready")
    answers.recv()
    won, lost = [], []
    while waiting := [one.id for one in record.open_specimens() if one.received_at is None]:
        for name in chance.sample(waiting, min(40, len(waiting))):
            try:
                record.append(*in_order(received(name, station=station, by=station), after=1))
                won.append(name)
            except LostRace as error:
                lost.append((error.specimen, error.by))
            except RecordUnavailable as error:
                # On a busy machine SQLite's lock may be held past the wait: nothing was recorded; it is tried again.
                if not error.is_outcome_known:
                    raise
    answers.send((won, lost))


def write_until_refused(
    address: str, answers: Connection, *, most_bytes: int | None = None, user: int | None = None
) -> None:
    """Write tubes until the database refuses; tell how many were answered, and the refusal."""
    if user is not None:
        os.setgroups([])
        os.setgid(user)
        os.setuid(user)
    record = open_record(address, now=Clock())
    if most_bytes is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))
    answered = 0
    try:
        for number in range(1_000_000):
            write_one(record, number)
            answered += 1
    except RecordError as error:
        answers.send((answered, type(error).__name__, str(error)))


def write_one(record: SpecimenRecord, number: int) -> None:
    """Record one tube with a receipt."""
    name = f"w{number}"
    record.append(*in_order(collected(name, irreplaceable="x" * 900), received(name)))
