"""What someone wants to know of the trail, in words: who, about which tube or draw, on which day of the site."""

from __future__ import annotations

import datetime
from zoneinfo import ZoneInfo

from cubital.app.accounts import fold_name
from cubital.app.wiring import read_day
from cubital.errors import AccountError
from cubital.model.account import TrailAsk

MOST_LETTERS = 200


def trail_of_words(who: str, about: str, on: str, *, time_zone: str) -> TrailAsk:
    """The lines of this account, about what begins so, on this day as the clocks of the site have it.

    Empty words ask for nothing. Raises `OrderError` for what is no day, and `AccountError` for one out of this world.

    >>> trail_of_words(" Ben ", "", "2026-10-25", time_zone="Europe/Berlin").until.isoformat()
    '2026-10-25T23:00:00+00:00'
    """
    since = until = None
    if on.strip():
        day = read_day(on.strip(), where="day")
        try:
            since, until = (_midnight(one, time_zone) for one in (day, day + datetime.timedelta(days=1)))
        except OverflowError:
            raise AccountError(f"found {day}; expected a day of this age of the world", where="day") from None
    return TrailAsk(who=fold_name(who), about=about.strip()[:MOST_LETTERS], since=since, until=until)


def _midnight(day: datetime.date, time_zone: str) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time(), ZoneInfo(time_zone)).astimezone(datetime.UTC)
