"""Which caps hold for a patient: of the limit that the site chose and of the programs that the patient is in."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from functools import cache
from typing import NamedTuple

from cubital import facts
from cubital.model import Patient, Site

DAY_H = 24


class Held(NamedTuple):
    """One cap as it holds: the most blood in its period, and what of that was drawn before the shortest period.

    `is_checked` is false where the cap's period is longer than the shortest and what was drawn in it is not known.
    """

    policy: facts.SamplingLimit
    cap: facts.Cap
    amount_ul: int
    earlier_ul: int
    is_checked: bool

    @property
    def left_ul(self) -> int:
        """What the cap leaves for the shortest period."""
        return max(0, self.amount_ul - self.earlier_ul)


def policies_for(patient: Patient, site: Site) -> tuple[facts.SamplingLimit, ...]:
    """The limits that hold for this patient: the site's choice, then those of the patient's programs; empty for none.

    A chosen limit that a faulty site does not have is not among them.
    """
    chosen = site.planning.blood_limit
    known = None if chosen is None else site.limits.get(chosen) or facts.sampling_limits().get(chosen)
    found = {} if known is None else {known.key: known}
    if site.limits:
        words = {facts.flag_word(flag) for flag in patient.flags}
        found |= {key: limit for key, limit in site.limits.items() if limit.program in words}
    return tuple(found.values())


def periods_h(policies: Iterable[facts.SamplingLimit], age_h: int | None) -> tuple[int, ...]:
    """The periods of the caps that hold at this age, in hours, the shortest first."""
    return tuple(sorted({cap.period_h for policy in policies for cap in policy.caps if cap.is_for(age_h)}))


def cap_ul(cap: facts.Cap, weight_g: int | None, volume_ul: int | None) -> tuple[int | None, bool]:
    """The least of the cap's amounts that can be worked out, rounded down, and whether all could be."""
    amounts = [] if cap.cap_ul is None else [cap.cap_ul]
    if cap.ul_per_kg is None and cap.percent_of_tbv is None and not cap.by_weight:
        return min(amounts), True
    if weight_g is None or volume_ul is None:
        return min(amounts, default=None), False
    if cap.ul_per_kg is not None:
        amounts.append(cap.ul_per_kg * weight_g // 1000)
    if cap.percent_of_tbv is not None:
        percent, per = _ratio(cap.percent_of_tbv)
        amounts.append(percent * volume_ul // (100 * per))
    for row in cap.by_weight:
        if row.weight_max_g is None or weight_g <= row.weight_max_g:
            amounts.append(row.cap_ul)
            break
    return min(amounts, default=None), True


def earlier_ul(patient: Patient, period_h: int, shortest_h: int) -> int | None:
    """What the record has of the longer period before the shortest; None where it was not looked at."""
    whole_ul, shortest_ul = recorded_ul(patient, period_h), recorded_ul(patient, shortest_h)
    return None if whole_ul is None or shortest_ul is None else max(0, whole_ul - shortest_ul)


def recorded_ul(patient: Patient, period_h: int) -> int | None:
    """What the record has of this period; None where it was not looked at."""
    return next((row.volume_ul for row in patient.recorded if row.period_h == period_h), None)


def drawn_in_a_day_ul(patient: Patient, shortest_h: int) -> int:
    """What was drawn before in 24 h: what was said, or of a shortest period of weeks what the record has of the day."""
    day_ul = None if shortest_h <= DAY_H else recorded_ul(patient, DAY_H)
    return patient.drawn_ul if day_ul is None else day_ul


@cache
def _ratio(number: Decimal) -> tuple[int, int]:
    """This number as numerator and denominator, for exact whole-number arithmetic."""
    return number.as_integer_ratio()


def period_text(hours: int) -> str:
    """A period in the unit that it is thought of in.

    >>> period_text(24), period_text(720), period_text(1344)
    ('24 h', '30 d', '8 weeks')
    """
    if hours <= 72 or hours % 24:
        return f"{hours} h"
    return f"{hours // 168} weeks" if hours % 168 == 0 and hours > 168 else f"{hours // 24} d"
