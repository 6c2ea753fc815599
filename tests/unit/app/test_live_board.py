"""The board that is kept between looks: the same as one made anew, after whatever was recorded meanwhile."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest

from cubital.app.bench_board import look_at_board
from cubital.app.deeds import Doer, record_discard, record_pouring, record_storage
from cubital.app.demo_morning import PREFIX, invent_morning, offers_morning
from cubital.app.known import known_of
from cubital.app.live_board import LiveBoard
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, open_site, upgrade_store
from cubital.errors import RecordError
from cubital.model import Site

NOW = datetime.datetime(2026, 11, 25, 8, 0, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def site() -> Site:
    """The demo site."""
    return open_site(demo=True)


@pytest.fixture
def record(tmp_path: Path) -> Iterator[SpecimenRecord]:
    """An empty record."""
    path = str(tmp_path / "record.db")
    upgrade_store(path)
    found = open_record(path, now=lambda: NOW)
    yield found
    found.close()


def anew(record: SpecimenRecord, site: Site, now: datetime.datetime) -> object:
    """The board as it is made from the whole record."""
    return look_at_board(known_of(record, record.open_specimens()), site, now=now)


def test_the_kept_board_is_the_one_made_anew_whatever_was_recorded(record: SpecimenRecord, site: Site) -> None:
    board = LiveBoard(record, site)
    assert board.look(NOW, most=1000).view == anew(record, site, NOW)
    invent_morning(record, site, now=NOW)
    first = board.look(NOW, most=1000)
    assert first.view == anew(record, site, NOW)
    assert first.view.page.late
    assert first.view.page.waiting
    assert first.view.page.lost
    ids = [line.specimen for line in first.view.page.lines]
    doer = Doer("p1", "bench", NOW)
    record_storage(record, ids[:2], doer, storage="cold")
    record_discard(record, ids[2:4], doer, why="invented")
    plasma = next(one for one in record.open_specimens() if one.spins and one.waiting)
    record_pouring(record, plasma.id, doer, into="X-1", volume_ul=100, tests=plasma.waiting[:1])
    for later_min in (0, 1, 30, 600):
        now = NOW + datetime.timedelta(minutes=later_min)
        assert board.look(now, most=1000).view == anew(record, site, now)
    shown = [line.specimen for line in board.look(NOW, most=1000).view.page.lines]
    assert "X-1" in shown
    assert not set(ids[2:4]) & set(shown)


def test_a_look_shows_at_most_so_many_lines_and_counts_them_all(record: SpecimenRecord, site: Site) -> None:
    invent_morning(record, site, now=NOW)
    board = LiveBoard(record, site)
    whole, part = board.look(NOW, most=1000), board.look(NOW, most=3)
    assert len(part.view.page.lines) == 3
    assert part.view.page.lines == whole.view.page.lines[:3]
    assert part.view.page.due == whole.view.page.due
    assert set(part.specimens) >= {line.specimen for line in part.view.page.lines}


def test_an_invented_morning_goes_only_into_an_empty_record_of_the_demo_site(
    record: SpecimenRecord, site: Site
) -> None:
    assert offers_morning(record, is_demo=True)
    assert not offers_morning(record, is_demo=False)
    count = invent_morning(record, site, now=NOW)
    assert not offers_morning(record, is_demo=True)
    with pytest.raises(RecordError, match="expected an empty one"):
        invent_morning(record, site, now=NOW)
    specimens = record.kept_specimens()
    assert len(specimens) == count > 20
    assert all(one.id.startswith(PREFIX) and one.patient.startswith("invented-") for one in specimens)
    assert any(one.irreplaceable for one in specimens)
    assert any(verdict.outcome == "refuse" for one in specimens for verdict in one.verdicts.values())
