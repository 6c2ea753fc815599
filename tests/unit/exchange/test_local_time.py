"""Local times and instants, on ordinary days and on those when the clocks are changed.

The rules of the zones are those of the IANA time zone database: central European time goes forward at
01:00 UTC on the last Sunday of March and back at 01:00 UTC on the last Sunday of October (Directive
2000/84/EC); Lord Howe Island moves by half an hour only (IANA, file `australasia`).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cubital.errors import LocalTimeError
from cubital.exchange.local_time import is_zone, read_local, say_local

BERLIN, LORD_HOWE = "Europe/Berlin", "Australia/Lord_Howe"


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "zone", "instant"),
    [
        ("2026-01-15 08:30", BERLIN, "2026-01-15 07:30"),
        ("2026-07-15 08:30:20", BERLIN, "2026-07-15 06:30:20"),
        ("2026-07-15T08:30", BERLIN, "2026-07-15 06:30"),
        ("2026-03-29 01:59:59", BERLIN, "2026-03-29 00:59:59"),
        ("2026-03-29 03:00", BERLIN, "2026-03-29 01:00"),
        ("2026-10-25 01:59:59", BERLIN, "2026-10-24 23:59:59"),
        ("2026-10-25 02:30+02:00", BERLIN, "2026-10-25 00:30"),
        ("2026-10-25 02:30 +01:00", BERLIN, "2026-10-25 01:30"),
        ("2026-10-25 03:00", BERLIN, "2026-10-25 02:00"),
        ("2026-04-05 01:45+10:30", LORD_HOWE, "2026-04-04 15:15"),
        ("2026-07-15 08:30Z", BERLIN, "2026-07-15 08:30"),
        ("2026-07-15 08:30-05:00", BERLIN, "2026-07-15 13:30"),
        ("2026-07-15 08:30", "UTC", "2026-07-15 08:30"),
    ],
)
def test_a_local_time_is_one_instant(text: str, zone: str, instant: str) -> None:
    assert read_local(text, zone, where="at") == utc(instant)


@pytest.mark.parametrize(
    ("text", "zone", "said"),
    [
        ("2026-03-29 02:00", BERLIN, "skipped"),
        ("2026-03-29 02:59:59", BERLIN, "skipped"),
        ("2026-10-04 02:15", LORD_HOWE, "skipped"),
        ("2026-10-25 02:00", BERLIN, "twice; expected 2026-10-25 02:00:00+02:00 or 2026-10-25 02:00:00+01:00"),
        ("2026-10-25 02:59:59", BERLIN, "twice"),
        ("2026-04-05 01:45", LORD_HOWE, "twice"),
        ("2026-02-30 08:00", BERLIN, "found '2026-02-30 08:00'"),
        ("2026-07-15 24:00", BERLIN, "expected a local time such as"),
        ("08:30", BERLIN, "expected a local time such as"),
        ("", BERLIN, "found ''"),
        ("2026-07-15 08:30+15:00", BERLIN, "the offset"),
        ("2026-07-15 08:30", "Mars/Olympus", "the time zone 'Mars/Olympus'"),
        ("0001-01-01 00:00+14:00", BERLIN, "this age"),
    ],
)
def test_a_time_that_the_clocks_never_or_twice_showed_is_refused(text: str, zone: str, said: str) -> None:
    with pytest.raises(LocalTimeError) as refused:
        read_local(text, zone, where="--at")
    assert said in str(refused.value)


def test_the_hour_shown_twice_is_printed_with_its_offset_and_no_other() -> None:
    shown = [say_local(utc("2026-10-24 23:30") + timedelta(hours=n), BERLIN)[11:] for n in range(4)]
    assert shown == ["01:30:00", "02:30:00+02:00", "02:30:00+01:00", "03:30:00"]


@given(
    st.integers(min_value=0, max_value=2**31 - 1),
    st.sampled_from([BERLIN, LORD_HOWE, "America/St_Johns", "Africa/Casablanca", "Asia/Kathmandu", "UTC"]),
)
def test_every_instant_is_read_back_from_how_it_is_printed(seconds: int, zone: str) -> None:
    instant = datetime(1975, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
    assert read_local(say_local(instant, zone), zone, where="at") == instant


def test_a_zone_is_known_by_its_name_only() -> None:
    assert is_zone(BERLIN)
    assert not any(map(is_zone, ["", "CET-1CEST", "../UTC", "Europe", "europe/berlin", "x" * 5000, "a\x00b"]))
