"""How much blood the cultures of an order take, and every smaller amount that a plan may step down to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cubital.facts import cultures
from cubital.model import Order, Site
from cubital.model.vocabulary import PRIORITIES


@dataclass(frozen=True, slots=True)
class Culture:
    """The culture of one draw: its tests with their urgency, and whether it is a set, aerobic or anaerobic."""

    draw: str
    tests: tuple[tuple[str, int], ...]
    what: str


@dataclass(frozen=True, slots=True)
class Volume:
    """So many sets of so much blood each."""

    sets: int
    per_set_ul: int


def cultures_of(order: Order, site: Site) -> list[Culture]:
    """The cultures of each draw of an order that names them by key; two kinds in one draw are a set."""
    found: dict[str, dict[str, int]] = {}
    for ask in order.asks:
        if ask.test in site.tests and site.tests[ask.test].culture is not None:
            tests = found.setdefault(str(ask.at_min or 0), {})
            urgency = PRIORITIES.index(ask.priority)
            tests[ask.test] = min(urgency, tests.get(ask.test, urgency))
    kinds = {draw: {site.tests[key].culture or "set" for key in tests} for draw, tests in found.items()}
    return [
        Culture(draw, tuple(tests.items()), kinds[draw].pop() if len(kinds[draw]) == 1 else "set")
        for draw, tests in found.items()
    ]


def volumes_of(order: Order) -> list[Volume]:
    """The volume of the table of weights, then every smaller one down to the least that is published.

    The table is that of IDSA and ASM 2018, its low end; a further set goes before volume, and volumes under a full set
    are whole millilitres, the least that is published last.
    """
    known, weight_g = cultures(), order.patient.weight_g
    if weight_g is None:
        sets, total_ul = known.adult.sets_low, known.adult.sets_low * known.adult.per_set_low_ul
    else:
        rows = known.table("idsa-asm-2018").rows
        row = next(row for row in rows if row.weight_max_g is None or weight_g <= row.weight_max_g)
        sets, total_ul = row.sets_low, row.total_low_ul
    least_ul = min(known.least_ul(weight_g), total_ul)
    one_ul = total_ul // sets
    smaller = {ul for ul in range(least_ul, one_ul) if ul % 1000 == 0} | ({least_ul} if least_ul < one_ul else set())
    return [*([Volume(sets, one_ul)] if sets > 1 else []), *(Volume(1, ul) for ul in sorted({one_ul, *smaller})[::-1])]


def blood_ul(culture: Culture, volume: Volume, order: Order, site: Site) -> int:
    """What the bottles of this culture take at this volume, never more than one holds; the stock is not counted."""
    return volume.sets * sum(_filled_ul(uses, ul, order, site) for uses, ul in _bottles(culture.what, volume))


def _bottles(what: str, volume: Volume) -> Iterator[tuple[tuple[str, ...], int]]:
    """The uses that may take each bottle of a set, best first, and what goes into it."""
    per_set_ul = volume.per_set_ul
    if what == "anaerobic":
        yield ("culture-anaerobic",), per_set_ul
    elif what == "aerobic" or per_set_ul <= 10_000:  # IDSA and ASM: 10 mL or less in all goes into the aerobic bottle
        yield ("culture-pediatric", "culture-aerobic") if per_set_ul <= 4000 else ("culture-aerobic",), per_set_ul
    else:
        yield ("culture-aerobic",), per_set_ul - per_set_ul // 2
        yield ("culture-anaerobic",), per_set_ul // 2


def _filled_ul(uses: tuple[str, ...], ul: int, order: Order, site: Site) -> int:
    largest_ul = 0
    for use in uses:
        sizes = [
            size.draw_ul
            for kind in site.kinds.values()
            if kind.use == use and (kind.accesses is None or order.access in kind.accesses)
            for size in kind.sizes
            if size.in_stock != 0
        ]
        if sizes and max(sizes) >= ul:
            return ul
        largest_ul = max(sizes, default=0)
    return min(ul, largest_ul)
