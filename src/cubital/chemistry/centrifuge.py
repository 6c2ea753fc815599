"""Relative centrifugal force, speed and radius, each from the other two.

RCF = 1.118e-5 x r x rpm^2, r in cm from the rotor's centre to the tube's bottom as it spins (from memory; the constant
is (2 pi / 60)^2 / 980.665 cm/s2). A speed without a radius is no specification.
"""

from __future__ import annotations

from math import isfinite, sqrt

from cubital.errors import UnitError

CONSTANT = 1.118e-5
# Wider than any rotor for tubes; a radius in millimetres or a speed per second falls outside.
MOST_RADIUS_CM, MOST_RPM, MOST_G = 50.0, 100_000.0, 1_000_000.0


def force_g(*, rpm: float, radius_cm: float) -> float:
    """The force at the tube's bottom, in g.

    >>> round(force_g(rpm=3000, radius_cm=16), 1)
    1609.9
    """
    return CONSTANT * _within(radius_cm, MOST_RADIUS_CM, "radius", "cm") * _within(rpm, MOST_RPM, "speed", "rpm") ** 2


def speed_rpm(*, g: float, radius_cm: float) -> float:
    """The speed that gives this force, in turns a minute.

    >>> round(speed_rpm(g=1500, radius_cm=16), 1)
    2895.8
    """
    return sqrt(_within(g, MOST_G, "force", "g") / (CONSTANT * _within(radius_cm, MOST_RADIUS_CM, "radius", "cm")))


def radius_of_cm(*, g: float, rpm: float) -> float:
    """The radius at which this speed gives this force, in cm.

    >>> round(radius_of_cm(g=1609.9, rpm=3000), 2)
    16.0
    """
    return _within(g, MOST_G, "force", "g") / (CONSTANT * _within(rpm, MOST_RPM, "speed", "rpm") ** 2)


def _within(value: float, most: float, what: str, unit: str) -> float:
    if not isfinite(value) or not 0 < value <= most:
        raise UnitError(f"found {value:g}; expected a {what} above 0 and at most {most:,.0f} {unit}", where=what)
    return value
