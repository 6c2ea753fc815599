"""Loading centrifuges: what goes together, what comes first, what is left out and why."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from cubital.errors import SpinError
from cubital.handling.spin import plan_spins
from cubital.handling.verify_spin import verify_spins
from cubital.model.centrifuge import Centrifuge, PlaceRow, SpinPlan, SpinRun, SpinScore, Standing, WaitingTube
from tests.unit.handling.spin_benches import ANGLE, COOLED, MINUTE, PROGRAMS, SWING, tube


def plan(tubes: list[WaitingTube], *centrifuges: Centrifuge, **more: Any) -> SpinPlan:
    """The plan, sound and proved."""
    found = plan_spins(tubes, centrifuges, PROGRAMS, **more)
    assert verify_spins(found, tubes, centrifuges, PROGRAMS, standing=more.get("standing")) == []
    assert found.is_optimal
    return found


def loads(found: SpinPlan) -> list[tuple[str, ...]]:
    return [tuple(sorted(run.tubes)) for run in found.runs]


def blanks(run: SpinRun) -> list[tuple[str, str | None]]:
    return [(place.place, place.like) for place in run.filled if place.tube is None]


def test_no_tube_makes_no_run() -> None:
    found = plan([], SWING)
    assert found.runs == ()
    assert found.score == SpinScore(missed=0, late_s=0, runs=0, last_end_s=0)


def test_programs_that_meet_share_a_run_at_a_force_and_time_that_serve_both() -> None:
    found = plan([tube("a", "gel", gel=True), tube("b", "heparin")], SWING)
    (run,) = found.runs
    assert run.spin_s == 10 * MINUTE
    assert run.rpm == 2700  # the first step above 2696 rpm, which are 1300 g at 16 cm, worked by hand
    assert found.score == SpinScore(missed=0, late_s=0, runs=1, last_end_s=11 * MINUTE)


def test_programs_that_meet_in_one_force_between_two_steps_of_speed_run_apart() -> None:
    assert loads(plan([tube("a", "serum"), tube("b", "heparin")], SWING)) == [("a",), ("b",)]


def test_a_serum_tube_of_one_time_never_runs_with_citrate() -> None:
    assert loads(plan([tube("a", "serum"), tube("b", "citrate")], SWING)) == [("a",), ("b",)]


def test_a_gel_tube_may_run_longer_with_citrate() -> None:
    (run,) = plan([tube("a", "gel", gel=True), tube("b", "citrate")], SWING).runs
    assert run.spin_s == 15 * MINUTE


def test_cold_tubes_never_run_with_warm_ones_and_wait_until_the_rotor_is_cold() -> None:
    standing = {"cooled": Standing(free_s=0, temp_c=20)}
    found = plan([tube("a", "serum"), tube("b", "cold")], COOLED, standing=standing)
    assert [(run.tubes, run.temp_c, run.start_s) for run in found.runs] == [
        (("a",), 20, 0),
        (("b",), 4, 11 * MINUTE + 900),
    ]


def test_a_rotor_whose_temperature_is_not_known_takes_its_time_before_the_first_run() -> None:
    (run,) = plan([tube("a", "serum")], COOLED).runs
    assert run.start_s == 900


def test_a_rotor_of_the_room_spins_nothing_that_the_room_is_too_warm_for() -> None:
    found = plan([tube("a", "cold")], SWING)
    assert found.left_out[0].reason == "no centrifuge here that holds it reaches cold"


def test_a_room_that_may_be_warmer_than_the_program_is_not_taken_for_cool_enough() -> None:
    found = plan([tube("a", "serum")], replace(SWING, temp_high_c=26))
    assert [left.tube for left in found.left_out] == ["a"]


def test_a_due_time_that_can_be_kept_is_kept_though_it_costs_a_run() -> None:
    early = tube("early", "serum", due_s=11 * MINUTE)
    late = tube("late", "serum", ready_s=MINUTE)
    assert loads(plan([early, late], SWING)) == [("early",), ("late",)]
    assert loads(plan([replace(early, due_s=12 * MINUTE), late], SWING)) == [("early", "late")]


def test_a_run_that_comes_to_rest_in_the_second_it_is_due_is_in_time() -> None:
    assert plan([tube("a", "serum", due_s=11 * MINUTE)], SWING).missed == ()
    assert plan([tube("a", "serum", due_s=11 * MINUTE - 1)], SWING).missed == ("a",)


def test_where_one_must_be_late_the_fewest_are_and_by_the_least() -> None:
    one_pair = replace(ANGLE, places=(PlaceRow(pairs=1, low_um=12_000, high_um=16_500),), reload_s=0)
    tubes = [
        tube("lost", "serum", due_s=60), tube("first", "serum", due_s=11 * MINUTE), tube("other", "serum", due_s=630)
    ]  # fmt: skip
    found = plan(tubes, one_pair)
    assert found.missed == ("lost",)
    assert loads(found)[0] == ("first", "other")
    assert found.score.late_s == 2 * 630 - 60


def test_a_tube_that_was_due_before_it_was_asked_about_is_late_and_spun_all_the_same() -> None:
    found = plan([tube("a", "serum", due_s=-3600)], SWING)
    assert (found.missed, found.score.late_s) == (("a",), 3600 + 11 * MINUTE)


def test_a_full_rotor_takes_those_due_first() -> None:
    one_pair = replace(SWING, places=(PlaceRow(pairs=1, low_um=12_000, high_um=13_500, buckets=("A", "C")),))
    tubes = [tube(f"t{n}", "serum", due_s=(40 - n) * MINUTE) for n in range(4)]
    assert loads(plan(tubes, one_pair)) == [("t2", "t3"), ("t0", "t1")]


def test_an_odd_tube_is_balanced_by_a_blank_like_it() -> None:
    (run,) = plan([tube("a", "serum")], SWING).runs
    assert blanks(run) == [(run.filled[1].place, "a")]
    assert run.filled[0].opposite == run.filled[1].place


@pytest.mark.parametrize(("load_mg", "expected"), [(4300, 0), (4299, 2)])
def test_two_tubes_of_a_kind_balance_each_other_to_the_milligram_that_the_rotor_allows(
    load_mg: int, expected: int
) -> None:
    (run,) = plan([tube("a", "serum"), tube("b", "serum", load_mg=load_mg)], SWING).runs
    assert run.blanks == expected


def test_tubes_of_two_kinds_never_balance_each_other_though_they_weigh_the_same() -> None:
    (run,) = plan([tube("a", "serum"), tube("b", "serum", type="another 5 mL")], SWING).runs
    assert run.blanks == 2


def test_a_weighed_tube_is_not_set_against_one_whose_fill_was_read() -> None:
    (run,) = plan([tube("a", "serum"), tube("b", "serum", measure="mass")], SWING).runs
    assert run.blanks == 2


def test_blanks_take_places_so_that_six_odd_tubes_fill_six_pairs() -> None:
    six = [tube(f"t{n}", "serum", type=f"kind {n}") for n in range(6)]
    assert plan(six, SWING).score.runs == 1
    assert plan([*six, tube("t6", "serum", type="kind 6")], SWING).score.runs == 2


def test_wide_tubes_stand_in_wide_places_and_narrow_ones_make_room_for_them() -> None:
    wide = [tube(f"w{n}", "serum", type="wide", diameter_um=16_000) for n in range(4)]
    narrow = [tube(f"n{n}", "serum") for n in range(8)]
    (run,) = plan([*narrow, *wide], SWING).runs
    assert {place.place[0] for place in run.filled if place.tube and place.tube[0] == "w"} == {"B", "D"}


def test_a_tube_that_no_rotor_has_a_place_for_is_left_out_with_the_reason() -> None:
    found = plan([tube("a", "serum", diameter_um=20_000), tube("b", "serum")], SWING)
    assert [(left.tube, left.reason) for left in found.left_out] == [("a", "no centrifuge here has a place for 20 mm")]
    assert loads(found) == [("b",)]


def test_a_gel_tube_is_not_spun_again() -> None:
    found = plan([tube("a", "gel", gel=True, was_spun=True), tube("b", "citrate", was_spun=True)], SWING)
    assert [left.tube for left in found.left_out] == ["a"]
    # Hira and others 2001 (abstract read): 3.95 to 5.95 mmol/L at 24 h where the tube was spun again.
    assert "move its plasma or serum to a new tube" in found.left_out[0].reason
    assert "potassium rose from 4.0 to 6.0 mmol/L" in found.left_out[0].reason
    assert loads(found) == [("b",)]


def test_whole_blood_without_a_program_is_not_spun() -> None:
    (left,) = plan([tube("a")], SWING).left_out
    assert left.reason.startswith("no program is known for it")


def test_a_gel_tube_goes_into_a_fixed_angle_only_where_its_time_there_is_known() -> None:
    (run,) = plan([tube("a", "gel", gel=True)], ANGLE).runs
    assert run.spin_s == 15 * MINUTE
    assert plan([tube("a", "heparin", gel=True)], ANGLE).left_out[0].reason.endswith("with a gel tube")
    assert plan([tube("a", "gel", gel=True)], replace(ANGLE, takes_gel=False)).runs == ()


def test_a_gel_tube_is_put_on_the_rotor_that_swings_out_where_that_costs_nothing() -> None:
    tubes = [tube("a", "gel", gel=True), tube("b", "serum", due_s=1300), tube("c", "citrate", due_s=930)]
    found = plan(tubes, ANGLE, SWING, standing={"swing": Standing(free_s=600)})
    assert [(run.centrifuge, *sorted(run.tubes)) for run in found.runs] == [("angle", "c"), ("swing", "a", "b")]


def test_two_centrifuges_work_at_once() -> None:
    found = plan([tube("a", "serum", due_s=11 * MINUTE), tube("b", "citrate", due_s=16 * MINUTE)], SWING, ANGLE)
    assert found.missed == ()
    assert {run.start_s for run in found.runs} == {0}


def test_a_centrifuge_that_still_runs_is_loaded_when_it_is_free() -> None:
    (run,) = plan([tube("a", "serum")], SWING, standing={"swing": Standing(free_s=432)}).runs
    assert run.start_s == 432


def test_seconds_before_the_instant_they_count_from_are_seconds_like_others() -> None:
    found = plan([tube("a", "serum", ready_s=-9000)], SWING, standing={"swing": Standing(free_s=-9000)})
    assert found.score.last_end_s == 11 * MINUTE - 9000


def test_between_two_runs_lies_the_time_to_load() -> None:
    first, second = plan([tube("a", "serum"), tube("b", "citrate")], ANGLE).runs
    assert second.start_s == first.end_s + ANGLE.reload_s


def test_a_tube_with_two_programs_takes_the_one_that_saves_a_run() -> None:
    assert plan([tube("a", "serum", "citrate"), tube("b", "citrate")], SWING).score.runs == 1


def test_a_name_given_twice_and_an_unknown_program_are_refused() -> None:
    for tubes, centrifuges, words in (
        ([tube("a", "serum"), tube("a", "serum")], (SWING,), "found tube 'a' twice"),
        ([tube("a", "serum")], (SWING, SWING), "found centrifuge 'swing' twice"),
        ([tube("a", "serums")], (SWING,), "found the program 'serums'; expected one of serum, gel"),
    ):
        with pytest.raises(SpinError, match=words):
            plan_spins(tubes, centrifuges, PROGRAMS)


def test_a_program_of_one_force_is_met_by_the_first_step_of_speed_that_reaches_it() -> None:
    (run,) = plan([tube("a", "citrate")], SWING).runs
    assert run.rpm == 2900  # 2896 rpm at 16 cm are 1500 g: RCF = 1.118e-5 x r x rpm^2, worked by hand


def test_a_range_of_force_without_a_step_of_speed_in_it_is_not_served() -> None:
    coarse = replace(SWING, rpm_step=1000)
    assert plan([tube("a", "serum")], coarse).left_out[0].tube == "a"


def test_a_program_beyond_the_speed_of_the_rotor_is_not_served() -> None:
    assert plan([tube("a", "citrate")], replace(SWING, rpm_high=2890)).runs == ()
