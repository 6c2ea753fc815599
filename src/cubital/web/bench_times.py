"""How the pages of the bench say instants and spans: by the clocks of the site, to the minute."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from cubital.app.wiring import say_local
from cubital.model import Site

_DAY_S = 86_400


class Times:
    """The words of one page, which is looked at `now`."""

    def __init__(self, site: Site, now: datetime) -> None:
        self.site, self.now = site, now
        self._today = self.whole(now)[:10]

    @property
    def today(self) -> date:
        """The day that it is at the site."""
        return self.now.astimezone(ZoneInfo(self.site.time_zone)).date()

    def whole(self, moment: datetime) -> str:
        """Day and hour, with the offset where the clocks showed it twice."""
        text = say_local(moment, self.site)
        return text[:16] + text[19:]

    def to_second(self) -> str:
        """The hour of this look, to the second."""
        return say_local(self.now, self.site)[11:]

    def short(self, moment: datetime | None) -> str:
        """The hour, with the day where it is another one; nothing for none."""
        if moment is None:
            return ""
        text = self.whole(moment)
        return text[11:] if text[:10] == self._today else text[5:]

    def left(self, moment: datetime) -> str:
        """How long until then, or since then, in whole minutes, hours or days; never more than is left."""
        return span_words(abs(self.seconds(moment)))

    def seconds(self, moment: datetime) -> int:
        """How many seconds until then; below 0 where it is past."""
        return (moment - self.now) // timedelta(seconds=1)


def span_words(seconds: int) -> str:
    """A span in the largest units that matter, cut and never rounded up.

    >>> span_words(59), span_words(5400), span_words(3 * 86_400 + 7200), span_words(7200)
    ('under 1 min', '1 h 30 min', '3 d', '2 h')
    """
    if seconds < 60:
        return "under 1 min"
    minutes = seconds // 60
    if minutes < 60:
        return f"{minutes} min"
    if seconds < _DAY_S:
        return f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")
    return f"{seconds // _DAY_S} d"
