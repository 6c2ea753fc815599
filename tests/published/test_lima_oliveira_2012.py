"""Lima-Oliveira and others. Clin Biochem 2012 (abstract read): the tubes of a study of mixing.

One EDTA tube held 5.9 mg in 3.0 mL; one citrate tube took 3.6 mL of blood on 0.4 mL. Check C44. Its sheet's counts
of inversions are 5 for citrate and EDTA, 10 for gel serum.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from cubital import facts
from cubital.chemistry.citrate import blood_to_citrate, citrate_in_tube
from tests.published.shipped import SHIPPED, within


def test_the_study_s_edta_tube_lies_inside_the_range_read_in_icsh() -> None:
    in_tube = Decimal("5.9") / Decimal("3.0")
    concentrations = facts.additives()["k2-edta"].concentrations
    low, high = next(c.mg_per_ml for c in concentrations if c.mark.source == "icsh-1993") or (0, 0)
    own = next(c.mg_per_ml for c in concentrations if c.mark.source == "lima-oliveira-2012") or (0, 0)
    assert within(in_tube, 1.97, 0.01)
    assert within(own[0], float(in_tube), 0.005)
    assert low <= in_tube <= high


def test_the_study_s_citrate_tube_is_a_shipped_size_at_nine_to_one() -> None:
    size = next(tube for tube in SHIPPED.kinds["citrate"].sizes if tube.draw_ul == 3600)
    assert size.liquid_additive_ul == 400
    assert Fraction(size.draw_ul, size.liquid_additive_ul) == blood_to_citrate(Fraction(1)) == 9
    assert within(citrate_in_tube(Fraction(109), Fraction(1)), 10.9, 0.05)


def test_the_sheet_s_counts_lie_inside_what_we_give_and_ours_differ_from_it_by_so_much() -> None:
    for additive, sheet, ours in (("citrate-9-1", 5, 5), ("k2-edta", 5, 8), ("clot-activator", 10, 5)):
        found = facts.inversions(additive, False)
        assert found is not None
        assert found.low <= sheet <= found.high
        assert found.chosen == ours
