"""Hypothesis strategies for invented sites and orders, small enough to shrink to a readable case."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from cubital.model import Accept, Ask, Order, Planning, Site, Test, Tube, TubeKind
from cubital.model.vocabulary import PRIORITIES, MatrixKey, ObjectiveKey, PriorityKey
from tests.generators.cases import DAY, SHELVES, Case, Shelf, yields_ul

_BENCHES = ("chemistry", "serology", "hematology")
_DRAWS_UL = (1000, 1800, 2700, 3500, 5000, 8500)
# Those that say themselves what is best; `by-patient` takes one of them.
_objectives: st.SearchStrategy[ObjectiveKey] = st.sampled_from(("fewest-tubes", "least-blood", "liked-kinds"))
_handlings: st.SearchStrategy[tuple[str, ...]] = st.sampled_from(
    ((), (), (), ("ice",), ("ice", "cold_spin"), ("no_chill",), ("warm",))
)
_priorities: st.SearchStrategy[PriorityKey] = st.sampled_from(PRIORITIES)


@st.composite
def kinds(draw: st.DrawFn, shelf: Shelf, *, counted: bool) -> TubeKind:
    """One kind in one to three sizes; the largest is always on the shelf."""
    draws_ul = draw(st.lists(st.sampled_from(_DRAWS_UL), min_size=1, max_size=3, unique=True).map(sorted))
    stocks = [
        draw(st.sampled_from((None, 0, 1, 2) if number + 1 < len(draws_ul) else (None, 1, 2)))
        if counted
        else None
        for number in range(len(draws_ul))
    ]
    return TubeKind(
        key=shelf.key,
        name=shelf.key,
        additive=shelf.additive,
        gel=shelf.gel,
        material="glass" if shelf.additive == "none" else None,
        sizes=tuple(
            Tube(draw_ul=ul, liquid_additive_ul=int(ul * shelf.liquid_per_draw), in_stock=stock)
            for ul, stock in zip(draws_ul, stocks, strict=True)
        ),
        dead_volume_ul={matrix: draw(st.sampled_from((0, 100, 200))) for matrix in shelf.matrices},
    )


@st.composite
def sites(draw: st.DrawFn, *, most_tests: int = 6, counted: bool | None = None) -> Site:
    """A site of two to four kinds whose every test fits at least one tube it stocks."""
    with_stock = draw(st.booleans()) if counted is None else counted
    shelves = draw(st.lists(st.sampled_from(SHELVES), min_size=2, max_size=4, unique=True))
    stocked = {shelf.key: draw(kinds(shelf, counted=with_stock)) for shelf in shelves}
    hematocrit = Fraction(draw(st.integers(30, 60)), 100)
    recovery = Fraction(draw(st.integers(7, 10)), 10)
    ways: dict[tuple[str, MatrixKey], int] = {
        (shelf.key, matrix): yields_ul(stocked[shelf.key], matrix, hematocrit, recovery)
        for shelf in shelves
        for matrix in shelf.matrices
    }
    usable = sorted(way for way, volume_ul in ways.items() if volume_ul >= 20)
    directory = {}
    for number in range(draw(st.integers(1, most_tests)) if usable else 0):
        key = f"test-{number}"
        accepts = []
        for kind, matrix in draw(st.lists(st.sampled_from(usable), min_size=1, max_size=3, unique=True)):
            volume_ul = draw(st.integers(10, ways[kind, matrix]))
            minimum_ul = draw(st.integers(5, volume_ul))
            accepts.append(Accept(matrix=matrix, tubes=(kind,), volume_ul=volume_ul, minimum_ul=minimum_ul))
        directory[key] = Test(
            key=key,
            name=f"invented test {number}",
            bench=draw(st.sampled_from(_BENCHES)),
            accepts=tuple(accepts),
            own_tube=draw(st.integers(0, 7)) == 7,
            handling=draw(_handlings),
        )
    sharing = draw(
        st.sampled_from(((), (("chemistry", "serology"),), (("chemistry", "serology", "hematology"),)))
    )
    planning = Planning(
        objective=draw(_objectives),
        share_benches=sharing,
        hematocrit=hematocrit,
        recovery=recovery,
        blood_limit=None,
    )
    return Site(name="an invented site", kinds=stocked, tests=directory, planning=planning)


@st.composite
def orders(draw: st.DrawFn, site: Site) -> Order:
    """An order for some of the site's tests, in any order, each with a priority."""
    keys = draw(st.lists(st.sampled_from(sorted(site.tests)), min_size=1, unique=True))
    return Order(asks=tuple(Ask(test=key, priority=draw(_priorities)) for key in keys), on=DAY)


@st.composite
def cases(draw: st.DrawFn, *, most_tests: int = 6, counted: bool | None = None) -> Case:
    """An order at a site."""
    site = draw(sites(most_tests=most_tests, counted=counted).filter(lambda site: bool(site.tests)))
    return Case(draw(orders(site)), site)
