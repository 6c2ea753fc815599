"""The standard atmosphere (ISO 2533:1975, constants from memory) and the ideal gas: how far a tube fills high up.

The values are computed, with the derivation in `chemistry.vacuum`; no measured tube stands behind them. Checks C26
to C30. Fritsma's notes call altitude a concern above 5000 ft, and report none in practice: secondary.
"""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.chemistry.vacuum import air_pressure_kpa, draw_share
from tests.published.shipped import order_of, site_under, verified, within


@pytest.mark.parametrize(
    ("altitude_m", "kpa"),
    [(0, 101.33), (500, 95.46), (1000, 89.87), (1500, 84.56), (1609, 83.43), (2240, 77.15), (3000, 70.11),
     (3640, 64.59)],
)  # fmt: skip
def test_the_pressure_at_an_altitude(altitude_m: int, kpa: float) -> None:
    assert within(air_pressure_kpa(altitude_m), kpa, 0.05)


@pytest.mark.parametrize(
    ("altitude_m", "shares"),
    [
        (500, (0.939, 0.970, 0.980, 0.993)),
        (1500, (0.802, 0.9045, 0.934, 0.978)),
        (1609, (0.786, 0.897, 0.929, 0.976)),
        (3000, (0.555, 0.786, 0.852, 0.951)),
        (3640, (0.431, 0.726, 0.810, 0.937)),
    ],
)
def test_the_share_of_its_draw_that_a_tube_takes(altitude_m: int, shares: tuple[float, ...]) -> None:
    for gas_share, share in zip((0.5, 0.675, 0.75, 0.9), shares, strict=True):
        assert within(draw_share(gas_share, altitude_m=altitude_m), share, 0.001)


def test_a_tube_of_two_thirds_passes_90_percent_at_1500_metres_and_not_a_mile_up() -> None:
    assert draw_share(0.675, altitude_m=1500) >= 0.90
    assert draw_share(0.675, altitude_m=1609) < 0.90


@pytest.mark.parametrize("gas_share", [0.2, 0.5, 0.675, 0.9, 1.0])
def test_it_is_whole_at_sea_level_and_falls_with_altitude_to_nothing_but_not_below(gas_share: float) -> None:
    assert within(draw_share(gas_share), 1.0, 1e-6)
    shares = [draw_share(gas_share, altitude_m=m) for m in range(0, 9001, 250)]
    assert min(shares) >= 0
    if gas_share < 1:
        above = [share for share in shares if share > 0]
        assert above == sorted(set(above), reverse=True)


@pytest.mark.parametrize(("temperature_c", "share"), [(4, 1.026), (30, 0.984), (37, 0.972)])
def test_a_warm_tube_takes_less(temperature_c: float, share: float) -> None:
    assert within(draw_share(0.675, temperature_c=temperature_c), share, 0.001)


@pytest.mark.parametrize(
    ("gas_share", "altitude_m"), [(0.5, 797), (0.6, 1163), (0.675, 1563), (0.75, 2159), (0.9, 5096)]
)
def test_the_altitude_at_which_a_tube_fills_to_90_percent(gas_share: float, altitude_m: int) -> None:
    assert draw_share(gas_share, altitude_m=altitude_m - 2) > 0.90 > draw_share(gas_share, altitude_m=altitude_m + 2)


def test_a_plan_warns_above_the_altitude_at_which_half_a_tube_falls_short() -> None:
    limit_m = facts.safety()["altitude"].limit_m
    assert limit_m == 797
    for altitude_m, is_warned in ((797, False), (798, True)):
        plan = verified(order_of("cbc"), site_under("common-practice", altitude_m=altitude_m))
        assert any("At this altitude" in c.text for c in plan.cautions) is is_warned
