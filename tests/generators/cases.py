"""Families of packing questions as a site and an order: small, medium, realistic and hard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from fractions import Fraction
from random import Random
from typing import NamedTuple

from cubital.model import Accept, Ask, Order, Patient, Planning, Site, Test, Tube, TubeKind
from cubital.model.vocabulary import AdditiveKey, MatrixKey, ObjectiveKey, PriorityKey


class Case(NamedTuple):
    """One question: an order at a site."""

    order: Order
    site: Site


class Shelf(NamedTuple):
    """What an invented tube kind is made of and which matrices it gives."""

    key: str
    additive: AdditiveKey
    gel: bool
    matrices: tuple[MatrixKey, ...]
    liquid_per_draw: Fraction = Fraction(0)


SHELVES = (
    Shelf("serum-gel", "clot-activator", True, ("serum",)),
    Shelf("heparin-gel", "lithium-heparin", True, ("plasma",)),
    Shelf("heparin", "lithium-heparin", False, ("plasma", "whole-blood")),
    Shelf("serum", "clot-activator", False, ("serum",)),
    Shelf("edta", "k2-edta", False, ("whole-blood", "plasma")),
    Shelf("citrate", "citrate-9-1", False, ("plasma", "whole-blood"), Fraction(1, 9)),
    Shelf("fluoride", "fluoride-oxalate", False, ("plasma",)),
    Shelf("serum-plain", "none", False, ("serum",)),
    Shelf("sodium-heparin", "sodium-heparin", False, ("whole-blood", "plasma")),
    Shelf("thrombin", "thrombin", False, ("serum",)),
    Shelf("edta-gel", "k2-edta", True, ("plasma",)),
    Shelf("edta-k3", "k3-edta", False, ("whole-blood",)),
)
BENCHES = ("chemistry", "serology", "hematology", "coagulation")
DRAWS_UL = (500, 1000, 1100, 1800, 2000, 2500, 2700, 3500, 4000, 5000, 6000, 8500, 10000)
HOSPITAL_DRAWS_UL = (2000, 2700, 3500, 4000, 5000, 6000, 8500, 10000)
DAY = date(2027, 3, 1)
# For a child kinds of every size are open, and the order asks for its objective.
CHILD = Patient(age_h=8766 * 5)


def stock_kind(
    random: Random,
    shelf: Shelf,
    draws_ul: Sequence[int],
    stocks: Sequence[int | None],
    *,
    expiry: bool = False,
) -> TubeKind:
    """One kind on the shelf in these sizes; with `expiry` a size may be past its last day, or on it."""
    days = (None, date(2027, 2, 28), DAY, date(2028, 1, 1)) if expiry else (None,)
    return TubeKind(
        key=shelf.key,
        name=shelf.key.replace("-", " "),
        additive=shelf.additive,
        gel=shelf.gel,
        material="glass" if shelf.additive == "none" else None,
        sizes=tuple(
            Tube(
                draw_ul=draw_ul,
                liquid_additive_ul=int(draw_ul * shelf.liquid_per_draw),
                in_stock=stock,
                expires=random.choice(days),
            )
            for draw_ul, stock in zip(draws_ul, stocks, strict=True)
        ),
        dead_volume_ul={matrix: random.choice((0, 50, 100, 200)) for matrix in shelf.matrices},
    )


def yields_ul(kind: TubeKind, matrix: MatrixKey, hematocrit: Fraction, recovery: Fraction) -> int:
    """The most one tube of this kind that is in stock and in date gives of this matrix."""
    best_ul = 0
    for tube in kind.sizes:
        if tube.in_stock == 0 or (tube.expires is not None and tube.expires < DAY):
            continue
        share = Fraction(tube.draw_ul)
        if matrix != "whole-blood":
            share = (tube.draw_ul * (1 - hematocrit) + tube.liquid_additive_ul) * recovery
        best_ul = max(best_ul, int(share) - kind.dead_volume_ul[matrix])
    return best_ul


def _mixed(
    random: Random,
    *,
    tests: int,
    kinds: int,
    benches: int,
    stock: bool,
    expiry: bool,
    objective: ObjectiveKey,
) -> Case:
    hematocrit = Fraction(random.choice((30, 40, 45, 50, 55, 60)), 100)
    recovery = Fraction(random.choice((8, 9, 10)), 10)
    shelves = random.sample(SHELVES, kinds)
    stocked: dict[str, TubeKind] = {}
    for shelf in shelves:
        draws_ul = sorted(random.sample(DRAWS_UL, random.randint(1, 3)))
        stocks = [random.choice((None, 0, 1, 1, 2)) if stock else None for _ in draws_ul]
        stocked[shelf.key] = stock_kind(random, shelf, draws_ul, stocks, expiry=expiry)
    ways: dict[tuple[str, MatrixKey], int] = {}
    for shelf in shelves:
        for matrix in shelf.matrices:
            volume_ul = yields_ul(stocked[shelf.key], matrix, hematocrit, recovery)
            if volume_ul > 20:
                ways[shelf.key, matrix] = volume_ul
    if not ways:
        return _mixed(
            random, tests=tests, kinds=kinds, benches=benches, stock=stock, expiry=expiry, objective=objective
        )
    names = BENCHES[:benches]
    directory = {}
    for number in range(tests):
        key = f"test-{number:02d}"
        directory[key] = Test(
            key=key,
            name=f"invented test {number}",
            bench=random.choice(names),
            accepts=_accepts(random, ways),
            own_tube=random.random() < 0.12,
        )
    sharing = (names[:2],) if benches > 1 and random.random() < 0.4 else ()
    planning = Planning(
        objective=objective, share_benches=sharing, recovery=recovery, hematocrit=hematocrit, blood_limit=None
    )
    priorities: tuple[PriorityKey, ...] = ("stat", "timed", "routine", "routine")
    asks = [Ask(test=key, priority=random.choice(priorities)) for key in directory]
    random.shuffle(asks)
    return Case(
        Order(asks=tuple(asks), patient=CHILD, on=DAY),
        Site(name="an invented site", kinds=stocked, tests=directory, planning=planning),
    )


def _accepts(random: Random, ways: dict[tuple[str, MatrixKey], int]) -> tuple[Accept, ...]:
    """One to three ways to run a test; a tube holds about one to five such tests."""
    chosen = random.sample(sorted(ways), min(len(ways), random.choice((1, 1, 2, 2, 3, 4))))
    by_matrix: dict[MatrixKey, list[str]] = {}
    for kind, matrix in chosen:
        by_matrix.setdefault(matrix, []).append(kind)
    accepts = []
    for matrix, kinds in by_matrix.items():
        most_ul = min(ways[kind, matrix] for kind in kinds)
        volume_ul = max(5, int(most_ul * random.uniform(0.08, 1.0) ** random.choice((1, 2))))
        minimum_ul = max(1, int(volume_ul * random.uniform(0.3, 1.0)))
        accepts.append(Accept(matrix=matrix, tubes=tuple(kinds), volume_ul=volume_ul, minimum_ul=minimum_ul))
    return tuple(accepts)


def _either(random: Random) -> ObjectiveKey:
    return random.choice(("fewest-tubes", "least-blood"))


def small(random: Random) -> Case:
    """At most 7 tests, 2 to 4 kinds of 1 to 3 sizes, 1 to 3 benches, half of them with a tight stock."""
    return _mixed(
        random,
        tests=random.randint(1, 7),
        kinds=random.randint(2, 4),
        benches=random.randint(1, 3),
        stock=random.random() < 0.5,
        expiry=random.random() < 0.25,
        objective=_either(random),
    )


def medium(random: Random) -> Case:
    """8 to 15 tests, 3 to 7 kinds, 1 to 4 benches, half of them with a tight stock."""
    return _mixed(
        random,
        tests=random.randint(8, 15),
        kinds=random.randint(3, 7),
        benches=random.randint(1, 4),
        stock=random.random() < 0.5,
        expiry=random.random() < 0.25,
        objective=_either(random),
    )


# Invented: (bench, share of the directory, ways in order of preference, least and most microlitres).
_CLASSES: tuple[tuple[str, int, tuple[tuple[MatrixKey, tuple[str, ...]], ...], int, int], ...] = (
    ("chemistry", 60, (("plasma", ("heparin-gel", "heparin")), ("serum", ("serum-gel", "serum"))), 10, 150),
    ("serology", 40, (("serum", ("serum-gel", "serum")), ("plasma", ("heparin-gel",))), 50, 500),
    ("hormones", 25, (("serum", ("serum-gel", "serum", "serum-plain")),), 50, 300),
    ("hematology", 15, (("whole-blood", ("edta", "edta-k3")),), 50, 500),
    ("coagulation", 15, (("plasma", ("citrate",)),), 100, 500),
    ("special", 10, (("plasma", ("edta", "edta-gel")), ("whole-blood", ("edta",))), 100, 500),
    ("chemistry", 5, (("plasma", ("fluoride", "heparin-gel")),), 10, 100),
)


def realistic_site(random: Random, *, counted: bool = False) -> Site:
    """An invented hospital: a directory of 170 tests, 10 kinds of 2 to 4 sizes."""
    used = {kind for _, _, ways, _, _ in _CLASSES for _, kinds in ways for kind in kinds}
    stocked = {}
    for shelf in SHELVES:
        if shelf.key not in used:
            continue
        draws_ul = sorted(random.sample(HOSPITAL_DRAWS_UL, random.randint(2, 4)))
        stocks = [random.choice((None, 2, 10, 40)) if counted else None for _ in draws_ul]
        stocked[shelf.key] = stock_kind(random, shelf, draws_ul, stocks)
    directory: dict[str, Test] = {}
    for bench, share, ways, least_ul, most_ul in _CLASSES:
        for _ in range(share):
            key = f"test-{len(directory):03d}"
            accepts = []
            for matrix, kinds in ways[: random.randint(1, len(ways))]:
                volume_ul = random.randint(least_ul, most_ul)
                minimum_ul = max(5, int(volume_ul * random.uniform(0.3, 0.8)))
                accepts.append(
                    Accept(
                        matrix=matrix,
                        tubes=kinds[: random.randint(1, len(kinds))],
                        volume_ul=volume_ul,
                        minimum_ul=minimum_ul,
                    )
                )
            directory[key] = Test(
                key=key,
                name=f"invented test {len(directory)}",
                bench=bench,
                accepts=tuple(accepts),
                own_tube=random.random() < 0.02,
            )
    planning = Planning(
        share_benches=(("chemistry", "serology"),), hematocrit=Fraction(1, 2), blood_limit=None
    )
    return Site(name="an invented hospital", kinds=stocked, tests=directory, planning=planning)


def realistic_order(random: Random, site: Site, *, tests: int = 12) -> Order:
    """A mixed order of this many tests of the directory."""
    keys = random.sample(sorted(site.tests), tests)
    return Order(asks=tuple(Ask(test=key) for key in keys), objective=_either(random), on=DAY)


def realistic(random: Random) -> Case:
    """12 tests of a directory of 170 at an invented hospital."""
    site = realistic_site(random, counted=random.random() < 0.3)
    return Case(realistic_order(random, site), site)


def hard(
    random: Random, *, tests: int = 30, kinds: int = 10, sizes: int = 3, spare: int | None = None
) -> Case:
    """30 tests on one bench, 10 kinds of 3 sizes, each test in 2 to 5 kinds, a stock that just suffices.

    A packing is planted and the stock is what it uses and `spare` tubes more (2 to 12 unless given), so the
    question is feasible.
    """
    hematocrit, recovery = Fraction(45, 100), Fraction(9, 10)
    shelves = SHELVES[:kinds]
    draws_ul = {shelf.key: sorted(random.sample(DRAWS_UL[2:], sizes)) for shelf in shelves}
    empty = {shelf.key: stock_kind(random, shelf, draws_ul[shelf.key], [1] * sizes) for shelf in shelves}
    matrix = {shelf.key: shelf.matrices[0] for shelf in shelves}
    used = {(shelf.key, n): 0 for shelf in shelves for n in range(sizes)}
    directory: dict[str, Test] = {}
    while len(directory) < tests:
        kind, n = random.choice(sorted(used))
        one = TubeKind(
            key=kind, name=kind, additive=empty[kind].additive, sizes=(empty[kind].sizes[n],),
            dead_volume_ul=empty[kind].dead_volume_ul,
        )  # fmt: skip
        room_ul = yields_ul(one, matrix[kind], hematocrit, recovery)
        members = min(random.randint(3, 6), tests - len(directory))
        if room_ul < 40 * members:
            continue
        used[kind, n] += 1
        weights = [random.uniform(0.5, 1.5) for _ in range(members)]
        for weight in weights:
            volume_ul = int(room_ul * random.uniform(0.88, 1.0) * weight / sum(weights))
            key = f"test-{len(directory):02d}"
            directory[key] = _hard_test(random, key, kind, matrix, volume_ul)
    for _ in range(random.randint(2, 12) if spare is None else spare):
        used[random.choice(sorted(used))] += 1
    stocked = {
        key: TubeKind(
            key=key, name=kind.name, additive=kind.additive, gel=kind.gel, material=kind.material,
            sizes=tuple(
                Tube(draw_ul=t.draw_ul, liquid_additive_ul=t.liquid_additive_ul, in_stock=used[key, n])
                for n, t in enumerate(kind.sizes)
            ),
            dead_volume_ul=kind.dead_volume_ul,
        )
        for key, kind in empty.items()
    }  # fmt: skip
    planning = Planning(objective=_either(random), hematocrit=hematocrit, recovery=recovery, blood_limit=None)
    asks = [Ask(test=key) for key in directory]
    random.shuffle(asks)
    site = Site(name="an invented hard site", kinds=stocked, tests=directory, planning=planning)
    return Case(Order(asks=tuple(asks), on=DAY), site)


def _hard_test(random: Random, key: str, kind: str, matrix: dict[str, MatrixKey], volume_ul: int) -> Test:
    others = [k for k in matrix if k != kind]
    accepted = [kind, *random.sample(others, random.randint(1, 4))]
    random.shuffle(accepted)
    by_matrix: dict[MatrixKey, list[str]] = {}
    for k in accepted:
        by_matrix.setdefault(matrix[k], []).append(k)
    accepts = tuple(
        Accept(matrix=m, tubes=tuple(kinds), volume_ul=volume_ul, minimum_ul=max(1, volume_ul * 4 // 5))
        for m, kinds in by_matrix.items()
    )
    return Test(key=key, name=key.replace("-", " "), bench="one bench", accepts=accepts)


FAMILIES: dict[str, Callable[[Random], Case]] = {
    "small": small, "medium": medium, "realistic": realistic, "hard": hard,
}  # fmt: skip
