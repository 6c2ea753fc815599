"""The shipped facts as a site, and plans of it that the verifier has passed. Invented here: one test a kind."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from cubital.exchange.site_folder import read_site
from cubital.model import Accept, Ask, Order, Patient, Plan, Site, Test
from cubital.planning import plan_draw
from cubital.planning.verify import verify

SHIPPED = read_site()
KILOGRAM_G = 1000
YEAR_H = 8766


def site_under(policy: str, **planning: Any) -> Site:
    """The shipped site with this order of draw."""
    return replace(SHIPPED, planning=replace(SHIPPED.planning, order_of_draw=policy, **planning))


def site_of_kinds(policy: str, **planning: Any) -> Site:
    """The shipped kinds with one invented test for each, named by the kind, that nothing else serves."""
    tests = {}
    for kind in SHIPPED.kinds.values():
        if kind.additive == "culture-medium":
            continue
        accept = Accept(matrix=next(iter(kind.dead_volume_ul)), tubes=(kind.key,), volume_ul=10, minimum_ul=5)
        tests[kind.key] = Test(key=kind.key, name=f"invented, {kind.key}", bench="bench", accepts=(accept,))
    tests["culture"] = Test(key="culture", name="invented, culture", bench="bench", culture="set")
    return replace(site_under(policy, **planning), tests=tests, panels={}, ambiguous={})


def order_of(*tests: str, **fields: Any) -> Order:
    """An order of these tests."""
    return Order(asks=tuple(Ask(test=test) for test in tests), **fields)


def verified(order: Order, site: Site) -> Plan:
    """The plan of this order, once the verifier has found nothing wrong with it."""
    plan = plan_draw(order, site)
    assert verify(plan, order, site) == ()
    return plan


def kinds_drawn(order: Order, site: Site) -> list[str]:
    """The kinds of a verified plan in the order they are drawn."""
    return [tube.kind for tube in verified(order, site).tubes]


def patient_of(kilograms: float, years: float | None = None, **fields: Any) -> Patient:
    """A patient of this weight and, where it is given, this age."""
    age_h = None if years is None else int(years * YEAR_H)
    return Patient(weight_g=round(kilograms * KILOGRAM_G), age_h=age_h, **fields)


def within(found: Any, expected: float, tolerance: float) -> bool:
    """Whether a computed value is the published one, give or take the tolerance."""
    return abs(float(found) - expected) <= tolerance
