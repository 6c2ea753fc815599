"""How much an evacuated tube draws where the air is thinner or the tube warmer than where it was made.

Ideal gas: filling stops when what gas is left in the tube reaches the pressure around it. With f the
share of the tube's gas space that the nominal draw fills, the draw is
(1 - (1 - f) (P0 / P) (T / T0)) / f of the nominal one. Vein and tourniquet pressure are left out
(they help), as is the height of the tube under the vein. f is rarely published and is never guessed
here: it is an argument. Own derivation; compared with no measured tube.
"""

from __future__ import annotations

SEA_LEVEL_KPA = 101.325
STANDARD_C = 20.0
_KELVIN = 273.15
# Standard atmosphere (ISO 2533:1975, troposphere to 11 000 m), constants from memory.
_LAPSE_PER_M, _EXPONENT, _TOP_M = 2.25577e-5, 5.25588, 11_000


def air_pressure_kpa(altitude_m: float) -> float:
    """The pressure of the standard atmosphere at this altitude; weather moves it by a few per cent.

    >>> round(air_pressure_kpa(1500), 2)
    84.56
    """
    if not -500 <= altitude_m <= _TOP_M:
        raise ValueError(f"found {altitude_m} m; expected -500 to {_TOP_M} m")
    return float(SEA_LEVEL_KPA * (1 - _LAPSE_PER_M * altitude_m) ** _EXPONENT)


def draw_share(gas_share: float, *, altitude_m: float = 0.0, temperature_c: float = STANDARD_C) -> float:
    """The share of its nominal volume that a tube draws; 0 means it draws nothing and must not be attached.

    `gas_share` is nominal draw over gas space of the empty tube, above 0 and at most 1.

    >>> round(draw_share(0.675, altitude_m=1500), 4)
    0.9045
    """
    if not 0 < gas_share <= 1:
        raise ValueError(f"found a gas share of {gas_share}; expected above 0 and at most 1")
    if temperature_c <= -_KELVIN:
        raise ValueError(f"found {temperature_c} C; expected above absolute zero")
    swelling = swelling_of(altitude_m=altitude_m, temperature_c=temperature_c)
    return max(0.0, (1 - (1 - gas_share) * swelling) / gas_share)


def swelling_of(*, altitude_m: float = 0.0, temperature_c: float = STANDARD_C) -> float:
    """How much more room the gas left in a tube takes than where the tube was made: (P0 / P) (T / T0).

    >>> round(swelling_of(altitude_m=1500), 4)
    1.1983
    """
    warmth = (temperature_c + _KELVIN) / (STANDARD_C + _KELVIN)
    return SEA_LEVEL_KPA / air_pressure_kpa(altitude_m) * warmth


def least_gas_share(fill: float, *, altitude_m: float = 0.0, temperature_c: float = STANDARD_C) -> float:
    """The least share of its gas space that a tube's draw must fill for it to draw this much here; 0 for any tube.

    A maker who is asked for the share can be held to it. `fill` is a share of the nominal draw, above 0 and under 1.

    >>> round(least_gas_share(0.9, altitude_m=1609), 3)
    0.682
    """
    if not 0 < fill < 1:
        raise ValueError(f"found a fill of {fill}; expected above 0 and below 1, as a share of the draw")
    swelling = swelling_of(altitude_m=altitude_m, temperature_c=temperature_c)
    return max(0.0, (swelling - 1) / (swelling - fill))


def altitude_at_fill_m(
    gas_share: float, fill: float, *, temperature_c: float = STANDARD_C, lost_share: float = 0.0
) -> float | None:
    """The altitude from which a tube draws less than this fill; None where it does nowhere in the troposphere.

    `lost_share` is what a line's air takes off first, as a share of the draw. 0 where even sea level falls short.

    >>> round(altitude_at_fill_m(0.675, 0.9))
    1563
    """

    def falls_short(altitude_m: float) -> bool:
        return draw_share(gas_share, altitude_m=altitude_m, temperature_c=temperature_c) - lost_share < fill

    if falls_short(0.0):
        return 0.0
    if not falls_short(_TOP_M):
        return None
    low, high = 0.0, float(_TOP_M)
    while high - low > 0.01:
        middle = (low + high) / 2
        low, high = (low, middle) if falls_short(middle) else (middle, high)
    return high
