"""The order of least harm against every order there is."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from cubital.chemistry.least_harm import harm_of_order, least_harm, tables_of


@st.composite
def matrices(draw: st.DrawFn) -> list[list[int]]:
    """Harms of up to six tubes, ties and grades far apart included."""
    count = draw(st.integers(0, 6))
    harm = st.one_of(st.integers(0, 3), st.integers(0, 10**6), st.sampled_from((0, 10**14, 10**18)))
    return [[0 if a == b else draw(harm) for b in range(count)] for a in range(count)]


@given(matrices())
def test_no_order_harms_less_and_as_many_do_as_well_as_is_said(harms: list[list[int]]) -> None:
    found = least_harm(harms)
    every = [harm_of_order(harms, order) for order in permutations(range(len(harms)))]
    assert harm_of_order(harms, found.order) == found.harm == min(every)
    assert every.count(found.harm) == found.orders
    assert sorted(found.order) == list(range(len(harms)))


@given(matrices())
def test_of_the_orders_that_do_as_well_the_one_nearest_to_the_given_is_told(harms: list[list[int]]) -> None:
    found = least_harm(harms)
    best = [o for o in permutations(range(len(harms))) if harm_of_order(harms, o) == found.harm]
    assert found.order == max(best, key=lambda order: order[::-1])


@given(matrices(), st.sets(st.integers(0, 5)))
def test_the_least_harm_of_some_of_the_tubes_is_that_of_those_tubes_alone(
    harms: list[list[int]], some: set[int]
) -> None:
    tubes = sorted(tube for tube in some if tube < len(harms))
    alone = least_harm([[harms[a][b] for b in tubes] for a in tubes]).harm
    assert tables_of(harms).least_among(tubes) == alone
