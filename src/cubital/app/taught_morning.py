"""The invented morning for a class: its board at any minute of it. It is in no record, and shows nothing of one."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import cached_property

import msgspec

from cubital.app.bench_board import look_at_board
from cubital.app.demo_morning import invent_morning
from cubital.app.known import Known
from cubital.app.live_board import Look
from cubital.app.wiring import open_site, passing_record
from cubital.handling.record import state_of
from cubital.model import Site
from cubital.model.specimen import AnyEvent, Specimen

BEGIN = datetime(2026, 11, 25, 6, 30, tzinfo=UTC)
"""An invented day; the first draw is at this minute, and the last thing that anybody does is at `LAST_DEED_MIN`."""
LAST_DEED_MIN, END_MIN, STEP_MIN = 270, 540, 15
MOST = 60


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """What stands otherwise than before: what to do and how urgent, then and now; None where not on the board."""

    specimen: str
    before: tuple[str, str] | None
    after: tuple[str, str] | None


class TaughtMorning:
    """The invented morning of the demo site, worked out when it is first looked at; every class sees the same."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._events: dict[str, tuple[AnyEvent, ...]] | None = None

    @cached_property
    def site(self) -> Site:
        """The invented demo site, whatever site the server is of."""
        return open_site(demo=True)

    def look(self, minute: int) -> Look:
        """The board at this minute of the morning, 0 to `END_MIN`: after the last deed only time goes on."""
        now = BEGIN + timedelta(minutes=min(max(minute, 0), END_MIN))
        specimens = {one.id: one for one in self._states(now) if one.waiting}
        known = (Known(one) for one in specimens.values())
        return Look(view=look_at_board(known, self.site, now=now, most=MOST), specimens=specimens)

    def changes(self, minute: int, *, over_min: int = STEP_MIN) -> tuple[Change, ...]:
        """What became of each line in the last minutes: what came, became due or late, was done, or was lost."""
        then, now = (_standing(self.look(one)) for one in (minute - over_min, minute))
        return tuple(
            Change(specimen=id, before=then.get(id), after=now.get(id))
            for id in dict.fromkeys((*now, *then))
            if then.get(id) != now.get(id)
        )

    def _states(self, now: datetime) -> Iterable[Specimen]:
        for events in self._morning().values():
            past = [event for event in events if event.at <= now]
            if past:
                yield state_of(past)

    def _morning(self) -> dict[str, tuple[AnyEvent, ...]]:
        with self._lock:
            if self._events is None:
                self._events = self._invented()
            return self._events

    def _invented(self) -> dict[str, tuple[AnyEvent, ...]]:
        last = BEGIN + timedelta(minutes=LAST_DEED_MIN)
        found: dict[str, tuple[AnyEvent, ...]] = {}
        with passing_record(now=lambda: last) as record:
            invent_morning(record, self.site, now=last)
            for entry in record.since(0, limit=10_000):
                if isinstance(entry.content, AnyEvent):
                    found[entry.content.specimen] = (*found.get(entry.content.specimen, ()), entry.content)
        return found


def _standing(look: Look) -> dict[str, tuple[str, str]]:
    lost = {id: ("refuse and draw again", "lost") for id, _ in look.view.page.lost}
    return lost | {line.specimen: (line.text, line.urgency) for line in look.view.page.lines}
