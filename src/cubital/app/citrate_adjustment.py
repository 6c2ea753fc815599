"""The citrate of a high hematocrit: both published formulas, what the V of each means, and the trap between them."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import msgspec

from cubital import facts
from cubital.chemistry.citrate import Adjustment, adjustments, plasma_citrate
from cubital.errors import UnitError

FORMAT = "cubital.citrate/1"
CITRATE_MMOL_PER_L = Fraction(109)


class CitrateAdvice(msgspec.Struct, frozen=True, kw_only=True):
    """Whether a tube of this hematocrit is adjusted, and what each formula asks."""

    hematocrit: Fraction
    blood_ul: int
    tube_citrate_ul: Fraction
    is_adjusted: bool
    threshold: Fraction
    plasma_citrate_mmol_per_l: Fraction
    formulas: tuple[Adjustment, ...]
    remove_ul: Fraction | None
    words: tuple[str, ...]
    rests_on: tuple[str, ...]


def citrate_advice(hematocrit: Fraction, blood_ul: int, *, tube_citrate_ul: Fraction | None = None) -> CitrateAdvice:
    """What to do with a citrate tube for this hematocrit and this much blood.

    Raises `UnitError` for a hematocrit that is no share and for a tube that is no 9:1 tube of this blood.

    >>> float(citrate_advice(Fraction("0.60"), 2700).remove_ul)
    100.0
    """
    if not Fraction(5, 100) <= hematocrit <= Fraction(85, 100):
        raise UnitError(
            f"found a hematocrit of {float(hematocrit):g}; expected a share from 0.05 to 0.85, such as 0.60",
            where="hematocrit",
        )
    if not 0 < blood_ul <= 20_000:
        raise UnitError(f"found {blood_ul / 1000:g} mL of blood; expected above 0 and at most 20 mL", where="blood")
    tube_ul = Fraction(blood_ul, 9) if tube_citrate_ul is None else tube_citrate_ul
    if not Fraction(9, 10) <= 9 * tube_ul / blood_ul <= Fraction(11, 10):
        raise UnitError(
            f"found {float(tube_ul) / 1000:g} mL of citrate for {blood_ul / 1000:g} mL of blood; expected a ninth, "
            f"{blood_ul / 9000:.3g} mL, give or take a tenth",
            where="citrate",
        )
    caution = facts.safety()["high-hematocrit"]
    threshold = Fraction(caution.limit_fraction or 0)
    is_adjusted = hematocrit > threshold
    rows = adjustments(blood_ul, hematocrit, tube_citrate_ul=tube_ul)
    return CitrateAdvice(
        hematocrit=hematocrit, blood_ul=blood_ul, tube_citrate_ul=tube_ul, is_adjusted=is_adjusted,
        threshold=threshold, formulas=rows, remove_ul=rows[0].remove_ul if is_adjusted else None,
        plasma_citrate_mmol_per_l=plasma_citrate(CITRATE_MMOL_PER_L, hematocrit, blood_parts=blood_ul / tube_ul),
        words=_words(is_adjusted, threshold, rows, mark_ul=blood_ul + tube_ul),
        rests_on=tuple(mark.label() for mark in caution.marks),
    )  # fmt: skip


def _words(
    is_adjusted: bool, threshold: Fraction, rows: tuple[Adjustment, ...], *, mark_ul: Fraction
) -> tuple[str, ...]:  # fmt: skip
    by_a, _, by_mark, _ = rows
    small = facts.safety()["small-citrate-tube"]
    is_small = small.limit_ul is not None and mark_ul < small.limit_ul
    if not is_adjusted:
        return (
            f"not adjusted: only a hematocrit over {float(threshold):g} is, and a low one never",
            "what the formulas would ask is shown for the arithmetic",
        )
    return (
        "the first formula is the one taken: teaching pages give it after CLSI H21, and a collector knows its V",
        f"its V is the blood: {_ml(by_a.v_ul)} mL of measured blood goes in, and ends {_ml(by_a.under_mark_ul)} mL "
        "under the mark of the tube; filled to the mark it would hold that much more blood than V",
        f"the V of the second is blood and citrate together: to fill to the mark, {_ml(by_mark.v_ul)} mL, take out "
        f"{_ml(by_mark.remove_ul)} mL",
        "blood put into the second for its V comes out within 2 % of the first at 0.55 to 0.65, so the mistake is not "
        "noticed",
        "an opened tube has lost its vacuum: blood goes in from a syringe through a transfer device; label it as "
        "adjusted",
        *([f"{small.text} [{small.marks[0].label()}]"] if is_small else []),
    )


def _ml(volume_ul: Fraction | int) -> str:
    return f"{float(volume_ul) / 1000:.3f}".rstrip("0").rstrip(".")


def citrate_document(found: CitrateAdvice) -> dict[str, Any]:
    """The answer as one JSON object, volumes in microlitres."""
    return {
        "format": FORMAT,
        "hematocrit": float(found.hematocrit),
        "blood_ul": found.blood_ul,
        "tube_citrate_ul": float(found.tube_citrate_ul),
        "adjust": found.is_adjusted,
        "threshold": float(found.threshold),
        "remove_ul": None if found.remove_ul is None else float(found.remove_ul),
        "plasma_citrate_mmol_per_l": float(found.plasma_citrate_mmol_per_l),
        "formulas": [
            {
                "formula": row.formula,
                "v_means": row.v_means,
                "v_ul": row.v_ul,
                "right_at_hematocrit": float(row.reference),
                "citrate_ul": float(row.citrate_ul),
                "remove_ul": float(row.remove_ul),
                "filled_ul": float(row.filled_ul),
                "under_mark_ul": float(row.under_mark_ul),
                "is_trap": row.is_trap,
            }
            for row in found.formulas
        ],
        "words": list(found.words),
        "rests_on": list(found.rests_on),
    }
