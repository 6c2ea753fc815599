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
    swelling = SEA_LEVEL_KPA / air_pressure_kpa(altitude_m) * (temperature_c + _KELVIN) / (STANDARD_C + _KELVIN)
    return max(0.0, (1 - (1 - gas_share) * swelling) / gas_share)
