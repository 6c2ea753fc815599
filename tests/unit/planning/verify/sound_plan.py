"""An invented site, a sound plan for it worked out by hand, and ways to change one thing of either."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from fractions import Fraction
from typing import Any

from msgspec.structs import replace

from cubital.model import (
    Accept,
    Ask,
    Bound,
    Draw,
    Order,
    Panel,
    Plan,
    PlannedTube,
    Planning,
    SeriesStep,
    Site,
    Test,
    Totals,
    Tube,
    TubeKind,
)
from cubital.model.vocabulary import MatrixKey
from cubital.planning.verify import verify

DAY = date(2027, 3, 1)


def accept(matrix: MatrixKey, kinds: str, volume_ul: int, minimum_ul: int) -> Accept:
    return Accept(matrix=matrix, tubes=tuple(kinds.split()), volume_ul=volume_ul, minimum_ul=minimum_ul)


def laboratory_test(key: str, bench: str, *accepts: Accept, **fields: Any) -> Test:
    return Test(key=key, name=f"invented {key}", bench=bench, accepts=accepts, **fields)


def invented_site() -> Site:
    kinds = (
        TubeKind(key="citrate", name="citrate 9:1", additive="citrate-9-1", dead_volume_ul={"plasma": 200},
                 sizes=(Tube(draw_ul=2700, liquid_additive_ul=300, in_stock=2, expires=DAY),)),
        TubeKind(key="plain", name="plain glass", additive="none", material="glass",
                 sizes=(Tube(draw_ul=2000),),
                 dead_volume_ul={"serum": 200}),
        TubeKind(key="serum-gel", name="gel serum", additive="clot-activator", gel=True,
                 sizes=(Tube(draw_ul=3500), Tube(draw_ul=5000)), dead_volume_ul={"serum": 200}),
        TubeKind(key="heparin-gel", name="heparin gel", additive="lithium-heparin", gel=True,
                 sizes=(Tube(draw_ul=3500), Tube(draw_ul=2000)), dead_volume_ul={"plasma": 200}),
        TubeKind(key="edta", name="EDTA", additive="k2-edta", sizes=(Tube(draw_ul=3000, in_stock=2),),
                 dead_volume_ul={"whole-blood": 100}),
        TubeKind(key="royal", name="trace EDTA", additive="k2-edta", use="trace-element",
                 sizes=(Tube(draw_ul=6000),), dead_volume_ul={"whole-blood": 100}),
        TubeKind(key="micro", name="EDTA micro", additive="k2-edta", accesses=("skin-puncture",),
                 sizes=(Tube(draw_ul=500),), dead_volume_ul={"whole-blood": 20}),
        TubeKind(key="aerobic", name="aerobic bottle", additive="culture-medium", use="culture-aerobic",
                 sizes=(Tube(draw_ul=10000),)),
        TubeKind(key="anaerobic", name="anaerobic bottle", additive="culture-medium", use="culture-anaerobic",
                 sizes=(Tube(draw_ul=10000),)),
    )  # fmt: skip
    tests = (
        laboratory_test("potassium", "chemistry", accept("plasma", "heparin-gel", 700, 300),
                        accept("serum", "serum-gel", 700, 300)),
        laboratory_test("glucose", "chemistry", accept("plasma", "heparin-gel", 832, 200)),
        laboratory_test("antibody", "serology", accept("serum", "serum-gel plain", 500, 250),
                        accept("plasma", "heparin-gel", 500, 250)),
        laboratory_test("prothrombin", "coagulation", accept("plasma", "citrate", 1406, 500)),
        laboratory_test("count", "hematology", accept("whole-blood", "edta", 500, 250)),
        laboratory_test("smear", "hematology", accept("whole-blood", "edta", 100, 50)),
        laboratory_test("group", "blood bank", accept("whole-blood", "edta", 1000, 500), own_tube=True),
        laboratory_test("zinc", "trace", accept("whole-blood", "royal", 1000, 500)),
        laboratory_test("culture", "microbiology", culture="set"),
    )  # fmt: skip
    panels = (
        Panel(key="pair", name="count and smear", also=("CBC",), tests=("count", "smear")),
        Panel(key="tolerance", name="tolerance", series=(
            SeriesStep(at_min=0, tests=("glucose",)), SeriesStep(at_min=120, tests=("glucose",)),
        )),
    )  # fmt: skip
    return Site(
        name="an invented site",
        kinds={kind.key: kind for kind in kinds},
        tests={test.key: test for test in tests},
        panels={panel.key: panel for panel in panels},
        planning=Planning(hematocrit=Fraction(45, 100), share_benches=(("chemistry", "hormones"),)),
    )


SITE = invented_site()


def tube_of(
    position: int, key: str, tests: str, matrix: MatrixKey | None = None, **fields: Any
) -> PlannedTube:
    kind = SITE.kinds[key]
    size = kind.sizes[0]
    keys = tuple(tests.split())
    row: dict[str, Any] = {
        "position": position, "draw": 1, "purpose": "collect", "kind": key, "name": kind.name,
        "additive": kind.additive, "gel": kind.gel, "draw_ul": size.draw_ul,
        "liquid_additive_ul": size.liquid_additive_ul, "matrix": matrix, "tests": keys,
        "benches": tuple(dict.fromkeys(SITE.tests[k].bench for k in keys)),
    }  # fmt: skip
    return PlannedTube(**{**row, **fields})


def plan_of(*tubes: PlannedTube, preference: int = 0, **fields: Any) -> Plan:
    """A plan of these rows with the totals counted from them."""
    collected = [tube for tube in tubes if tube.purpose == "collect"]
    discard_ul = sum(tube.draw_ul for tube in tubes if tube.purpose == "discard")
    blood_ul = sum(tube.draw_ul for tube in collected) + discard_ul
    totals = Totals(
        tubes=len(collected), blood_ul=blood_ul, preference=preference, all_tubes=len(tubes),
        all_blood_ul=sum(tube.draw_ul for tube in tubes), discard_ul=discard_ul,
    )  # fmt: skip
    row: dict[str, Any] = {
        "objective": "fewest-tubes", "volumes": "typical", "optimal": True,
        "bound": Bound(
            tubes=len(collected), blood_ul=blood_ul, preference=preference, searched=1, finished=True
        ),
        "policy": "common-practice", "site": SITE.name, "access": "straight-needle",
        "draws": (Draw(number=1, at_min=0, label="now"),), "tubes": tubes, "totals": totals,
    }  # fmt: skip
    row = {**row, **fields}
    row["draws"] = tuple(with_blood(draw, tubes) for draw in row["draws"])
    return Plan(**row)


def with_blood(draw: Draw, tubes: Iterable[PlannedTube]) -> Draw:
    """The draw with the blood of its rows."""
    return replace(draw, blood_ul=sum(tube.draw_ul for tube in tubes if tube.draw == draw.number))


def settled(plan: Plan) -> Plan:
    """The plan with the blood of each draw counted from its rows again."""
    return replace(plan, draws=tuple(with_blood(draw, plan.tubes) for draw in plan.draws))


ORDER = Order(
    asks=tuple(Ask(test=t) for t in ("potassium", "glucose", "antibody", "prothrombin", "CBC", "group")),
    on=DAY,
)
# By hand, hematocrit 0.45, recovery 0.9: citrate floor((2700 x 0.55 + 300) x 0.9) - 200 = 1406;
# gel serum and heparin gel floor(3500 x 0.55 x 0.9) - 200 = 1532; EDTA 3000 - 100 = 2900.
SOUND = plan_of(
    tube_of(1, "citrate", "prothrombin", "plasma", usable_ul=1406, needed_ul=1406),
    tube_of(2, "serum-gel", "antibody", "serum", usable_ul=1532, needed_ul=500),
    tube_of(3, "heparin-gel", "potassium glucose", "plasma", usable_ul=1532, needed_ul=1532),
    tube_of(4, "edta", "count smear", "whole-blood", usable_ul=2900, needed_ul=600),
    tube_of(5, "edta", "group", "whole-blood", usable_ul=2900, needed_ul=1000),
)


def with_tube(plan: Plan, position: int, **fields: Any) -> Plan:
    """The plan with one row changed and nothing else."""
    return replace(
        plan, tubes=tuple(replace(t, **fields) if t.position == position else t for t in plan.tubes)
    )


def with_kind(key: str, **fields: Any) -> Site:
    return replace(SITE, kinds={**SITE.kinds, key: replace(SITE.kinds[key], **fields)})


def with_test(key: str, **fields: Any) -> Site:
    return replace(SITE, tests={**SITE.tests, key: replace(SITE.tests[key], **fields)})


def with_planning(**fields: Any) -> Site:
    return replace(SITE, planning=replace(SITE.planning, **fields))


def expect(fault: str, plan: Plan, order: Order = ORDER, site: Site = SITE) -> None:
    """One finding, and it says this."""
    findings = verify(plan, order, site)
    assert len(findings) == 1, findings
    assert fault in findings[0]


SERIES_ORDER = Order(asks=(Ask(test="tolerance"),))
SERIES = plan_of(
    tube_of(1, "heparin-gel", "glucose", "plasma"),
    tube_of(1, "heparin-gel", "glucose", "plasma", draw=2),
    draws=(Draw(number=1, at_min=0, label="draw at 0 min"), Draw(number=2, at_min=120, label="draw at 120 min")),
)


WINGED_ORDER = replace(ORDER, access="winged-set")
WINGED = plan_of(
    tube_of(1, "plain", "", None, purpose="discard", draw_ul=500, size_ul=2000),
    *(replace(tube, position=tube.position + 1) for tube in SOUND.tubes),
    access="winged-set",
)


CULTURE_ORDER = Order(asks=(Ask(test="culture"),), access="winged-set")


def bottles(first: str, second: str, **fields: Any) -> Plan:
    return plan_of(
        tube_of(1, first, "culture", None, purpose="culture", draw_ul=8000),
        tube_of(2, second, "culture", None, purpose="culture"),
        **{"access": "winged-set", **fields},
    )


def swapped(plan: Plan, first: int, second: int) -> Plan:
    """The plan with two rows in each other's place."""
    at = {t.position: t for t in plan.tubes}
    at[first], at[second] = replace(at[second], position=first), replace(at[first], position=second)
    return replace(plan, tubes=tuple(at[p] for p in sorted(at)))
