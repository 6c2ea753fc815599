"""Days and times as people write them and as the clocks of a site show them."""

from __future__ import annotations

import datetime

from cubital.errors import OrderError
from cubital.model import Site


def read_day(text: str, *, where: str) -> datetime.date:
    """The day of the calendar in this text; raises `OrderError` for anything but year-month-day.

    >>> read_day("2026-11-25", where="--on")
    datetime.date(2026, 11, 25)
    """
    try:
        if len(text) == 10 and text.isascii():
            return datetime.date.fromisoformat(text)
    except ValueError:
        pass  # refused below, in the same words as a text of another length
    raise OrderError(f"found {text[:40]!r}; expected a day of the calendar; write it as 2026-11-25", where=where)


def read_local(text: str, site: Site, *, where: str) -> datetime.datetime:
    """The instant at which the clocks of this site showed so; raises `LocalTimeError` where there is none, or two."""
    from cubital.exchange.local_time import read_local

    return read_local(text, site.time_zone, where=where)


def say_local(moment: datetime.datetime, site: Site) -> str:
    """The instant as the clocks of the site show it."""
    from cubital.exchange.local_time import say_local

    return say_local(moment, site.time_zone)
