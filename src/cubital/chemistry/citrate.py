"""Citrate tubes: the ratio at a fill, the citrate in the filled tube, and what a high hematocrit asks.

Two formulas for the citrate of a high hematocrit circulate and their V differ (CLSI H21-A5 2008 as
teaching pages give it): C = 1.85e-3 (100 - H) V has V = blood and a reference hematocrit of 0.40;
C = V (100 - H) / (595 - H) has V = blood and citrate together and a reference of 0.45. So A is for measured
blood, which ends below the mark of the tube by what was taken out, and B for a tube filled to its mark.
"""

from __future__ import annotations

from fractions import Fraction

import msgspec

from cubital import facts

# The tube is exactly right, nine parts of blood to one, at this hematocrit.
REFERENCE_A = Fraction(40, 100)
REFERENCE_B = Fraction(45, 100)
_TRAP = "B with the blood put in for V"


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
    _check_amount(solution_mmol_per_l, "mmol/L of citrate")
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
    _check_amount(blood_ul, "uL of blood")
    _check_hematocrit(hematocrit)
    return blood_ul * (1 - hematocrit) / (9 * (1 - reference))


def citrate_in_total_ul(
    total_ul: int | Fraction, hematocrit: Fraction, *, reference: Fraction = REFERENCE_B
) -> Fraction:
    """The citrate solution in this much blood and citrate together, in uL: formula B.

    >>> round(float(citrate_in_total_ul(3000, Fraction(60, 100))))
    224
    """
    _check_amount(total_ul, "uL of blood and citrate")
    _check_hematocrit(hematocrit)
    return total_ul * (1 - hematocrit) / (9 * (1 - reference) + 1 - hematocrit)


class Adjustment(msgspec.Struct, frozen=True, kw_only=True):
    """One formula's citrate for a tube, in uL: what its V means, where it is exactly right, and what to remove.

    `filled_ul` is where blood and citrate together stand in the tube once it is filled as the formula means, and
    `under_mark_ul` how far that is below its mark, which stands where the tube's own citrate and its draw would.
    """

    formula: str
    v_means: str
    v_ul: int
    reference: Fraction
    citrate_ul: Fraction
    remove_ul: Fraction
    filled_ul: Fraction
    under_mark_ul: Fraction
    is_trap: bool = False


def adjustments(
    blood_ul: int, hematocrit: Fraction, *, tube_citrate_ul: Fraction | None = None
) -> tuple[Adjustment, ...]:
    """What each formula asks of a tube that draws this much blood.

    In order: A; B for the same blood; B for the tube filled to its mark; and the trap, B read with blood for its V.
    `tube_citrate_ul` is the solution in the tube, a ninth of the blood where it is not given. A formula asks what it
    asks at any hematocrit; whether to adjust at all is another question (over 0.55).

    >>> [round(float(found.remove_ul)) for found in adjustments(2700, Fraction(60, 100))]
    [100, 82, 76, 98]
    >>> [round(float(found.filled_ul)) for found in adjustments(2700, Fraction(60, 100))]
    [2900, 2918, 3000, 2902]
    """
    tube_ul = Fraction(blood_ul, 9) if tube_citrate_ul is None else tube_citrate_ul
    if blood_ul <= 0 or tube_ul <= 0:
        raise ValueError(f"found {blood_ul} uL of blood and {tube_ul} uL of citrate; expected both above 0")
    mark_ul = blood_ul + tube_ul
    by_a = citrate_for_blood_ul(blood_ul, hematocrit)
    by_b = citrate_for_blood_ul(blood_ul, hematocrit, reference=REFERENCE_B)
    by_mark = citrate_in_total_ul(mark_ul, hematocrit)
    misread = citrate_in_total_ul(blood_ul, hematocrit)
    total, blood = "blood and citrate together", Fraction(blood_ul)
    rows = (
        ("A: 1.85e-3 (100 - H) V", "the blood alone", blood, REFERENCE_A, by_a, blood + by_a),
        ("B: V (100 - H) / (595 - H)", f"{total}, of the same blood", blood + by_b, REFERENCE_B, by_b, blood + by_b),
        ("B for the tube's mark", f"{total}, to the mark", mark_ul, REFERENCE_B, by_mark, mark_ul),
        (_TRAP, "the blood alone, which B does not mean", blood, REFERENCE_B, misread, blood + misread),
    )
    return tuple(
        Adjustment(
            formula=formula, v_means=means, v_ul=int(v_ul), reference=reference, citrate_ul=citrate_ul,
            remove_ul=max(Fraction(0), tube_ul - citrate_ul), filled_ul=filled_ul, under_mark_ul=mark_ul - filled_ul,
            is_trap=formula == _TRAP,
        )
        for formula, means, v_ul, reference, citrate_ul, filled_ul in rows
    )  # fmt: skip


def plasma_citrate(
    solution_mmol_per_l: Fraction, hematocrit: Fraction, *, blood_parts: Fraction = Fraction(9)
) -> Fraction:
    """The citrate in the plasma of a filled tube, in mmol/L: cells take none of it.

    >>> round(float(plasma_citrate(Fraction(109), Fraction(45, 100))), 1)
    18.3
    """
    _check_amount(solution_mmol_per_l, "mmol/L of citrate")
    _check_amount(blood_parts, "parts of blood")
    _check_hematocrit(hematocrit)
    return solution_mmol_per_l / (blood_parts * (1 - hematocrit) + 1)


def _check_amount(amount: Fraction | int, of: str) -> None:
    if amount < 0:
        raise ValueError(f"found {float(amount):g} {of}; expected 0 or more")


def _check_hematocrit(hematocrit: Fraction) -> None:
    if not 0 < hematocrit < 1:
        raise ValueError(f"found a hematocrit of {hematocrit}; expected a share above 0 and below 1")
