"""Bedsides for generated orders: accesses that throw blood away, limits, ranks, cultures and several draws."""

from __future__ import annotations

from random import Random

from msgspec.structs import replace

from cubital.facts import Cap, SamplingLimit
from cubital.model import Ask, Line, Patient, Placing, Test, Tube, TubeKind
from cubital.model.vocabulary import RANKS, AccessKey, AdditiveKey, ObjectiveKey
from tests.generators.cases import Case

ACCESSES: tuple[AccessKey, ...] = ("winged-set", "winged-set", "line", "line", "straight-needle")
OBJECTIVES: tuple[ObjectiveKey, ...] = ("fewest-tubes", "least-blood", "liked-kinds", "by-patient")
YEAR_H = 8766
_CULTURES = (("culture", "set"), ("culture-aerobic", "aerobic"), ("culture-anaerobic", "anaerobic"))


def at_bedside(
    case: Case, random: Random, *, limited: bool = False, draws: int = 1, cultures: bool = False, reserve: bool = False
) -> Case:
    """The same order with an access, ranks, an objective and what else is asked for; `limited` within a blood limit."""
    order, site = case
    tests = {key: _ranked(test, random) for key, test in site.tests.items()}
    kinds = _other_kinds(dict(site.kinds), random)
    kinds |= _more_kinds(kinds, random)
    policy, placings = _order_of_draw(kinds, random)
    asks = tuple(_moved(ask, random, draws) for ask in order.asks)
    if cultures:
        tests |= {key: Test(key=key, name=key, bench="microbiology", culture=what) for key, what in _CULTURES}
        kinds |= {kind.key: kind for kind in _BOTTLES}
        chosen = random.sample([key for key, _ in _CULTURES], random.choice((1, 1, 1, 2)))
        more = [Ask(test=key, priority=random.choice(("stat", "routine"))) for key in chosen]
        asks += tuple(_moved(ask, random, draws) for ask in more)
    random_order = list(asks)
    random.shuffle(random_order)
    site = replace(site, kinds=kinds, tests=tests, planning=replace(
        site.planning, objective=random.choice(OBJECTIVES), near_limit_percent=random.choice((25, 25, 60, 100)),
        reserve_percent=random.choice((30, 100, 200)) if reserve else 0, order_of_draw=policy, placings=placings,
        line_discard=random.choice(("thrown-away", "thrown-away", "returned")),
    ))  # fmt: skip
    order = replace(
        order, asks=tuple(random_order), access=random.choice(ACCESSES), line=_line(random),
        patient=_patient(random), keep=(random.choice(random_order).test,) if random.random() < 0.15 else (),
    )  # fmt: skip
    return _with_limit(Case(order, site), random) if limited else Case(order, site)


def _ranked(test: Test, random: Random) -> Test:
    return replace(test, rank=random.choice((None, *RANKS)))


def _moved(ask: Ask, random: Random, draws: int) -> Ask:
    return replace(ask, at_min=random.choice((None, 60, 120)[:draws]))


def _other_kinds(kinds: dict[str, TubeKind], random: Random) -> dict[str, TubeKind]:
    """The kinds, one of them as often as not with citrate, or kept for trace elements, which go where the site says."""
    key, kind = random.choice(sorted(kinds.items()))
    turn = random.random()
    if turn < 0.5:
        additive: AdditiveKey = "citrate-4-1" if turn < 0.25 else "citrate-9-1"
        kinds[key] = replace(kind, additive=additive, gel=False, material=None)
    elif turn < 0.65 and kind.additive != "citrate-9-1":
        kinds[key] = replace(kind, use="trace-element")
    return kinds


def _order_of_draw(kinds: dict[str, TubeKind], random: Random) -> tuple[str, tuple[Placing, ...]]:
    """A policy, and a place for each kind that it leaves to the site: before, after or with some other kind."""
    alone = [key for key, kind in kinds.items() if kind.use == "trace-element" or kind.additive == "citrate-4-1"]
    others = [key for key in kinds if key not in alone]
    if not others or (not any(kinds[key].use for key in alone) and random.random() < 0.5):
        return "common-practice", ()
    ratio = [key for key in others if kinds[key].additive == "citrate-9-1"] or others
    near = [random.choice(ratio if random.random() < 0.7 else others) for _ in alone]
    ways = [random.choice(("before", "before", "after", "with_kind")) for _ in alone]
    return "clsi-gp41", tuple(
        Placing(kind=key, **{way: beside}) for key, way, beside in zip(alone, ways, near, strict=True)
    )


def _more_kinds(kinds: dict[str, TubeKind], random: Random) -> dict[str, TubeKind]:
    """Now and then a tube to throw away that no test accepts; always where what a test needs might be thrown away."""
    counted = any(
        size.in_stock is not None
        for kind in kinds.values()
        for size in kind.sizes
        if kind.additive in ("none", "citrate-9-1", "citrate-4-1")
    )
    if not counted and random.random() < 0.5:
        return {}
    size = Tube(draw_ul=random.choice((1000, 4000) if counted else (300, 1000, 4000)))
    return {"waste": TubeKind(key="waste", name="waste", additive="none", material="glass", sizes=(size,))}


def _line(random: Random) -> Line:
    return Line(
        dead_space_ul=random.choice((None, 0, 100, 300, 900)), carried_anticoagulant=random.choice((None, False, True)),
        suspected_infection=random.random() < 0.25,
    )  # fmt: skip


def _patient(random: Random) -> Patient:
    age_h = random.choice((None, 24 * 3, YEAR_H * 2, YEAR_H * 45))
    weights_g = {24 * 3: (800, 1600, 3200), YEAR_H * 2: (9000, 13_000), None: (None,), YEAR_H * 45: (None, 70_000)}
    return Patient(age_h=age_h, weight_g=random.choice(weights_g[age_h]))


def _with_limit(case: Case, random: Random) -> Case:
    """The same with a limit of the site's own in microlitres, of which some may be drawn already."""
    cap_ul = random.choice((1500, 3000, 6000, 9000, 14_000, 25_000, 60_000))
    limit = SamplingLimit(key="house", name="house", for_whom="all", caps=(Cap(period_h=24, cap_ul=cap_ul),))
    planning = replace(case.site.planning, blood_limit="house")
    patient = replace(case.order.patient, drawn_ul=random.choice((0, 0, cap_ul // 4, cap_ul)))
    site = replace(case.site, limits={"house": limit}, planning=planning)
    return Case(replace(case.order, patient=patient), site)


def _bottle(use: str, *draws_ul: int) -> TubeKind:
    sizes = tuple(Tube(draw_ul=ul) for ul in draws_ul)
    return TubeKind(key=use, name=use, additive="culture-medium", use=use, sizes=sizes)


_BOTTLES = (
    _bottle("culture-aerobic", 5000, 10_000), _bottle("culture-anaerobic", 5000, 10_000),
    _bottle("culture-pediatric", 1000, 2000, 4000),
)  # fmt: skip
