"""Culture bottles and discards: which bottle, how full, from what shelf, and what stands before the first tube."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.errors import PlanError
from cubital.model import Ask, Line, Order, Patient, Site, Tube
from cubital.planning import plan_draw
from tests.published.shipped import SHIPPED, order_of, patient_of, site_of_kinds, site_under, verified
from tests.unit.planning.chair import cultures_of, shelf_of

FREE = site_under("common-practice", blood_limit=None)
KINDS = site_of_kinds("common-practice", blood_limit=None)


def with_sizes(site: Site, **sizes: tuple[Tube, ...]) -> Site:
    kinds = dict(site.kinds)
    for key, tubes in sizes.items():
        name = key.replace("_", "-")
        kinds[name] = replace(kinds[name], sizes=tubes)
    return replace(site, kinds=kinds)


def bottles_of(what: str, order: Order, site: Site = FREE) -> list[tuple[int, str, int, int]]:
    return [(b.set_number, b.kind.key, b.tube.draw_ul, b.fill_ul) for b in cultures_of(what, order, site).bottles]


@pytest.mark.parametrize(("what", "kind"), [("aerobic", "culture-aerobic"), ("anaerobic", "culture-anaerobic")])
def test_one_kind_alone_takes_the_whole_set_up_to_what_its_bottle_holds(what: str, kind: str) -> None:
    assert bottles_of(what, order_of("blood-culture")) == [(1, kind, 10_000, 10_000), (2, kind, 10_000, 10_000)]


def test_a_set_is_halved_and_by_syringe_the_anaerobic_bottle_goes_first() -> None:
    needle = verified(order_of("blood-culture"), FREE)
    syringe = verified(order_of("blood-culture", access="syringe"), FREE)
    first = [tube.kind for tube in needle.tubes if tube.draw == 1]
    assert first == ["culture-aerobic", "culture-anaerobic"]
    assert [tube.kind for tube in syringe.tubes if tube.draw == 1] == first[::-1]


def test_a_small_fill_goes_into_the_smallest_pediatric_bottle_that_takes_it() -> None:
    light = order_of("blood-culture", patient=patient_of(0.9))
    assert bottles_of("set", light) == [(1, "culture-pediatric", 2000, 2000)]
    assert bottles_of("set", order_of("blood-culture", patient=patient_of(10))) == [
        (1, "culture-pediatric", 4000, 3000), (2, "culture-pediatric", 4000, 3000),
    ]  # fmt: skip


def test_without_a_pediatric_bottle_the_aerobic_one_is_taken() -> None:
    site = with_sizes(FREE, culture_pediatric=(Tube(draw_ul=4000, in_stock=0),))
    assert bottles_of("set", order_of("blood-culture", patient=patient_of(10)), site)[0] == (
        1, "culture-aerobic", 5000, 3000,
    )  # fmt: skip


def test_a_bottle_smaller_than_the_fill_is_filled_and_no_more() -> None:
    site = with_sizes(FREE, culture_aerobic=(Tube(draw_ul=8000),), culture_anaerobic=(Tube(draw_ul=5000),))
    assert bottles_of("set", order_of("blood-culture"), site)[:2] == [
        (1, "culture-aerobic", 8000, 8000), (1, "culture-anaerobic", 5000, 5000),
    ]  # fmt: skip


def test_no_bottle_is_no_culture() -> None:
    empty = tuple(Tube(draw_ul=10_000, in_stock=0) for _ in range(1))
    site = with_sizes(FREE, culture_aerobic=empty, culture_pediatric=empty)
    with pytest.raises(PlanError, match="no bottle kept for culture-aerobic"):
        plan_draw(order_of("blood-culture"), site)
    with pytest.raises(PlanError, match="not taken by skin puncture"):
        plan_draw(order_of("blood-culture", access="skin-puncture"), FREE)


def test_a_shelf_counts_down_over_every_culture_of_an_order() -> None:
    order = order_of("blood-culture")
    site = with_sizes(FREE, culture_aerobic=(Tube(draw_ul=8000, in_stock=2), Tube(draw_ul=10_000, in_stock=1)))
    shelf = shelf_of(order, site)
    cultures_of("aerobic", order, site, shelf)
    with pytest.raises(PlanError):
        cultures_of("aerobic", order, site, shelf)


def test_a_child_s_culture_without_a_weight_is_refused_and_an_adult_s_is_not() -> None:
    for age_h, is_refused in ((24 * 6939 - 1, True), (24 * 6939, False)):
        order = order_of("blood-culture", patient=Patient(age_h=age_h))
        if is_refused:
            with pytest.raises(PlanError, match=r"^patient.weight_kg"):
                plan_draw(order, FREE)
        else:
            assert len(verified(order, FREE).tubes) == 4


def test_two_kinds_of_culture_at_one_time_are_one_set_for_both() -> None:
    plan = verified(order_of("blood-culture-aerobic", "blood-culture-anaerobic"), FREE)
    assert {tube.tests for tube in plan.tubes} == {("blood-culture-aerobic", "blood-culture-anaerobic")}
    assert len(plan.tubes) == 4


def test_a_discard_takes_the_smallest_tube_without_additive_that_is_left_in_date() -> None:
    order = order_of("citrate", access="winged-set")
    assert verified(order, KINDS).tubes[0].size_ul == 2000
    gone = with_sizes(KINDS, serum_glass=(Tube(draw_ul=2000, in_stock=0), Tube(draw_ul=5000)))
    assert verified(order, gone).tubes[0].size_ul == 5000


def test_a_discard_of_a_winged_set_is_filled_until_blood_flows_and_no_further() -> None:
    first = verified(order_of("citrate", access="winged-set"), KINDS).tubes[0]
    assert (first.purpose, first.draw_ul, first.size_ul) == ("discard", 500, 2000)
    tiny = with_sizes(KINDS, serum_glass=(Tube(draw_ul=400),), citrate=(Tube(draw_ul=2700, liquid_additive_ul=300),))
    clears = verified(order_of("citrate", access="winged-set"), tiny).tubes[0]
    assert (clears.kind, clears.draw_ul, clears.size_ul) == ("citrate", 500, 2700)
    alone = with_sizes(tiny, citrate=(Tube(draw_ul=450, liquid_additive_ul=50),))
    full = verified(order_of("citrate", access="winged-set"), alone).tubes[0]
    assert (full.kind, full.draw_ul, full.size_ul) == ("citrate", 450, None)


def test_a_discard_never_takes_the_last_tube_that_the_plan_itself_needs() -> None:
    scarce = with_sizes(KINDS, serum_glass=(Tube(draw_ul=2000, in_stock=1),))
    plan = verified(order_of("citrate", "serum-glass", access="winged-set"), scarce)
    assert [(tube.purpose, tube.kind) for tube in plan.tubes] == [
        ("discard", "citrate"), ("collect", "citrate"), ("collect", "serum-glass"),
    ]  # fmt: skip


def test_where_nothing_can_be_discarded_the_plan_stops_the_collector() -> None:
    one = Tube(draw_ul=2700, liquid_additive_ul=300, in_stock=1)
    site = with_sizes(KINDS, citrate=(one,), serum_glass=(Tube(draw_ul=2000, in_stock=0),))
    plan = plan_draw(order_of("citrate", access="winged-set"), site)
    assert [tube.purpose for tube in plan.tubes] == ["collect"]
    assert any(c.level == "stop" and "no discard tube is stocked" in c.text for c in plan.cautions)


def test_a_line_without_dead_space_to_clear_needs_no_discard() -> None:
    plan = verified(order_of("citrate", access="line", line=Line(dead_space_ul=0)), KINDS)
    assert [tube.purpose for tube in plan.tubes] == ["collect"]


def test_a_draw_with_nothing_in_it_gets_no_discard() -> None:
    order = Order(
        asks=(Ask(test="citrate"),), access="winged-set", patient=Patient(weight_g=60_000, drawn_ul=10_000_000)
    )
    plan = verified(order, site_of_kinds("common-practice"))
    assert plan.tubes == ()
    assert [entry.test for entry in plan.unplaced] == ["citrate"]


def test_the_shipped_site_has_bottles_for_every_weight() -> None:
    for kilograms in (0.5, 1.5, 5, 20, 90):
        assert verified(order_of("blood-culture", patient=patient_of(kilograms)), FREE).tubes
    assert SHIPPED.kinds["culture-pediatric"].sizes


def test_a_culture_by_skin_puncture_is_refused_with_its_reason() -> None:
    with pytest.raises(PlanError, match=r"by skin puncture: .*take it from a vein"):
        plan_draw(order_of("blood-culture", access="skin-puncture", patient=patient_of(3)), SHIPPED)
