"""An invented neonatal unit's year: patients, draws and tests as many as a published one had, and fixed-size practice.

Only the three totals are from outside (463 patients, 8,481 draws, 23,899 tests). Weights, stays, hematocrits, what is
asked together, how often, and by which access are invented, of the shape that handbooks describe: the smallest stay
longest and are bled most, over half of the draws are by heel. The stock is the demo site's in newborn sizes.

Fixed-size practice, for comparison: each bench has a container of its own, of one kind that all its tests accept (of
several only where there is none), filled to its mark. No bench shares with another, and tests for ice stand apart.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from random import Random
from typing import Literal, NamedTuple, get_args

from msgspec.structs import replace

from cubital.app.wiring import open_site
from cubital.model import Accept, Ask, Order, Patient, Site, Test, Tube, TubeKind
from cubital.model.vocabulary import AccessKey

PATIENTS, DRAWS, TESTS = 463, 8_481, 23_899
Container = Literal["usual", "smallest"]
CONTAINERS: tuple[Container, ...] = get_args(Container)

# Invented: share of the patients, least and most weight in grams at birth, relative number of draws, longest stay in d.
_GROUPS = ((10, 450, 1000, 70, 90), (14, 1000, 1500, 32, 55), (36, 1500, 2500, 12, 24), (40, 2500, 4200, 6, 9))
# Invented: how often a draw holds so many tests, and how often a test is asked.
_SIZES = {1: 30, 2: 25, 3: 18, 4: 11, 5: 7, 6: 4, 7: 3, 8: 2}
_MENU = {
    "venous-blood-gas": 30, "complete-blood-count": 22, "total-bilirubin": 20, "c-reactive-protein": 15, "sodium": 15,
    "potassium": 15, "glucose": 12, "creatinine": 9, "calcium": 9, "urea-nitrogen": 8, "phosphate": 6,
    "direct-bilirubin": 5, "gentamicin-trough": 5, "alkaline-phosphatase": 4, "albumin": 4, "chloride": 4, "lactate": 4,
    "magnesium": 3, "alanine-aminotransferase": 3, "triglycerides": 3, "vancomycin-trough": 3, "reticulocyte-count": 3,
    "direct-antiglobulin-test": 3, "thyrotropin": 2, "free-thyroxine": 2, "ferritin": 1, "ammonia": 1,
    "prothrombin-time": 2, "activated-partial-thromboplastin-time": 2, "fibrinogen": 1,
}  # fmt: skip
_NEXT_OF_SAME_BENCH = 0.65
_NOT_BY_HEEL = ("coagulation",)
_ACCESSES: dict[AccessKey, int] = {"skin-puncture": 56, "line": 24, "syringe": 20}
# Newborn sizes in microlitres of draw and liquid additive; the larger is the usual one.
_STOCK: dict[str, tuple[tuple[int, int], ...]] = {
    "gas-capillary": ((100, 0), (175, 0)), "edta-micro": ((250, 0), (500, 0)), "heparin-micro": ((300, 0), (600, 0)),
    "serum-micro": ((300, 0), (600, 0)), "fluoride-micro": ((250, 0), (500, 0)), "citrate": ((900, 100), (1800, 200)),
}  # fmt: skip


class Sample(NamedTuple):
    """One container of fixed-size practice: its kind, the blood in it, and its tests."""

    kind: str
    draw_ul: int
    tests: tuple[str, ...]


def unit_site() -> Site:
    """The demo site with newborn sizes, which heel, line and syringe may all fill, without limit and reserve."""
    demo = open_site(demo=True)
    kinds = {}
    for key, sizes in _STOCK.items():
        tubes = tuple(Tube(draw_ul=draw_ul, liquid_additive_ul=liquid_ul) for draw_ul, liquid_ul in sizes)
        accesses: tuple[AccessKey, ...] | None = ("line", "syringe") if key == "citrate" else None
        kinds[key] = replace(demo.kinds[key], sizes=tubes, accesses=accesses)
    planning = replace(
        demo.planning, blood_limit=None, reserve_percent=0, usual_travel_min=None, travel_min={}, whole_blood_tests=()
    )
    return replace(demo, name="an invented neonatal unit", kinds=kinds, planning=planning)


def year(seed: int, *, patients: int = PATIENTS, draws: int = DRAWS, tests: int = TESTS) -> list[Order]:
    """Every draw of an invented year, exactly as many as asked, the same for the same seed."""
    random = Random(seed)
    site = unit_site()
    people = [_patient(random) for _ in range(patients)]
    counts = _apportion([weight for *_, weight in people], draws)
    sizes = _fit(random, random.choices(list(_SIZES), weights=list(_SIZES.values()), k=draws), tests)
    found: list[Order] = []
    for (birth_g, stay_d, hematocrit, _), count in zip(people, counts, strict=True):
        for _ in range(count):
            age_h = int(24 * stay_d * random.random() ** 1.6)
            asked = _asked(random, site, sizes[len(found)])
            found.append(Order(
                asks=tuple(Ask(test=test) for test in asked),
                patient=_at(birth_g, hematocrit, age_h),
                access=_access(random, site, asked),
            ))  # fmt: skip
    return found


def _patient(random: Random) -> tuple[int, float, float, float]:
    """Birth weight in grams, stay in days, hematocrit at birth, and the weight by which draws are shared out."""
    _, least_g, most_g, often, longest_d = random.choices(_GROUPS, weights=[group[0] for group in _GROUPS])[0]
    share = random.uniform(0.4, 1.6)
    return random.randint(least_g, most_g), 2 + longest_d * share / 1.6, random.gauss(0.52, 0.05), often * share


def _at(birth_g: int, hematocrit: float, age_h: int) -> Patient:
    """The patient at this age: 15 g/kg a day gained after the first week, hematocrit down by 0.004 a day."""
    days = age_h / 24
    weight_g = round(birth_g * (1 + 0.015 * max(0.0, days - 7)))
    share = Fraction(round(100 * min(0.65, max(0.28, hematocrit - 0.004 * days))), 100)
    return Patient(age_h=age_h, weight_g=weight_g, hematocrit=share)


def _apportion(weights: Sequence[float], total: int) -> list[int]:
    """Whole shares of the total, one at least, by the largest remainders."""
    free = total - len(weights)
    exact = [free * weight / sum(weights) for weight in weights]
    shares = [int(value) for value in exact]
    by_rest = sorted(range(len(weights)), key=lambda i: shares[i] - exact[i])
    for i in by_rest[: free - sum(shares)]:
        shares[i] += 1
    return [share + 1 for share in shares]


def _fit(random: Random, sizes: list[int], total: int) -> list[int]:
    """The sizes, one more or less here and there, until they add up to the total."""
    while rest := total - sum(sizes):
        i = random.randrange(len(sizes))
        if rest > 0 and sizes[i] < max(_SIZES):
            sizes[i] += 1
        elif rest < 0 and sizes[i] > 1:
            sizes[i] -= 1
    return sizes


def _asked(random: Random, site: Site, size: int) -> list[str]:
    """So many different tests; the next one is more often than not of a bench that is asked already."""
    found: list[str] = []
    while len(found) < size:
        benches = {site.tests[test].bench for test in found}
        near = [test for test in _MENU if test not in found and site.tests[test].bench in benches]
        pool = near if near and random.random() < _NEXT_OF_SAME_BENCH else [t for t in _MENU if t not in found]
        found.append(random.choices(pool, weights=[_MENU[test] for test in pool])[0])
    return found


def _access(random: Random, site: Site, asked: Iterable[str]) -> AccessKey:
    free = not any(site.tests[test].bench in _NOT_BY_HEEL for test in asked)
    ways = {access: often for access, often in _ACCESSES.items() if free or access != "skin-puncture"}
    return random.choices(list(ways), weights=list(ways.values()))[0]


def fixed_size(order: Order, site: Site, container: Container) -> list[Sample]:
    """What fixed-size practice draws: the usual size of each kind, or the smallest that holds the tests."""
    benches: dict[tuple[object, ...], list[Test]] = defaultdict(list)
    for ask in order.asks:
        test = site.tests[ask.test]
        benches[test.bench, "ice" in test.handling, test.key if test.own_tube else None].append(test)
    found: list[Sample] = []
    for members in benches.values():
        for kind, held in _kinds_for(members, site, order.access):
            found += _filled(kind, held, order.patient.hematocrit or Fraction(1, 2), site, container)
    return found


def _kinds_for(
    members: list[Test], site: Site, access: str
) -> list[tuple[TubeKind, list[tuple[Test, Accept]]]]:
    """One kind that all tests of the bench accept, the best liked of all; where there is none, each its own first."""
    ways = {test.key: _ways(test, site, access) for test in members}
    shared = set.intersection(*(set(found) for found in ways.values()))
    if shared:
        best = min(shared, key=lambda way: (sum(list(found).index(way) for found in ways.values()), way))
        return [(site.kinds[best[0]], [(test, ways[test.key][best]) for test in members])]
    apart: dict[tuple[str, str], list[tuple[Test, Accept]]] = defaultdict(list)
    for test in members:
        first = next(iter(ways[test.key]))
        apart[first].append((test, ways[test.key][first]))
    return [(site.kinds[kind], held) for (kind, _), held in apart.items()]


def _ways(test: Test, site: Site, access: str) -> dict[tuple[str, str], Accept]:
    """Kind and matrix of every container of this unit that the test accepts by this access, best liked first."""
    found: dict[tuple[str, str], Accept] = {
        (key, way.matrix): way
        for way in test.accepts
        for key in way.tubes
        if key in site.kinds and site.kinds[key].can_be_filled_by(access)
    }
    if not found:
        raise ValueError(f"{test.key}: no kind of this unit can be filled by {access}")
    return found


def _filled(
    kind: TubeKind, members: list[tuple[Test, Accept]], hematocrit: Fraction, site: Site, container: Container
) -> Iterator[Sample]:
    """Containers for these tests at typical volumes, each opened when the one before it is full."""
    matrix = members[0][1].matrix
    rooms = [(_room_ul(kind, size, matrix, hematocrit, site), size.draw_ul) for size in kind.sizes]
    most_ul, usual_ul = max(rooms)
    held: list[str] = []
    needed_ul = 0
    for test, way in [*members, (None, None)]:
        if held and (test is None or way is None or needed_ul + way.volume_ul > most_ul):
            smallest_ul = min(draw_ul for room_ul, draw_ul in rooms if room_ul >= min(needed_ul, most_ul))
            yield Sample(kind.key, usual_ul if container == "usual" else smallest_ul, tuple(held))
            held, needed_ul = [], 0
        if test is not None and way is not None:
            held.append(test.key)
            needed_ul += way.volume_ul


def _room_ul(kind: TubeKind, size: Tube, matrix: str, hematocrit: Fraction, site: Site) -> int:
    """What can be pipetted of one container, by the contract of a plan (docs/explanation/packing.md)."""
    dead_ul = kind.dead_volume_ul.get(matrix, 0)  # type: ignore[call-overload]
    if matrix == "whole-blood":
        return int(size.draw_ul - dead_ul)
    free = (size.draw_ul * (1 - hematocrit) + size.liquid_additive_ul) * site.planning.recovery
    return int(free) - int(dead_ul)
