"""What is to be said of the times of one order's own events: never kept with a draft, which like orders share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from cubital.model import Caution, Draw, Site
from cubital.planning.cautions import caution_of


def from_due(draws: Sequence[Draw], now: datetime | None, unneeded: Sequence[str], site: Site) -> list[Caution]:
    """A stop for each draw whose time is past at `now`, and a warning of events that fix no draw."""
    found = []
    for draw in draws:
        if now is not None and draw.due_to is not None and draw.due_to < now:
            text = (
                f"draw {draw.number} ({draw.label}) was due by {_clock(draw.due_to, now, site)} and it is "
                f"{_clock(now, now, site)}: too late for its moment; ask whether to draw it, and write down the time "
                "of the draw"
            )
            found.append(caution_of("stop", text, about=f"draw {draw.number}"))
    if unneeded:
        text = f"no draw of this order depends on {' or '.join(unneeded)}: check the drug, the patient and the order"
        found.append(caution_of("warn", text))
    return found


def _clock(at: datetime, now: datetime, site: Site) -> str:
    """The instant as the clocks of the site show it, with its day where that is not the day of `now`."""
    from zoneinfo import ZoneInfo  # read from disk, and most plans have no event

    here, today = (instant.astimezone(ZoneInfo(site.time_zone)) for instant in (at, now))
    return f"{here:%H:%M}" if here.date() == today.date() else f"{here:%Y-%m-%d %H:%M}"
