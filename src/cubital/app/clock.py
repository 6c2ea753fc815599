"""What day it is here; the only code of the house that reads the clock."""

from __future__ import annotations

import datetime


def today() -> datetime.date:
    """The day by this machine's clock, in its own time zone."""
    return datetime.date.today()
