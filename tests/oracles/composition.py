"""A whole plan written around an oracle's packing, so that the verifier can be tried without the planner."""

from __future__ import annotations

from typing import get_args

from cubital.facts import order_policies
from cubital.model import Bound, Draw, Order, Plan, PlannedTube, Site, Totals, Unplaced
from cubital.model.vocabulary import MatrixKey, ObjectiveKey
from cubital.planning.verify.sequence import rank_kinds
from tests.oracles.contract import Promise
from tests.oracles.instance import Filled, Instance

_OBJECTIVES: dict[str, ObjectiveKey] = {key: key for key in get_args(ObjectiveKey)}
_MATRICES: dict[str, MatrixKey] = {"whole-blood": "whole-blood", "plasma": "plasma", "serum": "serum"}


def compose(order: Order, site: Site, reached: Promise, *, limit_ul: int | None = None) -> Plan:
    """The plan of one draw that packs as this answer does."""
    instance = Instance.of(order, site, minimum=reached.volumes == "minimum", objective=reached.objective)
    ranks = rank_kinds(site, order_policies()[site.planning.order_of_draw])
    packing = sorted(reached.answer.packing, key=lambda tube: ranks[instance.sizes[tube.size].kind])
    answer = reached.answer
    packed = {i for tube in packing for i in tube.requests}
    left = [request for i, request in enumerate(instance.requests) if i not in packed]
    priority_of = {ask.test: ask.priority for ask in order.asks}
    return Plan(
        objective=_OBJECTIVES[reached.objective],
        volumes=reached.volumes,
        optimal=True,
        bound=Bound(
            tubes=answer.tubes,
            blood_ul=answer.blood_ul,
            preference=answer.preference,
            searched=1,
            finished=True,
        ),
        policy=site.planning.order_of_draw,
        site=site.name,
        access=order.access,
        draws=(Draw(number=1, at_min=0, label="now", blood_ul=answer.blood_ul),),
        tubes=tuple(_row(n, tube, instance, order, site) for n, tube in enumerate(packing, 1)),
        totals=Totals(
            tubes=answer.tubes, blood_ul=answer.blood_ul, preference=answer.preference,
            all_tubes=answer.tubes, all_blood_ul=answer.blood_ul, limit_ul=limit_ul,
            already_drawn_ul=order.patient.drawn_ul,
        ),
        unplaced=tuple(
            Unplaced(
                test=_test_of(request.name), priority=priority_of[_test_of(request.name)],
                why="no room", needs="more",
            )
            for request in left
        ),
    )  # fmt: skip


def _test_of(name: str) -> str:
    return name.split("/", 1)[1]


def _row(position: int, tube: Filled, instance: Instance, order: Order, site: Site) -> PlannedTube:
    size = instance.sizes[tube.size]
    kind = site.kinds[size.kind]
    stocked = next(s for s in kind.sizes if s.draw_ul == size.draw_ul)
    tests = tuple(_test_of(instance.requests[i].name) for i in tube.requests)
    return PlannedTube(
        position=position, draw=1, purpose="collect", kind=kind.key, name=kind.name, additive=kind.additive,
        gel=kind.gel, draw_ul=size.draw_ul, liquid_additive_ul=stocked.liquid_additive_ul,
        matrix=_MATRICES[tube.matrix], tests=tests,
        benches=tuple(sorted({site.tests[key].bench for key in tests})),
    )  # fmt: skip
