"""Whether two identifiers were checked for a tube: by whoever takes it, at the same device, and not long ago."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from cubital.errors import TakingError
from cubital.model import Plan
from cubital.model.taking import Taking, Tap

HOLDS = timedelta(minutes=30)
"""So long a check stands for whoever made it; then the patient may be another one. A house rule without a source."""


def check_of(plan: Plan, draw: int) -> int:
    """The first draw of the same visit to the patient: two identifiers are checked once for all draws of one time.

    Draws of which no minute is known may be hours apart: each has its own check.
    """
    times = {one.number: one.at_min for one in plan.draws}
    if times[draw] is None:
        return draw
    return min(number for number, at_min in times.items() if at_min == times[draw])


def is_void(check: Tap, elsewhere: Sequence[Tap], at: datetime) -> bool:
    """Whether whoever made this check made one of another draw, or one that failed, there after it, up to `at`."""
    return _voiding(check, elsewhere, at) is not None


def refuse_unchecked(
    taking: Taking, taps: Sequence[Tap], draw: int, *, by: str, station: str, at: datetime, elsewhere: Sequence[Tap]
) -> None:  # fmt: skip
    """Raise `TakingError` unless this person checked them for this draw at this device within `HOLDS` before.

    `elsewhere` are the checks of this person at this device within `HOLDS` before `at`, for any draw in hand: one of
    another draw after this one's voids it, for then another patient was at the chair; so does one that failed.
    """
    check = check_of(taking.plan, draw)
    checks = [tap for tap in taps if tap.kind == "identified" and tap.step == check and tap.station == station]
    own = [tap for tap in checks if tap.by == by]
    last = max(own, key=lambda tap: tap.at, default=None)
    if not checks:
        found, expected = "no check of two identifiers at this device", "one before the first tube"
    elif last is None:
        found, expected = "a check of two identifiers by another person", "your own"
    elif at - last.at > HOLDS:
        found, expected = "a check of two identifiers that is old", f"one within {HOLDS // timedelta(minutes=1)} min"
    elif (later := _voiding(last, elsewhere, at)) is not None:
        found = "that you checked the patient of another draw since"
        if later.kind == "mismatched":
            found = "that a check of two identifiers failed since"
        expected = "a new check of this patient"
    else:
        return
    raise TakingError(f"found {found}; expected {expected}; check them with the patient", where=taking.code)


def _voiding(check: Tap, elsewhere: Sequence[Tap], at: datetime) -> Tap | None:
    own = [tap for tap in elsewhere if (tap.by, tap.station) == (check.by, check.station) and check.at < tap.at <= at]
    return next((tap for tap in own if tap.kind == "mismatched" or tap.taking != check.taking), None)
