"""What draws add up to over days, and where a limit over a period is passed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Context, Decimal
from fractions import Fraction

import msgspec

from cubital import facts

# A logarithm of Decimal is rounded alike on every machine; that of a float need not be.
_EXACT = Context(prec=28)


class Taken(msgspec.Struct, frozen=True, kw_only=True, order=True):
    """One draw: minutes since any fixed moment, and its volume."""

    at_min: int
    volume_ul: int


class Window(msgspec.Struct, frozen=True, kw_only=True):
    """The period of a cap in which most was taken: the draws from `first` to `last` in order of time."""

    volume_ul: int
    first: int
    last: int


def heaviest_window(draws: Sequence[Taken], period_h: int) -> Window | None:
    """The heaviest run of draws less than one period apart; None without a draw. Draws in order of time.

    Two draws exactly a period apart are in two periods.

    >>> heaviest_window([Taken(at_min=0, volume_ul=5), Taken(at_min=60, volume_ul=7)], 24).volume_ul
    12
    """
    best: Window | None = None
    first = running_ul = 0
    for last, draw in enumerate(draws):
        running_ul += draw.volume_ul
        while draw.at_min - draws[first].at_min >= 60 * period_h:
            running_ul -= draws[first].volume_ul
            first += 1
        if best is None or running_ul > best.volume_ul:
            best = Window(volume_ul=running_ul, first=first, last=last)
    return best


def cap_amount_ul(cap: facts.Cap, *, weight_g: int | None, blood_volume_ul: int | None) -> int | None:
    """The most blood that this cap allows in its period, rounded down; None where what it needs is not known.

    >>> cap = facts.sampling_limits()["feinstein-ill"].caps[0]
    >>> cap_amount_ul(cap, weight_g=10_000, blood_volume_ul=800_000)
    20000
    """
    amounts: list[int] = [] if cap.cap_ul is None else [cap.cap_ul]
    if cap.percent_of_tbv is not None:
        if blood_volume_ul is None:
            return None
        amounts.append(int(Fraction(cap.percent_of_tbv) * blood_volume_ul / 100))
    if cap.ul_per_kg is not None or cap.by_weight:
        if weight_g is None:
            return None
        if cap.ul_per_kg is not None:
            amounts.append(cap.ul_per_kg * weight_g // 1000)
        amounts += [
            next(row.cap_ul for row in cap.by_weight if row.weight_max_g is None or weight_g <= row.weight_max_g)
        ] if cap.by_weight else []  # fmt: skip
    return min(amounts)


def allowable_losses(blood_volume_ul: int, *, initial: Fraction, final: Fraction) -> Mapping[str, int]:
    """The blood that brings the hematocrit down to the final one, by the key of each formula, in uL rounded down.

    The volume is taken to be kept up with fluid while blood is lost. Sources: gross-1983, bourke-smith-1974,
    second-hand; the linear one is common practice. Raises `ValueError` for a hematocrit that is no share between 0 and
    1, and for a final one above the initial.

    >>> dict(allowable_losses(3_900_000, initial=Fraction(45, 100), final=Fraction(30, 100)))
    {'linear': 1300000, 'average': 1560000, 'logarithmic': 1581313}
    """
    if blood_volume_ul <= 0:
        raise ValueError(f"found a blood volume of {blood_volume_ul} uL; expected above 0")
    if not 0 < final <= initial < 1:
        raise ValueError(
            f"found hematocrits from {float(initial):g} to {float(final):g}; expected shares above 0 and below 1, the "
            "final one at most the initial"
        )
    ratio = initial / final
    logarithm = _EXACT.ln(_EXACT.divide(Decimal(ratio.numerator), Decimal(ratio.denominator)))
    return {
        "linear": int(blood_volume_ul * (initial - final) / initial),
        "average": int(blood_volume_ul * 2 * (initial - final) / (initial + final)),
        "logarithmic": int(_EXACT.multiply(logarithm, Decimal(blood_volume_ul))),
    }
