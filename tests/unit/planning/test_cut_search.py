"""A search that is cut says what it found, what it proved, and that it did not finish."""

from __future__ import annotations

from random import Random

import pytest

from cubital.planning import assignment, fillings
from cubital.planning.assignment import Placed, Unfit, assign
from cubital.planning.question import Entry, Question
from cubital.planning.search import search
from tests.properties.test_assignment_optimum import count_places, make_leaf, solve


def question(*needs: int, caps: tuple[int, ...], stock: dict[int, int] | None = None) -> Question:
    """Tests on one lane, and sizes of these capacities; a size draws what it holds."""
    entries = tuple(Entry(0, cap, cap, item, 1 << 40) for item, cap in enumerate(caps))
    return Question(tuple({0: (need, 0)} for need in needs), entries, stock or {}, "fewest-tubes")


def test_a_search_cut_at_once_dives_to_a_packing_and_keeps_its_first_bound() -> None:
    asked = question(60, 60, 60, caps=(100, 70))
    found, whole = search(asked, node_limit=0), search(asked, node_limit=1000)
    assert found.tube_of is not None
    assert (found.finished, found.nodes) == (False, 1)
    assert found.bound < whole.cost <= found.cost
    assert found.cost[:2] == whole.cost[:2] == (0, 3)
    assert whole.finished
    assert whole.bound == whole.cost


def test_the_dive_takes_the_most_promising_child_first() -> None:
    found = search(question(60, 60, 60, caps=(70, 100, 200)), node_limit=0)
    assert found.cost == (0, 1, 200, 0)


def test_a_dive_that_reaches_no_packing_says_neither_that_there_is_one_nor_that_there_is_none() -> None:
    # Two tubes of 100 hold 200 in all, but no two of these three needs fit one tube.
    asked = question(60, 60, 60, caps=(100,), stock={0: 2})
    cut, whole = search(asked, node_limit=0), search(asked, node_limit=1000)
    assert (whole.tube_of, whole.finished) == (None, True)
    assert cut.tube_of is None
    if not cut.finished:  # the first look may prove it without a node
        assert cut.taken == ()
        assert cut.nodes == 1


@pytest.mark.parametrize("most_nodes", [0, 3, 40])
def test_a_cut_assignment_is_never_called_proved_unless_it_is(most_nodes: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(assignment, "_QUICK_NODES", 0)
    monkeypatch.setattr(assignment, "_MOST_NODES", most_nodes)
    monkeypatch.setattr(fillings, "_MOST_WORK", 0)
    cut = refused = 0
    for seed in range(60):
        random = Random(7000 + seed)
        leaf = make_leaf(random, alike=seed % 2 == 0, tests=random.randint(6, 14))
        best = solve(leaf)
        found = assign(leaf.tests, leaf.caps, leaf.lanes)
        if isinstance(found, Placed):
            assert best is not None
            assert found.least <= best <= found.preference == count_places(leaf, found.tube_of)
            cut += found.least < found.preference
        else:
            assert isinstance(found, Unfit)
            assert best is None or not found.proved
            refused += not found.proved
    assert cut + refused >= 5
