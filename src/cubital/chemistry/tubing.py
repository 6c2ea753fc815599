"""What stands in the line: the volume of a tubing, and what it takes from the first tube."""

from __future__ import annotations

from fractions import Fraction
from math import pi


def tubing_ul(length_mm: float, bore_mm: float) -> float:
    """The volume inside a round tubing, in uL (a cubic millimetre is a microlitre).

    >>> round(tubing_ul(305, 1.45))
    504
    """
    if length_mm < 0 or bore_mm < 0:
        raise ValueError(f"found {length_mm} mm of {bore_mm} mm; expected 0 or more")
    return pi / 4 * bore_mm * bore_mm * length_mm


def first_fill(draw_ul: int, dead_ul: int) -> Fraction:
    """The share of its draw that the first tube gets when the line's dead volume of air goes in before.

    >>> first_fill(2700, 500)
    Fraction(22, 27)
    """
    if draw_ul <= 0 or dead_ul < 0:
        raise ValueError(f"found {draw_ul} uL and {dead_ul} uL; expected a draw above 0 and no negative volume")
    return Fraction(max(0, draw_ul - dead_ul), draw_ul)
