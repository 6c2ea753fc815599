"""How a test stands in a tube that waited, by the shipped facts: drawn, put where it is said, spun where it is said."""

from __future__ import annotations

from cubital.handling.keeping import PolicyKey
from cubital.handling.stability import Kept, Life, Phase, StandingKey, keep
from tests.published.shipped import SHIPPED

HOUR_S = 3600
SOON_S = 600


def kept(test: str, additive: str, matrix: str, life: Life, policy: PolicyKey) -> Kept:
    """Until when this test may be measured."""
    return keep(SHIPPED.tests[test], additive, matrix, life, policy=policy)


def unspun(test: str, additive: str, hours: float, policy: PolicyKey = "strict") -> StandingKey:
    """The test in blood that stood unspun at room temperature."""
    found = kept(test, additive, "plasma", Life((Phase("ambient", 0, None),)), policy)
    return found.standing(round(hours * HOUR_S))


def chilled_unspun(test: str, additive: str, hours: float, policy: PolicyKey = "strict") -> StandingKey:
    """The test in blood that went unspun into the refrigerator after ten minutes."""
    life = Life((Phase("ambient", 0, SOON_S), Phase("cold", SOON_S, None)))
    return kept(test, additive, "plasma", life, policy).standing(round(hours * HOUR_S))


def off_cells(test: str, additive: str, hours: float, policy: PolicyKey = "strict") -> StandingKey:
    """The test in plasma or serum at room temperature, so long after it was taken off ten minutes after the draw."""
    found = kept(test, additive, "plasma", Life((Phase("ambient", 0, None),), SOON_S), policy)
    return found.standing(SOON_S + round(hours * HOUR_S))


def off_cells_cold(test: str, additive: str, hours: float, policy: PolicyKey = "strict") -> StandingKey:
    """The same, put into the refrigerator as it was taken off."""
    life = Life((Phase("ambient", 0, SOON_S), Phase("cold", SOON_S, None)), SOON_S)
    return kept(test, additive, "plasma", life, policy).standing(SOON_S + round(hours * HOUR_S))
