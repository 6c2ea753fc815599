"""Which published screens a sample meets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cubital.facts.screens import Part, Screen, screens
from cubital.model.results import Earlier, ResultSet


def screens_met(sample: ResultSet) -> tuple[Screen, ...]:
    """The screens of which this sample meets every part, in the order of screens.toml.

    A part about a result or an earlier result that is not there is not met.

    >>> from cubital.model.results import Result
    >>> salty = (Result(analyte="sodium", value=152.0), Result(analyte="chloride", value=103.0))
    >>> [screen.key for screen in screens_met(ResultSet(results=salty))]
    ['citrate-by-chloride', 'citrate-by-gap']
    """
    now = {result.analyte: result.value for result in sample.results}
    return tuple(
        screen
        for screen in screens().values()
        if all(part.of in now for part in screen.parts)
        and all(_is_met(part, now, _last(sample.previous, screen.earlier_max_h)) for part in screen.parts)
    )


def _last(previous: Sequence[Earlier], most_h: int | None) -> Mapping[str, float]:
    """The latest earlier result of each analyte, of those that are not too old."""
    if most_h is None:
        return {}
    latest_last = sorted(previous, key=lambda one: -one.hours_before)
    return {one.analyte: one.value for one in latest_last if one.hours_before <= most_h}


def _is_met(part: Part, now: Mapping[str, float], before: Mapping[str, float]) -> bool:
    found = _measured(part, now, before)
    if found is None:
        return False
    # Results are decimals as reported: a difference of 3.0 is met by 7.3 and 4.3, whatever binary makes of them.
    found = round(found, 9)
    return found >= float(part.at_least) if part.at_least is not None else found <= float(part.at_most or 0)


def _measured(part: Part, now: Mapping[str, float], before: Mapping[str, float]) -> float | None:
    """What this part compares, or None where a result for it is missing."""
    value = now[part.of]
    if part.less is not None:
        return value - now[part.less] if part.less in now else None
    if part.measure == "value":
        return value
    earlier = before.get(part.of)
    if earlier is None or (part.measure == "share-of-earlier" and earlier <= 0):
        return None
    return value - earlier if part.measure == "rise" else value / earlier
