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
    """The first draw of the same visit to the patient: two identifiers are checked once for all draws of one time."""
    times = {one.number: one.at_min for one in plan.draws}
    return min(number for number, at_min in times.items() if at_min == times[draw])


def refuse_unchecked(
    taking: Taking, taps: Sequence[Tap], draw: int, *, by: str, station: str, at: datetime
) -> None:  # fmt: skip
    """Raise `TakingError` unless this person checked them for this draw at this device within `HOLDS` before."""
    check = check_of(taking.plan, draw)
    checks = [tap for tap in taps if tap.kind == "identified" and tap.step == check and tap.station == station]
    own = [tap.at for tap in checks if tap.by == by]
    if not checks:
        found, expected = "no check of two identifiers at this device", "one before the first tube"
    elif not own:
        found, expected = "a check of two identifiers by another person", "your own"
    elif at - max(own) > HOLDS:
        found, expected = "a check of two identifiers that is old", f"one within {HOLDS // timedelta(minutes=1)} min"
    else:
        return
    raise TakingError(f"found {found}; expected {expected}; check them with the patient", where=taking.code)
