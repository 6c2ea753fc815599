"""Discards that are missing, misplaced, too large, too small or of the wrong tube are found."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.facts import cultures
from cubital.model import Ask, Caution, Draw, Line, Order, Plan, PlannedTube, Site, Tube
from cubital.planning.verify import verify
from tests.unit.planning.verify.sound_plan import (
    CULTURE_ORDER,
    DAY,
    ORDER,
    SITE,
    SOUND,
    WINGED,
    WINGED_ORDER,
    bottles,
    expect,
    plan_of,
    settled,
    swapped,
    tube_of,
    with_kind,
    with_planning,
    with_tube,
)

CLEARS_UL = 500  # the air in the line of a winged set


def winged(discard: PlannedTube) -> Plan:
    """The sound plan behind a winged set with this discard."""
    return plan_of(discard, *WINGED.tubes[1:], access="winged-set")


def discard_of(kind: str, **fields: Any) -> PlannedTube:
    size_ul = SITE.kinds[kind].sizes[0].draw_ul
    return tube_of(1, kind, "", None, purpose="discard", **{"draw_ul": CLEARS_UL, "size_ul": size_ul, **fields})


# Winged sets


def test_a_discard_before_citrate_behind_a_winged_set_is_sound() -> None:
    assert WINGED.tubes[0].draw_ul == CLEARS_UL
    assert verify(WINGED, WINGED_ORDER, SITE) == ()


def test_a_winged_set_that_meets_citrate_first_is_found() -> None:
    plan = replace(SOUND, access="winged-set")
    expect("a winged set meets citrate first with no discard tube before it", plan, WINGED_ORDER)


def without_discards(site: Site = SITE) -> Site:
    """The site without a tube to throw away: no plain one, and citrate for the test alone."""
    kinds = {key: kind for key, kind in site.kinds.items() if key != "plain"}
    kinds["citrate"] = replace(kinds["citrate"], sizes=(replace(kinds["citrate"].sizes[0], in_stock=1),))
    return replace(site, kinds=kinds)


def test_where_no_discard_tube_is_stocked_the_plan_stops() -> None:
    plan, site = replace(SOUND, access="winged-set"), without_discards()
    expect("nothing is stocked to discard, and no stop is said", plan, WINGED_ORDER, site)
    stop = Caution(level="stop", text="fill a tube first", about="draw 1")
    assert verify(replace(plan, cautions=(stop,)), WINGED_ORDER, site) == ()
    for other in (replace(stop, level="warn"), replace(stop, about="plan")):
        expect("and no stop is said", replace(plan, cautions=(other,)), WINGED_ORDER, site)


@pytest.mark.parametrize("access", ["straight-needle", "syringe"])
def test_a_discard_that_no_access_asks_for_is_found(access: Any) -> None:
    order = replace(ORDER, access=access)
    expect(f"nothing asks for a discard by {access}", replace(WINGED, access=access), order)
    assert verify(replace(SOUND, access=access), order, SITE) == ()


def test_a_discard_before_another_first_tube_of_a_winged_set_is_found() -> None:
    order = Order(asks=(Ask(test="count"),), access="winged-set")
    count = tube_of(2, "edta", "count", "whole-blood")
    plan = plan_of(discard_of("plain"), count, access="winged-set")
    expect("nothing asks for a discard before edta behind a winged set", plan, order)
    assert verify(plan_of(replace(count, position=1), access="winged-set"), order, SITE) == ()


def test_a_harmless_tube_or_a_bottle_before_citrate_spares_the_discard() -> None:
    """WHO places plain tubes before citrate."""
    site = with_planning(order_of_draw="who-2010")
    order = Order(asks=(Ask(test="antibody"), Ask(test="prothrombin")), on=DAY, access="winged-set")
    plain, citrate = tube_of(1, "plain", "antibody", "serum"), tube_of(2, "citrate", "prothrombin", "plasma")
    plan = plan_of(plain, citrate, preference=1, policy="who-2010", access="winged-set")
    assert verify(plan, order, site) == ()
    both = replace(CULTURE_ORDER, asks=(*CULTURE_ORDER.asks, Ask(test="prothrombin")), on=DAY)
    rows = (*bottles("aerobic", "anaerobic").tubes, tube_of(3, "citrate", "prothrombin", "plasma"))
    assert verify(plan_of(*rows, access="winged-set"), both, SITE) == ()
    poured = (discard_of("plain"), *(replace(row, position=row.position + 1) for row in rows))
    expect("nothing asks for a discard before aerobic", plan_of(*poured, access="winged-set"), both)


@pytest.mark.parametrize(("draw_ul", "size_ul"), [(499, 2000), (501, 2000), (2000, None)])
def test_a_discard_that_takes_less_or_more_than_the_air_of_the_set_is_found(
    draw_ul: int, size_ul: int | None
) -> None:
    plan = winged(discard_of("plain", draw_ul=draw_ul, size_ul=size_ul))
    expect(f"the discard takes {draw_ul} uL; 500 uL clear the air of the set", plan, WINGED_ORDER)


def test_a_tube_smaller_than_the_air_of_the_set_is_found_where_a_larger_one_stands() -> None:
    both = with_kind("plain", sizes=(Tube(draw_ul=400), Tube(draw_ul=2000)))
    plan = winged(discard_of("plain", draw_ul=400, size_ul=None))
    expect("takes 400 uL, and a larger tube would clear the air", plan, WINGED_ORDER, both)
    kinds = dict(without_discards().kinds)
    kinds["plain"] = replace(SITE.kinds["plain"], sizes=(Tube(draw_ul=400),))
    assert verify(plan, WINGED_ORDER, replace(SITE, kinds=kinds)) == ()


def test_a_discard_with_an_additive_that_spoils_the_next_tube_is_found() -> None:
    site = with_kind("edta", sizes=(Tube(draw_ul=3000),))
    expect("a discard with k2-edta stands before citrate-9-1", winged(discard_of("edta")), WINGED_ORDER, site)


def test_a_discard_of_the_same_additive_is_for_want_of_one_without() -> None:
    plan = winged(discard_of("citrate"))
    expect("holds citrate-9-1, and a tube without additive is on the shelf", plan, WINGED_ORDER)
    (citrate,) = SITE.kinds["citrate"].sizes
    plenty = with_kind("citrate", sizes=(replace(citrate, in_stock=9),))

    def with_plain(size: Tube) -> Site:
        return replace(plenty, kinds={**plenty.kinds, "plain": replace(SITE.kinds["plain"], sizes=(size,))})

    assert verify(plan, WINGED_ORDER, with_plain(Tube(draw_ul=2000, in_stock=0))) == ()
    assert verify(plan, WINGED_ORDER, with_plain(Tube(draw_ul=CLEARS_UL - 1))) == ()
    assert verify(plan, WINGED_ORDER, with_plain(Tube(draw_ul=2000, expires=DAY - timedelta(days=1)))) == ()
    for size in (Tube(draw_ul=CLEARS_UL), Tube(draw_ul=2000, expires=DAY)):
        expect("a tube without additive is on the shelf", plan, WINGED_ORDER, with_plain(size))


def test_a_discard_into_a_tube_that_is_kept_for_a_use_is_found() -> None:
    site = with_kind("plain", use="trace-element")
    plan = winged(discard_of("plain"))
    words = "plain is kept for trace-element and not to be thrown away"
    assert any(words in finding for finding in verify(plan, WINGED_ORDER, site))


def test_two_discards_before_one_tube_are_found() -> None:
    rows = (discard_of("plain"), replace(discard_of("plain"), position=2), *WINGED.tubes[1:])
    rows = tuple(replace(row, position=n) for n, row in enumerate(rows, start=1))
    expect("a winged set is cleared more than once", plan_of(*rows, access="winged-set"), WINGED_ORDER)


def test_a_first_tube_that_the_air_leaves_short_wants_a_warning() -> None:
    """A draw of 3000 uL less 500 uL of air yields 2400 uL of whole blood."""
    kept: dict[str, Any] = {"matrix": "whole-blood", "usable_ul": 2900}
    order = replace(Order(asks=(Ask(test="count"),)), access="winged-set")
    site = replace(SITE, tests={**SITE.tests, "count": _count_of(2401)})
    plan = plan_of(tube_of(1, "edta", "count", needed_ul=2401, **kept), access="winged-set")
    expect("edta comes first behind a winged set, short by its air", plan, order, site)
    warned = replace(plan, cautions=(Caution(level="warn", text="short", about="draw 1"),))
    assert verify(warned, order, site) == ()
    for other in (Caution(level="note", text="short", about="draw 1"), Caution(level="warn", text="short")):
        expect("and the plan does not warn", replace(plan, cautions=(other,)), order, site)
    fits = plan_of(tube_of(1, "edta", "count", needed_ul=2400, **kept), access="winged-set")
    assert verify(fits, order, replace(SITE, tests={**SITE.tests, "count": _count_of(2400)})) == ()


def _count_of(volume_ul: int) -> Any:
    (way,) = SITE.tests["count"].accepts
    return replace(SITE.tests["count"], accepts=(replace(way, volume_ul=volume_ul),))


# Any access


def test_a_discard_after_a_tube_to_keep_is_found() -> None:
    tubes = (*SOUND.tubes, replace(discard_of("plain"), position=6))
    findings = verify(plan_of(*tubes), ORDER, SITE)
    assert "draw 1: the discard at 6 comes after a tube to keep" in findings


def test_a_discard_that_serves_a_test_is_found() -> None:
    plan = with_tube(WINGED, 1, tests=("antibody",))
    findings = verify(plan, WINGED_ORDER, SITE)
    assert any("a discard tube serves no test" in f for f in findings)


def test_a_discard_of_a_draw_that_draws_nothing_is_found() -> None:
    draws = (Draw(number=1, at_min=0, label="now"), Draw(number=2, at_min=60, label="an hour later"))
    plan = replace(WINGED, draws=draws, tubes=(*WINGED.tubes, replace(discard_of("plain"), draw=2)))
    findings = verify(settled(plan), WINGED_ORDER, SITE)
    assert "draw 2: something is thrown away and nothing drawn" in findings


@pytest.mark.parametrize("name", ["discard_ul", "blood_ul", "all_blood_ul"])
def test_a_total_that_forgets_the_discard_is_found(name: str) -> None:
    totals = replace(WINGED.totals, **{name: getattr(WINGED.totals, name) - CLEARS_UL})
    findings = verify(replace(WINGED, totals=totals), WINGED_ORDER, SITE)
    assert any(f"totals.{name} says" in finding for finding in findings)


def test_a_draw_that_forgets_the_discard_is_found() -> None:
    draw = replace(WINGED.draws[0], blood_ul=WINGED.draws[0].blood_ul - CLEARS_UL)
    expect("draw 1 says", replace(WINGED, draws=(draw,)), WINGED_ORDER)


# Lines


def line_plan(discard_ul: int, **fields: Any) -> Plan:
    waste = PlannedTube(
        position=1, draw=1, purpose="discard", kind="waste syringe", name="waste syringe", additive="none",
        gel=False, draw_ul=discard_ul, **fields,
    )  # fmt: skip
    tubes = (waste, *(replace(tube, position=tube.position + 1) for tube in SOUND.tubes))
    return plan_of(*tubes, access="line")


def line_order(**line: Any) -> Order:
    return replace(ORDER, access="line", line=Line(**{"dead_space_ul": 1000, **line}))


@pytest.mark.parametrize(("carried", "wanted_ul"), [(True, 6000), (None, 6000), (False, 2000)])
@pytest.mark.parametrize("miss_ul", [-1, 1])
def test_a_line_discards_its_dead_space_by_what_it_carried_to_the_microlitre(
    carried: bool | None, wanted_ul: int, miss_ul: int
) -> None:
    """An unknown past counts as one with anticoagulant."""
    order = line_order(carried_anticoagulant=carried)
    assert verify(line_plan(wanted_ul), order, SITE) == ()
    taken_ul = wanted_ul + miss_ul
    expect(f"discards {taken_ul} uL; its dead space wants {wanted_ul} uL", line_plan(taken_ul), order)


def test_only_a_line_may_discard_into_something_that_is_not_stock() -> None:
    findings = verify(replace(line_plan(2000), access="straight-needle"), ORDER, SITE)
    assert any("the site has no kind 'waste syringe'" in finding for finding in findings)


COUNT_ORDER = Order(asks=(Ask(test="count"),), access="line", line=Line(dead_space_ul=1000, carried_anticoagulant=True))


def count_plan(discard_ul: int, **fields: Any) -> Plan:
    waste = replace(line_plan(discard_ul, **fields).tubes[0])
    return plan_of(waste, tube_of(2, "edta", "count", "whole-blood"), access="line")


def test_a_line_that_carried_anticoagulant_discards_two_dead_spaces_without_coagulation() -> None:
    assert verify(count_plan(2000), COUNT_ORDER, SITE) == ()
    expect("the line discards 1999 uL; its dead space wants 2000 uL", count_plan(1999), COUNT_ORDER)


def returned(plan: Plan) -> Plan:
    """The plan with its discard given back, and not counted as lost."""
    tubes = tuple(replace(t, returned=True) if t.purpose == "discard" else t for t in plan.tubes)
    back_ul = sum(tube.draw_ul for tube in tubes if tube.returned)
    said = plan.totals
    lost_ul = said.all_blood_ul - back_ul
    totals = replace(said, blood_ul=lost_ul, all_blood_ul=lost_ul, discard_ul=0, returned_ul=back_ul)
    bound = replace(plan.bound, blood_ul=lost_ul)
    draws = tuple(replace(draw, blood_ul=draw.blood_ul - back_ul) for draw in plan.draws)
    return replace(plan, tubes=tubes, totals=totals, bound=bound, draws=draws)


def test_what_clears_a_line_goes_back_where_the_site_says_so_and_never_before_coagulation() -> None:
    closed = with_planning(line_discard="returned")
    assert verify(returned(count_plan(2000)), COUNT_ORDER, closed) == ()
    expect("is thrown away, and this site gives it back", count_plan(2000), COUNT_ORDER, closed)
    expect("nothing of it may go back to the patient", returned(count_plan(2000)), COUNT_ORDER)
    coagulation = line_order(carried_anticoagulant=False)
    assert verify(line_plan(2000), coagulation, closed) == ()
    expect("before coagulation is thrown away, never returned", returned(line_plan(2000)), coagulation, closed)


def test_a_line_whose_dead_space_is_not_known_stops_the_plan() -> None:
    order = line_order(dead_space_ul=None)
    plan = replace(SOUND, access="line")
    expect("the dead space of the line is not known and the plan says no stop", plan, order)
    stop = Caution(level="stop", text="dead space of the line not known")
    assert verify(replace(plan, cautions=(stop,)), order, SITE) == ()
    for other in (replace(stop, level="warn"), replace(stop, about="draw 1"), replace(stop, text="look it up")):
        expect("the plan says no stop", replace(plan, cautions=(other,)), order)


def test_a_line_cultured_for_infection_gives_its_first_blood_to_the_bottle() -> None:
    order = replace(CULTURE_ORDER, access="line", line=Line(dead_space_ul=1000, suspected_infection=True))
    assert verify(bottles("aerobic", "anaerobic", access="line"), order, SITE) == ()
    waste = tube_of(1, "plain", "", None, purpose="discard")
    plan = plan_of(waste, tube_of(2, "aerobic", "culture", None, purpose="culture"), access="line")
    expect("gives its first blood to the bottle", plan, order)


def test_a_line_suspected_of_infection_discards_as_ever_when_nothing_is_cultured() -> None:
    order = line_order(carried_anticoagulant=False, suspected_infection=True)
    expect("its dead space wants 2000 uL", line_plan(1999), order)
    assert verify(line_plan(2000), order, SITE) == ()


CULTURED = replace(CULTURE_ORDER, access="line", line=Line(dead_space_ul=1000, carried_anticoagulant=False))


def test_a_line_that_is_not_suspected_discards_before_a_culture() -> None:
    plan = bottles("aerobic", "anaerobic", access="line")
    expect("draw 1: the line discards 0 uL; its dead space wants 2000 uL", plan, CULTURED)


def test_a_further_set_of_another_site_is_not_cleared_again() -> None:
    waste = line_plan(2000).tubes[0]
    rows = bottles("aerobic", "anaerobic").tubes
    first = (waste, *(replace(row, position=row.position + 1) for row in rows))
    step = (cultures().rule("new-lumen").text,)
    draws = (Draw(number=1, at_min=0, label="now"), Draw(number=2, at_min=0, label="another site", steps=step))
    plan = plan_of(*first, *(replace(row, draw=2) for row in rows), draws=draws, access="line")
    assert verify(plan, CULTURED, SITE) == ()
    again = (replace(waste, draw=2), *(replace(row, draw=2, position=row.position + 1) for row in rows))
    expect("draw 2: it is of another site", plan_of(*first, *again, draws=draws, access="line"), CULTURED)


def test_each_draw_from_a_line_is_cleared_by_itself() -> None:
    """Two draws of one minute count as two: only a further set of a culture is spared."""
    order = Order(
        asks=(Ask(test="tolerance"),), access="line", line=Line(dead_space_ul=1000, carried_anticoagulant=False)
    )
    waste = line_plan(2000).tubes[0]
    draws = (Draw(number=1, at_min=0, label="draw at 0 min"), Draw(number=2, at_min=120, label="draw at 120 min"))
    glucose = tube_of(2, "heparin-gel", "glucose", "plasma")
    both = (waste, glucose, replace(waste, draw=2), replace(glucose, draw=2))
    assert verify(plan_of(*both, draws=draws, access="line"), order, SITE) == ()
    once = (waste, glucose, replace(glucose, draw=2, position=1))
    expect("draw 2: the line discards 0 uL", plan_of(*once, draws=draws, access="line"), order)


def test_a_misplaced_and_short_discard_gives_both_findings() -> None:
    order = line_order(carried_anticoagulant=False)
    waste = replace(line_plan(1999).tubes[0], position=6)
    findings = verify(plan_of(*SOUND.tubes, waste, access="line"), order, SITE)
    assert findings == (
        "draw 1: the discard at 6 comes after a tube to keep",
        "draw 1: the line discards 1999 uL; its dead space wants 2000 uL",
    )


def test_a_dead_space_matters_only_behind_a_line() -> None:
    order = replace(ORDER, line=Line(dead_space_ul=1000))
    assert verify(SOUND, order, SITE) == ()


def test_a_discard_out_of_its_place_before_the_first_tube_is_found() -> None:
    findings = verify(swapped(WINGED, 1, 2), WINGED_ORDER, SITE)
    assert "draw 1: the discard at 2 comes after a tube to keep" in findings
