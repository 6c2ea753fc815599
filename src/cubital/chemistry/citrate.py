"""Citrate tubes: the ratio at a fill, the citrate in the filled tube, and what a high hematocrit asks.

Two formulas for the citrate of a high hematocrit circulate and their V differ (CLSI H21-A5 2008 as
teaching pages give it): C = 1.85e-3 (100 - H) V has V = blood and a reference hematocrit of 0.40;
C = V (100 - H) / (595 - H) has V = blood and citrate together and a reference of 0.45.
"""

from __future__ import annotations

from fractions import Fraction

from cubital import facts

# The tube is exactly right, nine parts of blood to one, at this hematocrit.
REFERENCE_A = Fraction(40, 100)
REFERENCE_B = Fraction(45, 100)


def blood_to_citrate(fill: Fraction, *, blood_parts: int = 9) -> Fraction:
    """How many parts of blood stand to one of citrate in a tube filled to this share of its draw.

    >>> blood_to_citrate(Fraction(9, 10))
    Fraction(81, 10)
    """
    if fill < 0:
        raise ValueError(f"found a fill of {fill}; expected 0 or more, as a share of the draw")
    return fill * blood_parts


def citrate_in_tube(solution_mmol_per_l: Fraction, fill: Fraction, *, blood_parts: int = 9) -> Fraction:
    """The citrate in blood and solution together, in mmol/L, at this fill.

    >>> round(float(citrate_in_tube(Fraction(109), Fraction(1))), 1)
    10.9
    """
    return solution_mmol_per_l / (blood_to_citrate(fill, blood_parts=blood_parts) + 1)


def is_full_enough(fill: Fraction, rule: facts.Fill) -> bool:
    """Whether this fill, a share of the draw, meets this source's least fill.

    >>> [is_full_enough(Fraction(75, 100), rule) for rule in facts.fills()]
    [False, True, True]
    """
    return fill * 100 >= rule.fill_min_percent


def citrate_for_blood_ul(blood_ul: int, hematocrit: Fraction, *, reference: Fraction = REFERENCE_A) -> Fraction:
    """The citrate solution for this much blood, in uL, so that its plasma is citrated as at the reference.

    With the reference of 0.40 it is formula A. Not for a hematocrit at or below 0.55: those are not adjusted.

    >>> float(citrate_for_blood_ul(2700, Fraction(60, 100)))
    200.0
    """
    _check_hematocrit(hematocrit)
    return blood_ul * (1 - hematocrit) / (9 * (1 - reference))


def citrate_in_total_ul(total_ul: int, hematocrit: Fraction, *, reference: Fraction = REFERENCE_B) -> Fraction:
    """The citrate solution in this much blood and citrate together, in uL: formula B.

    >>> round(float(citrate_in_total_ul(3000, Fraction(60, 100))))
    224
    """
    _check_hematocrit(hematocrit)
    return total_ul * (1 - hematocrit) / (9 * (1 - reference) + 1 - hematocrit)


def _check_hematocrit(hematocrit: Fraction) -> None:
    if not 0 < hematocrit < 1:
        raise ValueError(f"found a hematocrit of {hematocrit}; expected a share above 0 and below 1")
