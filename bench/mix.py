"""A mix of orders like a hospital's: which tests go together, how often, and whose blood it is. All invented."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Iterator
from fractions import Fraction
from itertools import accumulate
from random import Random

from cubital.model import Ask, Order, Patient, Site
from cubital.model.vocabulary import AccessKey, PriorityKey, SexKey

YEAR_H = 8766
TEST_SETS = 4000
_PANELS_OF_A_SET = (0, 0, 1, 1, 1, 2, 2, 3)
_ACCESSES: tuple[AccessKey, ...] = ("straight-needle",) * 15 + ("winged-set",) * 4 + ("syringe",)
_PRIORITIES: tuple[PriorityKey, ...] = ("routine",) * 8 + ("timed", "stat")
_FLAGS: tuple[tuple[str, ...], ...] = ((),) * 17 + (("anticoagulated",), ("latex-allergy",), ("fasting",))


class Mix:
    """Orders of one site, the same for the same seed; every order and patient is a fresh record.

    A few test sets are asked every day and most of them rarely: the set of rank r is asked as often
    as 1/r says.
    """

    def __init__(self, site: Site, seed: int, *, sets: int = TEST_SETS) -> None:
        random = Random(0)
        self._random = Random(seed)
        tests = [key for key, test in site.tests.items() if test.culture is None]
        panels = [key for key, panel in site.panels.items() if not panel.series]
        self.sets = [_test_set(random, site, tests, panels) for _ in range(sets)]
        self._weights = list(accumulate(1 / rank for rank in range(1, sets + 1)))

    def orders(self, count: int) -> Iterator[Order]:
        """So many orders."""
        for _ in range(count):
            yield self._order()

    def _order(self) -> Order:
        random = self._random
        keys = self.sets[bisect(self._weights, random.random() * self._weights[-1])]
        priority = random.choice(_PRIORITIES)
        return Order(
            asks=tuple([Ask(test=key, priority=priority) for key in keys]),
            patient=patient(random),
            access=random.choice(_ACCESSES),
        )


def _test_set(random: Random, site: Site, tests: list[str], panels: list[str]) -> tuple[str, ...]:
    """Panels and single tests, none of them asked twice."""
    keys = random.sample(panels, random.choice(_PANELS_OF_A_SET))
    asked = {test for key in keys for test in site.panels[key].tests}
    singles = random.sample(tests, random.randint(0 if keys else 1, 9))
    return (*keys, *(key for key in singles if key not in asked))


def patient(random: Random) -> Patient:
    """Someone: mostly grown-up, sometimes a child, seldom an infant; one hematocrit in ten is known."""
    sex: SexKey = random.choice(("female", "male"))
    kind = random.random()
    if kind < 0.90:
        age_h, weight_g = random.randrange(18 * YEAR_H, 95 * YEAR_H), round(random.gauss(75, 14)) * 1000
    elif kind < 0.98:
        years = random.randrange(1, 18)
        age_h, weight_g = years * YEAR_H, (8 + 3 * years + random.randrange(4)) * 1000
    else:
        days = random.randrange(365)
        age_h, weight_g = 24 * days, 3000 + 20 * days + 100 * random.randrange(10)
    return Patient(
        age_h=age_h,
        sex=sex,
        weight_g=max(2500, weight_g) if random.random() < 0.9 else None,
        height_mm=10 * random.randrange(150, 195) if kind < 0.5 else None,
        hematocrit=Fraction(random.randrange(25, 56), 100) if random.random() < 0.1 else None,
        flags=random.choice(_FLAGS),
    )
