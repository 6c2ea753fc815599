"""A test left out: why, and what it would need."""

from __future__ import annotations

from cubital.model import Site, Unplaced
from cubital.model.vocabulary import PRIORITIES
from cubital.planning.choices import RATIO_CRITICAL, Shelf
from cubital.planning.ranking import UNRANKED
from cubital.planning.wanted import Due
from cubital.units import millilitres_text


def unplaced_test(due: Due, shelf: Shelf, site: Site, budget_ul: int | None) -> Unplaced:
    """This test left out for the stock, or where `budget_ul` is given for the blood limit."""
    test = site.tests[due.test]
    sizes = [
        (size.draw_ul, shelf.ways[way].kind)
        for way, (need_ul, _) in shelf.ways_for(test, minimum=True).items()
        for size in shelf.ways[way].sizes
        if size.cap_ul >= need_ul
    ]
    draw_ul, kind = min(sizes)
    if budget_ul is None:
        why = "the stock cannot hold it beside the tests that are kept"
        needs = f"one more {kind} of {millilitres_text(draw_ul)} mL or larger, or another kind it accepts"
    else:
        why = "the blood limit leaves no room for it beside the tests that are kept"
        owed = " and any discard before it" if site.kinds[kind].additive in RATIO_CRITICAL else ""
        needs = f"{millilitres_text(draw_ul)} mL ({kind}){owed}, when the limit allows or a physician decides"
    return Unplaced(
        test=due.test, priority=PRIORITIES[due.priority], why=why, needs=needs, rank=test.rank or UNRANKED
    )


def unplaced_culture(due: Due, site: Site) -> Unplaced:
    """A culture left out: not even the least volume that is published for this weight fits."""
    return Unplaced(
        test=due.test,
        priority=PRIORITIES[due.priority],
        why="the blood limit leaves no room for even the least culture volume of this weight",
        needs="a physician's decision on the volume: a smaller culture finds less",
        rank=site.tests[due.test].rank or UNRANKED,
    )
