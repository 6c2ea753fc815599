"""The formula of relative centrifugal force, 1.118e-5 r rpm^2 (from memory; standard). Checks 1, 2 and 3."""

from __future__ import annotations

from math import pi

import pytest

from cubital.chemistry.centrifuge import CONSTANT, force_g, radius_of_cm, speed_rpm


@pytest.mark.parametrize(
    ("radius_cm", "rpm", "g"),
    [(16.0, 3000, 1609.9), (17.0, 3500, 2328.2), (10.0, 4000, 1788.8), (8.5, 4000, 1520.5)],
)
def test_a_speed_at_a_radius_gives_the_force_of_the_table(radius_cm: float, rpm: float, g: float) -> None:
    assert force_g(rpm=rpm, radius_cm=radius_cm) == pytest.approx(g, abs=0.1)
    assert speed_rpm(g=g, radius_cm=radius_cm) == pytest.approx(rpm, abs=0.5)
    assert radius_of_cm(g=g, rpm=rpm) == pytest.approx(radius_cm, abs=0.01)


@pytest.mark.parametrize(("radius_cm", "g", "rpm"), [(16.0, 1500, 2895.8), (17.2, 2000, 3225)])
def test_a_force_at_a_radius_asks_the_speed_of_the_table(radius_cm: float, g: float, rpm: float) -> None:
    assert speed_rpm(g=g, radius_cm=radius_cm) == pytest.approx(rpm, abs=0.5)


def test_the_constant_is_the_square_of_a_turn_a_minute_over_gravity() -> None:
    assert pytest.approx((2 * pi / 60) ** 2 / 980.665, rel=3e-4) == CONSTANT
