"""Speeds, settings, balance and places: the parts that a load of a centrifuge is made of."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital.chemistry.centrifuge import force_g
from cubital.handling.spin_balance import capacities_of, holds, pair_up, place_labels, stand
from cubital.handling.spin_programs import purposes_for, spin_programs
from cubital.handling.spin_settings import force_reaches, settings_of, speeds_of, temperatures_of
from cubital.model.centrifuge import Centrifuge, PlaceRow, SpinProgram
from tests.unit.handling.spin_benches import ANGLE, COOLED, PROGRAMS, SWING, program, tube


@given(st.integers(1, 30_000), st.integers(20, 400), st.integers(1, 20_000))
def test_whole_numbers_say_of_a_force_what_the_formula_says(rpm: int, radius_mm: int, rcf_g: int) -> None:
    computed_g = force_g(rpm=rpm, radius_cm=radius_mm / 10)
    if abs(computed_g - rcf_g) > 1e-6 * rcf_g:
        assert force_reaches(rpm, rcf_g, radius_mm) == (computed_g > rcf_g)


@given(st.integers(1, 3000), st.integers(0, 500), st.integers(40, 200), st.sampled_from([1, 10, 50, 100]))
def test_the_speeds_of_a_program_are_the_steps_within_it(low_g: int, more_g: int, radius_mm: int, step: int) -> None:
    machine = replace(SWING, radius_mm=radius_mm, rpm_step=step, rpm_low=300, rpm_high=5000)
    wanted = program("x", low_g, low_g + more_g)
    inside = [
        rpm
        for rpm in range(-(-300 // step) * step, 5001, step)
        if force_reaches(rpm, low_g, radius_mm) and 1118 * radius_mm * rpm * rpm <= (low_g + more_g) * 10**9
    ]
    found = speeds_of(wanted, machine)
    if inside:
        assert found == (inside[0], inside[-1])
    elif more_g:
        assert found is None
    elif found is not None:
        assert force_reaches(found[0], low_g, radius_mm)
        assert not force_reaches(found[0] - step, low_g, radius_mm)


def test_a_cooled_rotor_is_set_to_the_least_degree_of_each_program_or_left_as_it_is() -> None:
    wanted = list(PROGRAMS.values())
    assert temperatures_of(wanted, COOLED, now_c=22) == (4, 18, 20, 22)
    assert temperatures_of(wanted, COOLED, now_c=None) == (4, 18, 20)
    assert temperatures_of(wanted, SWING, now_c=22) == (None,)


def test_a_setting_that_serves_no_more_in_no_less_time_is_not_kept() -> None:
    needs = [((p,), False) for p in ("serum", "heparin", "citrate")]
    found = settings_of(SWING, PROGRAMS, needs, temp_c=None)
    assert [(s.spin_s, sorted(need[0][0] for need in s.serves)) for s in found] == [
        (600, ["serum"]),
        (600, ["heparin"]),
        (900, ["citrate", "heparin"]),
    ]


@settings(max_examples=300)
@given(st.lists(st.integers(0, 12), min_size=1, max_size=7), st.integers(0, 4))
def test_no_way_to_pair_leaves_fewer_tubes_alone(loads: list[int], balance: int) -> None:
    loads.sort()

    def least(left: tuple[int, ...]) -> int:
        if not left:
            return 0
        first, rest = left[0], left[1:]
        return min(
            [1 + least(rest)]
            + [1 + least((*rest[:n], *rest[n + 1 :])) for n, other in enumerate(rest) if other - first <= balance]
        )

    found = pair_up(loads, balance)
    assert len(found) == least(tuple(loads))
    assert sorted(n for pair in found for n in pair if n is not None) == list(range(len(loads)))
    assert all(other is None or loads[other] - loads[one] <= balance for one, other in found)


@settings(max_examples=200)
@given(st.lists(st.integers(1, 7), max_size=6), st.lists(st.integers(1, 3), min_size=3, max_size=3))
def test_pairs_hold_exactly_where_a_place_can_be_found_for_each(masks: list[int], rooms: list[int]) -> None:
    rows = tuple(PlaceRow(pairs=room, low_um=1, high_um=2) for room in rooms)
    machine = replace(ANGLE, places=rows)

    def placed(left: list[int], room: list[int]) -> bool:
        if not left:
            return True
        return any(
            room[r] > 0 and left[0] >> r & 1 and placed(left[1:], [n - (i == r) for i, n in enumerate(room)])
            for r in range(3)
        )

    demand: dict[int, int] = {}
    for mask in masks:
        demand[mask] = demand.get(mask, 0) + 1
    assert holds(demand, capacities_of(machine)) == placed(masks, rooms)


def test_places_in_a_rotor_are_numbered_around_it_half_a_turn_apart() -> None:
    assert place_labels(ANGLE) == [[("1", "4"), ("2", "5"), ("3", "6")]]
    two = replace(ANGLE, places=(*ANGLE.places, PlaceRow(pairs=1, low_um=12_000, high_um=13_000)))
    assert place_labels(two)[1] == [("4", "8")]


def test_places_of_buckets_are_numbered_on_through_their_rows() -> None:
    rows = tuple(PlaceRow(pairs=2, low_um=1, high_um=2, buckets=("A", "C")) for _ in range(2))
    assert place_labels(replace(SWING, places=rows)) == [[("A1", "C1"), ("A2", "C2")], [("A3", "C3"), ("A4", "C4")]]


def test_a_load_that_the_rotor_does_not_hold_is_refused() -> None:
    tubes = [tube(f"t{n}", "serum") for n in range(7)]
    with pytest.raises(ValueError, match="more pairs than places"):
        stand(tubes, ANGLE)


def test_the_shipped_programs_are_those_of_the_facts() -> None:
    programs = spin_programs()
    assert programs["platelet-poor citrate plasma"].low_s == 900
    assert programs["gel serum"].fixed_angle_s == 900
    assert programs["EDTA plasma, cold"].temp_high_c == 4
    assert purposes_for("clot-activator", gel=True) == ("gel serum",)
    assert purposes_for("k2-edta", gel=False)[0] == "EDTA plasma"
    assert purposes_for("sps", gel=False) == ()


def test_programs_that_must_stay_apart_share_no_setting() -> None:
    programs = spin_programs()
    for one, other in combinations(
        ("platelet-poor citrate plasma", "EDTA plasma, cold", "cryoglobulin serum, warm"), 2
    ):
        for temp_c in temperatures_of([programs[one], programs[other]], COOLED, now_c=20):
            found = settings_of(COOLED, programs, [((one,), False), ((other,), False)], temp_c=temp_c)
            assert all(len(setting.serves) == 1 for setting in found), (one, other)


@pytest.mark.parametrize(
    "change",
    [{"rpm_low": 0}, {"rpm_low": 5000}, {"radius_mm": 0}, {"rpm_step": 0}, {"places": ()}, {"temp_low_c": 30},
     {"ramp_s": -1}, {"balance_mg": -1}],
)  # fmt: skip
def test_an_impossible_centrifuge_cannot_exist(change: dict[str, int]) -> None:
    values = {field: getattr(SWING, field) for field in SWING.__struct_fields__} | change
    with pytest.raises(ValueError, match="swing: expected"):
        Centrifuge(**values)


def test_an_impossible_program_and_impossible_places_cannot_exist() -> None:
    for low_g, high_g in ((0, 10), (20, 10)):
        with pytest.raises(ValueError, match="expected rising ranges"):
            program("x", low_g, high_g)
    with pytest.raises(ValueError, match="rising range of temperature"):
        SpinProgram(purpose="x", rcf_low_g=1, rcf_high_g=2, low_s=1, high_s=2, temp_low_c=5, temp_high_c=4)
    with pytest.raises(ValueError, match="expected a rising range"):
        PlaceRow(pairs=0, low_um=1, high_um=2)
    with pytest.raises(ValueError, match="opposite itself"):
        PlaceRow(pairs=1, low_um=1, high_um=2, buckets=("A", "A"))
