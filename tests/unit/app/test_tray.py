"""A plan in the words of the chair."""

from __future__ import annotations

import datetime

from msgspec.structs import replace

from cubital.app.draws import plan_order
from cubital.app.tray import Tray, lay_tray
from cubital.app.wiring import open_site, order_of_words
from cubital.model import Site

DEMO = open_site(demo=True)
DAY = datetime.date(2026, 11, 25)


CHILD = {"age": "6 mo", "weight_kg": 6, "drawn_ml": 9}


def tray_of(*tests: str, site: Site = DEMO, **fields: object) -> Tray:
    order = order_of_words({"tests": list(tests), **fields}, where="test", today=DAY, zone=site.time_zone)
    return lay_tray(plan_order(order, site), order, site)


def test_the_two_kinds_with_a_yellow_stopper_differ_in_letters_additive_and_mark() -> None:
    acd = tray_of("HLA typing").draws[0].rows[0]
    assert acd.stopper is not None
    assert "yellow" in acd.stopper
    assert (acd.letters, acd.mark, acd.additive) == ("ACD-A", "AA", "acid citrate dextrose, solution A")
    sps = DEMO.kinds["sps"]
    assert sps.stopper is not None
    assert "yellow" in sps.stopper
    assert sps.mark != acd.mark


def test_every_kind_of_the_demo_site_has_a_mark_of_its_own() -> None:
    marks = [kind.mark for kind in DEMO.kinds.values()]
    assert len(set(marks)) == len(marks)
    assert all(len(mark) == 2 for mark in marks)


def test_a_row_says_kind_additive_letters_size_tests_mixing_and_care() -> None:
    row = tray_of("PT").draws[0].rows[0]
    assert (row.kind, row.additive, row.letters) == (
        "citrate 9:1, coagulation",
        "trisodium citrate, 9 parts blood to 1",
        "9NC",
    )
    assert (row.size, row.mixing, row.contents) == ("1.8 mL", "invert 5x", ("prothrombin time",))
    assert row.care[0] == "fill at least 90 %"
    assert "spin 1500 g, 15 min, 18-25 C" in row.care


def test_the_order_of_the_order_does_not_change_the_tray() -> None:
    assert tray_of("K", "PT", "CBC").draws == tray_of("CBC", "K", "PT").draws


def test_a_discard_is_said_to_be_thrown_away_and_a_culture_counts_as_a_bottle() -> None:
    tray = tray_of("PT", access="winged-set")
    assert tray.headline == "1 tube, 1 discard tube, 2.3 mL of blood"
    assert tray.draws[0].rows[0].contents == ("DISCARD: fill until blood flows into it, then throw away",)
    assert (tray.draws[0].rows[0].size, tray.draws[0].rows[0].care) == ("0.5 mL", ("in a 1.8 mL tube",))
    cultures = tray_of("blood culture", patient={"age": "61 a", "weight_kg": 70})
    assert cultures.headline.startswith("4 culture bottles in 2 draws")
    assert [draw.title for draw in cultures.draws] == [
        "draw 1 of 2: the draw",
        "draw 2 of 2: another site: culture set 2",
    ]


def test_what_is_left_out_is_said_first_with_what_it_would_need() -> None:
    tray = tray_of("PT", "CBC", "K", patient={"age": "6 mo", "weight_kg": 6, "drawn_ml": 10})
    assert tray.headline.startswith("NOT ALL: ")
    assert tray.stops[0].startswith("left out of this draw: ")
    assert tray.left_out
    assert all("needs" in text for text in tray.left_out)


def test_other_choices_name_what_is_kept_and_what_is_then_left_out_though_a_name_has_a_comma() -> None:
    child = {"age": "11 mo", "weight_kg": 9, "drawn_ml": 12}
    tray = tray_of("CBC", "CMP", "CRP", "PT", "lead", patient=child, access="winged-set")
    assert tuple(other.words for other in tray.instead) == (
        "keep prothrombin time instead: leaves out complete blood count · lead, blood; 2 tubes, 3.4 mL of blood",
        "keep lead, blood instead: leaves out complete blood count · prothrombin time; 2 tubes, 4.1 mL of blood",
    )


def test_the_limit_is_shown_rounded_down_and_the_gauge_is_exact() -> None:
    tray = tray_of("K", patient={"age": "61 a", "sex": "female", "weight_kg": 70, "height_cm": 165})
    assert "limit 102.4 mL" in tray.total
    assert tray.gauge is not None
    assert tray.gauge.limit_ul == 102463


def test_a_limit_that_is_not_known_is_said_not_to_be_known() -> None:
    tray = tray_of("K")
    assert tray.gauge is None
    assert "limit not known" in tray.total
    assert any("no blood limit was checked" in text for text in tray.warnings)


def test_standing_cautions_stand_apart_from_the_notes_of_this_plan() -> None:
    tray = tray_of("K")
    assert tray.always
    assert not set(tray.always) & set(tray.notes)


def test_a_tube_with_nothing_to_mix_is_said_not_to_be_mixed() -> None:
    copper, clotted = tray_of("copper").draws[0].rows[0], tray_of("TIBC").draws[0].rows[0]
    assert (copper.mixing, clotted.mixing) == ("not mixed", "invert 5x")


def test_a_bottle_or_a_syringe_has_no_stopper_to_name() -> None:
    assert [row.stopper for row in tray_of("blood culture").draws[0].rows] == [None, None]
    assert tray_of("VBG", access="syringe").draws[0].rows[0].stopper is None


def test_blood_that_clears_a_closed_line_is_given_back_and_counts_as_no_discard_tube() -> None:
    site = replace(DEMO, planning=replace(DEMO.planning, line_discard="returned"))
    tray = tray_of("BMP", site=site, access="line", line={"dead_space_ml": 1}, patient={"age": "3 a", "weight_kg": 14})
    cleared = tray.draws[0].rows[0]
    assert cleared.is_returned
    assert cleared.contents == ("CLEARS THE LINE: set aside closed, give back at once",)
    assert "1 syringe given back" in tray.headline
    assert "discard" not in tray.headline
    assert "returned besides" in tray.total


def test_every_test_left_out_says_its_rank_and_every_other_plan_what_it_costs() -> None:
    tray = tray_of("PT", "CBC", "K", patient=CHILD)
    assert all("(routine, " in text for text in tray.left_out)
    other = tray.instead[0]
    assert other.words.startswith(f"keep {other.name} instead: leaves out ")
    assert " mL of blood" in other.costs


def test_the_reserve_is_said_once_and_where_none_is_kept_that_is_said() -> None:
    assert tray_of("CBC", "PT").reserve == "room for a repeat or an added test: in each of the 2 tubes"
    assert tray_of("CBC").reserve == "room for a repeat or an added test: in the tube"
    assert tray_of("PT", "CBC", "K", patient=CHILD).reserve == "room for a repeat or an added test: none is kept"
    assert tray_of("blood culture").reserve == ""
    sparing = replace(DEMO, planning=replace(DEMO.planning, reserve_percent=0))
    assert tray_of("CBC", site=sparing).reserve == ""


def test_the_objective_that_was_used_and_why_stand_beside_the_proof() -> None:
    assert tray_of("CBC", patient={"age": "40 a", "weight_kg": 70}).aim == (
        "objective: fewest tubes, then the kinds that the tests like best, then least blood; an adult, and this draw "
        "stays within 25 % of the blood limit"
    )
    assert tray_of("CBC", objective="least-blood").aim.endswith("as the order asks")


def test_what_is_known_and_done_before_a_draw_stands_in_this_order() -> None:
    trough, peak = tray_of("vancomycin-trough", "vancomycin-peak").draws
    assert [one.flag for one in trough.before] == ["when", "ask"]
    assert [one.flag for one in peak.before] == ["when", "ask", "do first"]
    assert peak.before[1].words == "ask: time at which the infusion of vancomycin ends"
    second = tray_of("group check", "group and screen").draws[1]
    assert "do first: new puncture, disinfect again" in [one.words for one in second.before]
