"""The least redraw against brute force: every way to share the needed tests among survivors and a new draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital.errors import NoTube
from cubital.handling.addon import Held, Offer, free_ul
from cubital.handling.redraw import Redraw, plan_redraw
from cubital.model import Ask, Order, Patient
from cubital.model.vocabulary import OBJECTIVES, ObjectiveKey
from cubital.planning import Planner
from cubital.planning.verify import verify
from tests.contract.events import MORNING
from tests.published.shipped import SHIPPED
from tests.unit.handling.test_addon import spun, tube

NOW = MORNING + timedelta(minutes=100)
NEEDED = (
    "creatinine", "calcium", "thyrotropin", "prolactin", "vitamin-d", "albumin", "bnp", "parathyrin",
    "prothrombin-time", "fibrinogen", "complete-blood-count", "hemoglobin-a1c", "troponin-i", "immunoglobulin-g",
)  # fmt: skip
TUBES = (
    ("heparin-gel", "sodium", "plasma"), ("serum-gel", "sodium", "serum"), ("edta", "bnp", "plasma"),
    ("citrate", "prothrombin-time", "plasma"),
)  # fmt: skip
PLANNER = Planner(SHIPPED)
# What is compared: the draw without a reserve, blood before liking.
BARE = Planner(replace(SHIPPED, planning=replace(SHIPPED.planning, reserve_percent=0)))


@st.composite
def shelves(draw: st.DrawFn) -> list[Held]:
    """Up to three survivors with little left: one or two tests each at most."""
    found = []
    for number in range(draw(st.integers(0, 3))):
        kind, test, matrix = draw(st.sampled_from(TUBES))
        id = f"s{number}"
        specimen = tube(id, kind, test, matrix=matrix, events=(spun(id),), usable_ul=draw(st.integers(10, 160)))
        found.append(Held(specimen=specimen))
    return found


def cost(order: Order, tests: Sequence[str]) -> tuple[int, ...]:
    """What drawing these tests of the order costs, worked out here from what the bare plan of them says."""
    asks = tuple(ask for ask in order.asks if ask.test in tests)
    if not asks:
        return 0, 0, 0
    is_least_blood = order.objective == "least-blood"
    plan = BARE.plan(Order(asks=asks, objective="least-blood" if is_least_blood else "fewest-tubes"))
    assert plan.unplaced == ()
    totals = plan.totals
    worth = (totals.blood_ul, totals.tubes) if is_least_blood else (totals.tubes, totals.blood_ul)
    return (*worth, totals.preference)


def worth(order: Order, taken: Sequence[Offer], drawn: Sequence[str]) -> tuple[object, ...]:
    """What is to be least: the new draw, the comments, the tubes least preferred, the tests drawn."""
    *first, preference = cost(order, drawn)
    return (tuple(first), sum(offer.outcome == "comment" for offer in taken), preference, len(drawn))


def choices(order: Order, found: Redraw, shelf: Sequence[Held]) -> Iterator[tuple[list[Offer], list[str]]]:
    """Every way to give each test to one of its possible offers, or to the new draw, within what is left."""
    tests = [ask.test for ask in order.asks]
    possible: list[list[Offer | None]] = [[None, *(o for o in found.offers[test] if o.is_possible)] for test in tests]
    for chosen in product(*possible):
        left = {held.specimen.id: free_ul(held.specimen, SHIPPED) for held in shelf}
        taken = [offer for offer in chosen if offer is not None]
        for offer in taken:
            left[offer.specimen] -= offer.takes_ul
        if all(volume_ul >= 0 for volume_ul in left.values()):
            yield taken, [test for test, offer in zip(tests, chosen, strict=True) if offer is None]


@settings(deadline=None, max_examples=60)
@given(shelves(), st.lists(st.sampled_from(NEEDED), min_size=1, max_size=5, unique=True), st.sampled_from(OBJECTIVES))
def test_the_new_draw_is_as_small_as_brute_force_finds(
    shelf: list[Held], needed: list[str], objective: ObjectiveKey
) -> None:
    order = Order(asks=tuple(Ask(test=test) for test in needed), objective=objective)
    found = plan_redraw(order, shelf, SHIPPED, now=NOW, planner=PLANNER)
    assert found.is_optimal
    best = min(worth(order, taken, drawn) for taken, drawn in choices(order, found, shelf))
    assert worth(order, found.served, found.drawn) == best


@settings(deadline=None, max_examples=60)
@given(shelves(), st.lists(st.sampled_from(NEEDED), min_size=1, max_size=8, unique=True))
def test_a_redraw_is_sound(shelf: list[Held], needed: list[str]) -> None:
    order = Order(asks=tuple(Ask(test=test) for test in needed))
    found = plan_redraw(order, shelf, SHIPPED, now=NOW, planner=PLANNER)
    assert sorted([*(offer.test for offer in found.served), *found.drawn]) == sorted(needed)
    for held in shelf:
        used_ul = sum(offer.takes_ul for offer in found.served if offer.specimen == held.specimen.id)
        assert used_ul <= free_ul(held.specimen, SHIPPED)
    if found.plan is not None:
        drawn = Order(asks=tuple(Ask(test=test) for test in sorted(found.drawn)))
        assert verify(found.plan, drawn, SHIPPED) == ()
        assert found.plan == PLANNER.plan(drawn)


@settings(deadline=None, max_examples=40)
@given(shelves(), st.lists(st.sampled_from(NEEDED), min_size=1, max_size=5, unique=True))
def test_one_more_survivor_never_makes_the_draw_larger(shelf: list[Held], needed: list[str]) -> None:
    order = Order(asks=tuple(Ask(test=test) for test in needed))
    fewer = plan_redraw(order, shelf[1:], SHIPPED, now=NOW, planner=PLANNER)
    more = plan_redraw(order, shelf, SHIPPED, now=NOW, planner=PLANNER)
    assert cost(order, more.drawn) <= cost(order, fewer.drawn)


def test_a_search_that_is_cut_says_so_and_still_answers() -> None:
    tubes = [tube(f"s{n}", "heparin-gel", "sodium", events=(spun(f"s{n}"),), usable_ul=20) for n in range(3)]
    needed = ("creatinine", "calcium", "thyrotropin", "prolactin", "albumin")
    order = Order(asks=tuple(Ask(test=test) for test in needed))
    found = plan_redraw(order, [Held(specimen=one) for one in tubes], SHIPPED, now=NOW, node_limit=2)
    assert not found.is_optimal
    assert len(found.served) + len(found.drawn) == len(needed)


def test_a_test_that_no_tube_here_serves_is_measured_in_a_survivor_or_refused() -> None:
    bare = replace(SHIPPED, kinds={key: kind for key, kind in SHIPPED.kinds.items() if key != "citrate"})
    order = Order(asks=(Ask(test="fibrinogen"), Ask(test="creatinine")))
    left = Held(specimen=tube("c", "citrate", "prothrombin-time", events=(spun("c"),)))
    found = plan_redraw(order, [left], bare, now=NOW)
    assert [offer.test for offer in found.served] == ["fibrinogen"]
    with pytest.raises(NoTube, match="fibrinogen"):
        plan_redraw(order, [], bare, now=NOW)


def test_a_later_draw_of_a_series_is_drawn_though_an_earlier_tube_would_serve() -> None:
    left = Held(specimen=tube("g", "heparin-gel", "sodium", events=(spun("g"),)))
    order = Order(asks=(Ask(test="creatinine"), Ask(test="albumin", at_min=60)))
    found = plan_redraw(order, [left], SHIPPED, now=NOW)
    assert [offer.test for offer in found.served] == ["creatinine"]
    assert found.drawn == ("albumin",)


def test_what_is_drawn_anyway_takes_the_test_that_a_survivor_serves_only_with_a_comment() -> None:
    left = Held(specimen=tube("g", "heparin-gel", "sodium", events=(spun("g"),), usable_ul=100))
    alone = plan_redraw(Order(asks=(Ask(test="cortisol"),)), [left], SHIPPED, now=NOW)
    assert [offer.outcome for offer in alone.served] == ["comment"]
    assert alone.plan is None
    asks = (Ask(test="cortisol"), Ask(test="folate-serum"))
    beside = plan_redraw(Order(asks=asks), [left], SHIPPED, now=NOW)
    assert beside.drawn == ("cortisol", "folate-serum")
    assert beside.plan is not None
    assert beside.plan.totals.tubes == 1


def test_a_test_to_be_kept_that_a_survivor_serves_does_not_stop_the_rest() -> None:
    left = Held(specimen=tube("g", "heparin-gel", "sodium", events=(spun("g"),)))
    order = Order(asks=(Ask(test="creatinine"), Ask(test="complete-blood-count")), keep=("creatinine",))
    found = plan_redraw(order, [left], SHIPPED, now=NOW)
    assert [offer.test for offer in found.served] == ["creatinine"]
    assert found.drawn == ("complete-blood-count",)


@pytest.mark.parametrize(("drawn_ml", "is_optimal"), [(0, True), (116, True), (118, False), (120, False)])
def test_a_redraw_under_a_limit_that_binds_is_not_called_the_least(drawn_ml: int, is_optimal: bool) -> None:
    patient = Patient(age_h=40 * 8766, weight_g=70_000, drawn_ul=1000 * drawn_ml)
    order = Order(asks=tuple(Ask(test=test) for test in NEEDED), patient=patient, access="syringe")
    found = plan_redraw(order, [], SHIPPED, now=NOW, planner=PLANNER)
    assert found.plan is not None
    assert found.is_optimal is is_optimal
