"""What hours on the cells do to serum or plasma before it is separated."""

from __future__ import annotations

from collections.abc import Mapping
from math import exp

from cubital.errors import UnitError
from cubital.facts.causes import Change, standing

MOST_HOURS = 96.0


def after_standing(native: Mapping[str, float], hours: float, *, temperature: str = "room") -> dict[str, float]:
    """What is left or has come of each analyte, in its own unit, after so many hours unseparated; 0 to 96.

    A share that is lost by the hour is lost of what is left; lactate gains at most two for each glucose lost where both
    are named. Nothing falls below 0. Analytes that no source names stay as they are: that is not known, not safe.

    >>> {key: round(value, 2) for key, value in after_standing({"glucose": 5.5, "potassium": 4.3}, 10).items()}
    {'glucose': 3.02, 'potassium': 4.35}
    """
    if not 0 <= hours <= MOST_HOURS:
        raise UnitError(f"found {hours} h; expected 0 to {MOST_HOURS:g}", where="hours on the cells")
    if temperature not in standing():
        raise UnitError(f"found {temperature!r}; expected one of {', '.join(standing())}", where="temperature")
    found = dict(native)
    for change in standing()[temperature].changes:
        if change.analyte in found:
            found[change.analyte] = max(0.0, _changed(found[change.analyte], change, hours))
    if "glucose" in native and "lactate" in native:
        most = native["lactate"] + 2 * (native["glucose"] - found["glucose"])
        found["lactate"] = min(found["lactate"], most)
    return found


def _changed(value: float, change: Change, hours: float) -> float:
    end = hours if change.to_h is None else min(hours, change.to_h)
    spent = max(0.0, end - change.from_h)
    if change.share_per_h is not None:
        return value * exp(-float(change.share_per_h) * spent)
    return value + float(change.amount_per_h or 0) * spent
