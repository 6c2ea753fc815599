"""The invented morning for a class: the board of the bench with a clock moved by hand, and why of every line."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from starlette.responses import Response

from cubital.app.taught_morning import BEGIN, END_MIN, LAST_DEED_MIN, STEP_MIN
from cubital.web.bench_page import strips_of
from cubital.web.bench_rows import WORDS_OF, rows_of
from cubital.web.bench_times import Times
from cubital.web.visit import Visit

FIRST_MIN = LAST_DEED_MIN
"""What is shown at first: the moment at which the bench would be looked at."""


def open_morning(visit: Visit) -> Response:
    """The board at the minute that was asked for; all of it is invented, and nothing of the record is in it."""
    morning = visit.desk.morning
    minute = _minute(visit)
    look = morning.look(minute)
    rows = rows_of(look, morning.site)
    times = Times(morning.site, look.view.page.at)
    shown: dict[str, Any] = {
        "board": rows, "most": len(rows.rows), "next_most": 0, "is_offered": False, "takes_scans": False,
        "here": "", "said": "", "is_demo": True, "places": (), "answered_at": times.to_second(),
        "minute": minute, "end_min": END_MIN, "step_min": STEP_MIN, "clock": times.short(look.view.page.at),
        "is_over": minute > LAST_DEED_MIN, "last_deed": _clock(visit, LAST_DEED_MIN),
        "moves": [(f"{step:+d} min".replace("-", "−"), minute + step) for step in (-60, -STEP_MIN, -5, 5, STEP_MIN, 60)
                  if 0 <= minute + step <= END_MIN],
        "changes": [
            (one.specimen, _said(one.before, one.after) or "not there", _said(one.after, None) or "nothing more to do")
            for one in morning.changes(minute)
        ],
        "site_name": morning.site.name, **strips_of(),
    }  # fmt: skip
    return visit.page("morning_due.html" if visit.is_partial else "morning.html", shown)


def _said(one: tuple[str, str] | None, after: tuple[str, str] | None) -> str:
    """What was to be done and how urgent it was; how urgent alone where just that has changed."""
    if one is None:
        return ""
    urgency = WORDS_OF[one[1]].lower()
    return urgency if after is not None and after[0] == one[0] else f"{one[0]}: {urgency}"


def _minute(visit: Visit) -> int:
    text = visit.query.get("min", "")
    asked = int(text) if text.isascii() and text.isdigit() and len(text) < 5 else FIRST_MIN
    return min(asked, END_MIN)


def _clock(visit: Visit, minute: int) -> str:
    site = visit.desk.morning.site
    return Times(site, BEGIN + timedelta(minutes=minute)).to_second()[:5]
