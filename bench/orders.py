"""Orders of 12 tests to race on, the same for the same seed: three places, each with tests that a patient may need."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from fractions import Fraction
from random import Random

from msgspec.structs import replace
from tests.generators import Case
from tests.generators.cases import realistic

from cubital.app.wiring import open_site
from cubital.errors import PlanError
from cubital.model import Ask, Order, Patient, Site
from cubital.model.vocabulary import ObjectiveKey
from cubital.planning import Planner

TESTS = 12
_DAY = date(2027, 1, 4)
_OBJECTIVES: tuple[ObjectiveKey, ...] = ("fewest-tubes", "least-blood")


def generated(count: int) -> Iterator[Case]:
    """An invented hospital for each order: a directory of 170 tests, 10 kinds of 2 to 4 sizes, some counted."""
    return (realistic(Random(900 + number)) for number in range(count))


def shipped(count: int) -> Iterator[Case]:
    """The shipped directory and stock, where no bench shares a tube with another."""
    return _drawn(open_site(), count)


def demo(count: int) -> Iterator[Case]:
    """The demo site, where chemistry shares with other benches."""
    return _drawn(open_site(demo=True), count)


PLACES: dict[str, Callable[[int], Iterator[Case]]] = {
    "an invented hospital for each order": generated,
    "the shipped directory": shipped,
    "the demo site": demo,
}


def _drawn(site: Site, count: int) -> Iterator[Case]:
    """Any 12 tests of this directory that one draw at any time can take, at one of three hematocrits, either objective.

    What no solver is asked about is left out: the blood limit, the reserve, the time on the way and the gas analyzer.
    """
    random = Random(900)
    policy = replace(
        site.planning, blood_limit=None, reserve_percent=0, usual_travel_min=None, whole_blood_tests=()
    )
    site = replace(site, planning=policy)
    planner = Planner(site)
    keys = sorted(
        key
        for key, test in site.tests.items()
        if test.culture is None and test.moment is None and "culture" not in key and _is_drawn(planner, key)
    )
    for _ in range(count):
        asks = tuple(Ask(test=key) for key in random.sample(keys, TESTS))
        patient = Patient(hematocrit=Fraction(random.choice((35, 42, 48)), 100))
        yield Case(Order(asks=asks, patient=patient, objective=random.choice(_OBJECTIVES), on=_DAY), site)


def _is_drawn(planner: Planner, key: str) -> bool:
    try:
        planner.plan(Order(asks=(Ask(test=key),), on=_DAY))
    except PlanError:
        return False
    return True
