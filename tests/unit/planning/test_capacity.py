"""How much of a tube can be used, at the edges of the contract's formula."""

from __future__ import annotations

from fractions import Fraction

import pytest

from cubital.model import Tube, TubeKind
from cubital.planning.capacity import usable_ul

PLAIN = TubeKind(key="k", name="k", additive="none", sizes=())
DEAD = TubeKind(key="k", name="k", additive="none", sizes=(), dead_volume_ul={"whole-blood": 100, "serum": 200})


def usable(kind: TubeKind, matrix: str, draw_ul: int, liquid_ul: int = 0) -> int:
    tube = Tube(draw_ul=draw_ul, liquid_additive_ul=liquid_ul)
    return usable_ul(kind, tube, matrix, hematocrit=Fraction(2, 5), recovery=Fraction(9, 10))


@pytest.mark.parametrize(
    ("matrix", "draw_ul", "liquid_ul", "expected_ul"),
    [
        ("whole-blood", 2000, 0, 1900),
        ("whole-blood", 2000, 500, 1900),  # the liquid additive is no blood
        ("serum", 2000, 0, 880),  # floor(1200 * 0.9) - 200
        ("serum", 2001, 0, 880),  # 1080.54: rounded down
        ("serum", 2000, 500, 1330),  # floor(1700 * 0.9) - 200
        ("plasma", 2000, 0, 1080),  # no dead volume is stated for plasma: none
        ("whole-blood", 100, 0, 0),
        ("whole-blood", 101, 0, 1),
        ("whole-blood", 99, 0, 0),
        ("serum", 370, 0, 0),  # 199.8 is less than the dead volume
    ],
)
def test_usable_volume_is_the_cell_free_share_that_can_be_pipetted_less_the_dead_volume(
    matrix: str, draw_ul: int, liquid_ul: int, expected_ul: int
) -> None:
    assert usable(DEAD, matrix, draw_ul, liquid_ul) == expected_ul


def test_a_kind_that_states_no_dead_volume_has_none() -> None:
    assert usable(PLAIN, "whole-blood", 2000) == 2000
    assert usable(PLAIN, "serum", 2000) == 1080
