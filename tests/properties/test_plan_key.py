"""A planner that has answered others gives each order the plan that a fresh planner gives it."""

from __future__ import annotations

import ast
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import pytest
from msgspec.structs import fields, replace

from cubital import planning
from cubital.app.wiring import open_site
from cubital.errors import CubitalError
from cubital.model import Ask, Event, Line, Order, Patient, Site, Unsettled
from cubital.model.patient import Recorded
from cubital.planning import Planner

DAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 7, tzinfo=UTC)
YEAR_H = 8766
TESTS = ("K", "CBC", "PT", "blood culture", "lactate", "glucose", "vancomycin-trough", "vancomycin-peak", "TSH", "ABG")

# A few values for every field that an order and its patient have; a field that is new must be added here.
PATIENT: dict[str, tuple[Any, ...]] = {
    "age_h": (None, 24, 24 * 20, YEAR_H // 2, YEAR_H * 5, YEAR_H * 45, YEAR_H * 80),
    "sex": (None, "female", "male"),
    "weight_g": (None, 600, 3000, 16_000, 70_000, 110_000),
    "height_mm": (None, 480, 1100, 1750),
    "hematocrit": (None, Fraction(3, 10), Fraction(45, 100), Fraction(31, 50)),
    "drawn_ul": (0, 500, 12_000),
    "recorded": ((), (Recorded(period_h=24, volume_ul=4000),)),
    "flags": ((), ("anticoagulated",), ("preterm",), ("fasting",), ("latex-allergy", "something-else")),
}
LINE: dict[str, tuple[Any, ...]] = {
    "dead_space_ul": (None, 0, 600, 1500),
    "carried_anticoagulant": (None, False, True),
    "suspected_infection": (False, True),
}
ORDER: dict[str, tuple[Any, ...]] = {
    "access": ("straight-needle", "winged-set", "syringe", "skin-puncture", "line"),
    "objective": (None, "by-patient", "liked-kinds", "fewest-tubes", "least-blood"),
    "on": (DAY, date(2026, 12, 1)),
    "id": (None, "one", "two"),
    "unread": ((), ("a note",)),
    "now": (None, NOW, NOW + timedelta(hours=2)),
    "events": (
        (),
        (Event(what="next-dose", of="vancomycin", at=NOW + timedelta(hours=3)),),
        (Event(what="infusion-end", of="vancomycin", at=NOW + timedelta(hours=5)),),
    ),
    "keep": ((), ("K",), ("blood culture",)),
    "place": (None, "ward", "home visit"),
}
ASK: dict[str, tuple[Any, ...]] = {
    "test": TESTS,
    "priority": ("stat", "timed", "routine"),
    "at_min": (None, None, None, 60),
    "system": (None,),  # a system only says how a code is read: the tests have no codes
    "place": (None, None, 4),
    "unsettled": (None, None, Unsettled(word="xylophone", where="tests[4]", trouble="unknown", said="not known")),
}
EVENT = {"what", "at", "of"}


def an_order(random: Random) -> Order:
    def any_of(values: dict[str, tuple[Any, ...]]) -> dict[str, Any]:
        return {name: random.choice(choices) for name, choices in values.items()}

    names = random.sample(TESTS, random.randint(1, 4))
    asks = tuple(Ask(**{**any_of(ASK), "test": name}) for name in names)
    more = {name: value for name, value in any_of(ORDER).items() if random.random() < 0.5}
    more["on"] = more.get("on", DAY)
    return Order(asks=asks, patient=Patient(**any_of(PATIENT)), line=Line(**any_of(LINE)), **more)


def answer(planner: Planner, order: Order) -> object:
    """The plan, or the words of the refusal."""
    try:
        return planner.plan(order)
    except CubitalError as error:
        return type(error).__name__, str(error)


@pytest.fixture(scope="module")
def site() -> Site:
    found = open_site(demo=True)
    return replace(found, planning=replace(found.planning, line_discard="returned"))


def test_every_field_of_an_order_and_its_patient_is_varied_here() -> None:
    assert set(PATIENT) == {field.name for field in fields(Patient)}
    assert set(LINE) == {field.name for field in fields(Line)}
    assert set(ORDER) | {"asks", "patient", "line"} == {field.name for field in fields(Order)}
    assert set(ASK) == {field.name for field in fields(Ask)}
    assert {field.name for field in fields(Event)} == EVENT


@pytest.mark.parametrize("seed", range(8))
def test_a_shared_planner_answers_as_a_fresh_one(seed: int, site: Site) -> None:
    random, shared = Random(seed), Planner(site)
    bases = [an_order(random) for _ in range(12)]
    for base in bases:
        others = [base, *(_with_one_change(base, random) for _ in range(6))]
        for order in (*others, *reversed(others)):
            assert answer(shared, order) == answer(Planner(site), order)


def _with_one_change(order: Order, random: Random) -> Order:
    """The same order with one field of it, its patient, line or first test changed: keys that differ by one part."""
    group, values = random.choice((("patient", PATIENT), ("line", LINE), ("order", ORDER), ("ask", ASK)))
    name = random.choice(sorted(values))
    value = random.choice(values[name])
    if group == "order":
        return replace(order, **{name: value})
    if group == "ask":
        if any(ask.test == value for ask in order.asks):
            return order
        return replace(order, asks=(replace(order.asks[0], **{name: value}), *order.asks[1:]))
    return replace(order, **{group: replace(getattr(order, group), **{name: value})})


# What composes a draft. None of it may see an order or a patient, so that no fact of one patient reaches the next.
COMPOSING = (
    "cautions", "cleared", "clearing", "cultures", "discards", "draft", "layout", "left_out", "micro", "rows", "stands",
    "tubing", "wanted",
)  # fmt: skip


@pytest.mark.parametrize("module", COMPOSING)
def test_what_composes_a_draft_cannot_see_an_order_or_a_patient(module: str) -> None:
    folder = Path(planning.__file__).parent
    tree = ast.parse((folder / f"{module}.py").read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names}
    assert names.isdisjoint({"Order", "Patient"})
    read = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    assert "patient" not in read
