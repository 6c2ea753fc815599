"""What day and what instant it is; the only code of the house that reads the clock."""

from __future__ import annotations

import datetime


def today() -> datetime.date:
    """The day by this machine's clock, in its own time zone."""
    return datetime.date.today()


def now() -> datetime.datetime:
    """The instant by this machine's clock, in UTC."""
    return datetime.datetime.now(datetime.UTC)
