"""How much of a tube can be used: the contract's usable volume, in exact whole microlitres."""

from __future__ import annotations

from fractions import Fraction

from cubital.model import Tube, TubeKind


def usable_ul(kind: TubeKind, tube: Tube, matrix: str, *, hematocrit: Fraction, recovery: Fraction) -> int:
    """How many microlitres of this matrix tests can take from this tube; never below zero.

    Whole blood is the draw less the dead volume. Plasma or serum is the cell-free share of the
    draw and the liquid additive that can be pipetted, rounded down, less the dead volume; the
    additive stays outside the cells. `hematocrit` and `recovery` are shares between 0 and 1.

    >>> citrate = TubeKind(key="c", name="c", additive="citrate-9-1", sizes=(), dead_volume_ul={"plasma": 200})
    >>> usable_ul(citrate, Tube(draw_ul=2700, liquid_additive_ul=300), "plasma",
    ...           hematocrit=Fraction(45, 100), recovery=Fraction(9, 10))
    1406
    """
    dead_ul = kind.dead_volume_ul.get(matrix, 0)  # type: ignore[call-overload]
    if matrix == "whole-blood":
        return max(0, tube.draw_ul - int(dead_ul))
    whole, cells = hematocrit.denominator, hematocrit.numerator
    cell_free = tube.draw_ul * (whole - cells) + tube.liquid_additive_ul * whole
    return max(0, cell_free * recovery.numerator // (whole * recovery.denominator) - int(dead_ul))
