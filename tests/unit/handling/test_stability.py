"""How long a test keeps through all that a specimen went through, and where nothing is known."""

from __future__ import annotations

from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital.facts.keeping import StorageKey
from cubital.handling.keeping import POLICIES, PolicyKey, Rule, rules_of, span_text
from cubital.handling.record import begin, pour, state_of
from cubital.handling.stability import Kept, Life, Phase, keep, life_of, moved
from cubital.model.specimen import Aliquoted, Spun, Stored
from cubital.model.test import Test
from tests.contract.events import MORNING, aliquoted, collected, said
from tests.published.shipped import SHIPPED

MIN_S, HOUR_S, DAY_S = 60, 3600, 86_400
OFF_S = 10 * MIN_S
HEPARIN = "lithium-heparin"


def life(*stays: tuple[StorageKey, float], off_s: int | None = OFF_S) -> Life:
    """A life of these storages, each from an hour on, the last one open."""
    starts = [round(hour * HOUR_S) for _, hour in stays]
    ends: list[int | None] = [*starts[1:], None]
    phases = [Phase(name, start, end) for (name, _), start, end in zip(stays, starts, ends, strict=True)]
    return Life(tuple(phases), off_s)


def kept(test: str, where: Life, policy: PolicyKey = "strict", additive: str = HEPARIN) -> Kept:
    return keep(SHIPPED.tests[test], additive, "plasma", where, policy=policy)


def spun(specimen: str, minutes: int) -> Spun:
    told = said(specimen, "spun", at=MORNING + timedelta(minutes=minutes))
    return Spun(rcf_g=1500, spin_s=600, temperature_c=20, **told)


def test_one_storage_keeps_for_what_its_source_says_counted_from_the_separation() -> None:
    found = kept("alanine-aminotransferase", life(("ambient", 0)))
    assert found.until_s == OFF_S + 3 * DAY_S
    assert found.standing(OFF_S + 3 * DAY_S) == "kept"
    assert found.standing(OFF_S + 3 * DAY_S + 1) == "past"


def test_the_cold_is_not_taken_for_better() -> None:
    cold = kept("lactate-dehydrogenase", life(("ambient", 0), ("cold", 0.2)))
    warm = kept("lactate-dehydrogenase", life(("ambient", 0)))
    assert cold.until_s is not None
    assert warm.until_s is not None
    assert cold.until_s < warm.until_s


def test_times_in_two_storages_are_not_added() -> None:
    # A day of three in the room, then the cold with its seven: nobody says how they add.
    where = life(("ambient", 0), ("cold", 24))
    strict, extended = (kept("urate", where, policy) for policy in POLICIES)
    assert strict.until_s == strict.ends_s == OFF_S + 3 * DAY_S
    assert extended.until_s == strict.until_s
    assert extended.ends_s == DAY_S + 7 * DAY_S
    assert strict.standing(4 * DAY_S) == "past"
    assert extended.standing(4 * DAY_S) == "mixed"
    assert extended.standing(8 * DAY_S + 1) == "past"


def test_time_on_the_cells_beyond_the_strictest_limit_is_not_added_to_time_off_them() -> None:
    # A study held sodium for ten hours on the cells; a table gives it two weeks off them, taken off in time.
    late = kept("sodium", life(("ambient", 0), off_s=5 * HOUR_S), "extended")
    assert late.standing(10 * HOUR_S) == "kept"
    assert late.standing(11 * HOUR_S) == "mixed"
    in_time = kept("sodium", life(("ambient", 0), off_s=2 * HOUR_S), "extended")
    assert in_time.standing(10 * DAY_S) == "kept"


def test_what_a_study_of_plasma_found_to_hold_counts_from_the_draw() -> None:
    found = kept(
        "activated-partial-thromboplastin-time", life(("ambient", 0), off_s=3 * HOUR_S), "extended", "citrate-9-1"
    )
    assert (found.until_s, found.ends_s) == (8 * HOUR_S, 11 * HOUR_S)


def test_passing_through_the_room_for_less_than_an_hour_does_not_shorten_the_cold() -> None:
    soon = kept("alanine-aminotransferase", life(("ambient", 0), ("cold", 1)))
    late = kept("alanine-aminotransferase", life(("ambient", 0), ("cold", 2)))
    assert soon.until_s == OFF_S + 7 * DAY_S
    assert late.until_s == OFF_S + 3 * DAY_S


def test_passing_is_never_more_than_a_tenth_of_what_it_keeps_there() -> None:
    # Factor VIII: two hours, so twelve minutes.
    cold = kept("factor-viii", life(("ambient", 0), ("cold", 0.3)), additive="citrate-9-1")
    assert cold.until_s == OFF_S + 2 * HOUR_S
    slow = kept("factor-viii", life(("ambient", 0), ("frozen", 0.4)), additive="citrate-9-1")
    assert slow.until_s == 0.4 * HOUR_S + 14 * DAY_S


def test_the_limit_that_all_storages_so_far_have_passed_holds_at_once() -> None:
    # Four hours from the draw in the room and in the cold: a move just before does not lengthen them.
    where = life(("ambient", 0), ("cold", 3.9), off_s=None)
    found = kept("activated-partial-thromboplastin-time", where, additive="citrate-9-1")
    assert found.standing(4 * HOUR_S + 1) in ("past", "unknown")


def test_frozen_time_has_its_own_limit_and_stops_the_others() -> None:
    frozen = kept("factor-ix", life(("ambient", 0), ("frozen", 2)), additive="citrate-9-1")
    assert frozen.until_s == 2 * HOUR_S + 28 * DAY_S
    thawed = kept("factor-ix", life(("ambient", 0), ("frozen", 2), ("ambient", 240)), additive="citrate-9-1")
    assert thawed.until_s == OFF_S + 4 * HOUR_S + 238 * HOUR_S


def test_the_clock_stands_still_while_it_is_frozen_for_each_storage_by_itself() -> None:
    # A day in the room, five days frozen, then the cold: of three days in all two are left, of seven in the cold all.
    where = life(("ambient", 0), ("frozen", 24), ("cold", 144))
    strict, extended = (kept("urate", where, policy) for policy in POLICIES)
    assert strict.until_s == extended.until_s == OFF_S + 3 * DAY_S + 5 * DAY_S
    assert extended.ends_s == 6 * DAY_S + 7 * DAY_S


def test_freezing_before_the_cells_came_off_does_not_lengthen_what_came_after() -> None:
    # Parathyrin in serum: two hours off the cells. No source speaks of the freezing, so nothing is certain from it on.
    where = Life((Phase("ambient", 0, HOUR_S), Phase("frozen", HOUR_S, 3 * HOUR_S), Phase("ambient", 3 * HOUR_S, None)))
    found = kept("parathyrin", where._replace(separated_s=4 * HOUR_S), additive="clot-activator")
    assert (found.until_s, found.unknown_s) == (6 * HOUR_S, HOUR_S)


def test_a_second_freezing_is_not_known() -> None:
    stays = (("ambient", 0.0), ("frozen", 1.0), ("ambient", 30.0), ("frozen", 31.0))
    found = kept("factor-ix", life(*stays), additive="citrate-9-1")  # type: ignore[arg-type]
    assert found.standing(31 * HOUR_S) == "unknown"
    assert "second time" in found.unknown
    assert found.standing(30 * HOUR_S) == "kept"


def test_blood_that_is_frozen_on_its_cells_is_lost() -> None:
    found = kept("sodium", life(("ambient", 0), ("frozen", 0.5), off_s=None))
    assert found.standing(HOUR_S) == "past"


def test_what_goes_on_ice_may_stand_five_minutes_and_no_more() -> None:
    in_time = kept("ammonia", Life((Phase("ambient", 0, 300), Phase("ice", 300, None))), additive="k2-edta")
    too_late = kept("ammonia", Life((Phase("ambient", 0, 301), Phase("ice", 301, None))), additive="k2-edta")
    assert in_time.until_s == 15 * MIN_S
    assert too_late.until_s == 300


def test_where_no_source_speaks_it_is_not_known_and_says_of_what() -> None:
    house = Test(key="house", name="house", bench="b")
    found = keep(house, HEPARIN, "plasma", life(("ambient", 0)), policy="extended")
    assert found.standing(0) == "unknown"
    assert "no source says how long it keeps as on the cells at room temperature" in found.unknown


def test_an_aliquot_of_which_nobody_says_when_it_was_taken_off_is_not_known() -> None:
    plain = collected("t", gel=False, kind="heparin")
    poured = aliquoted("t", "t-1", at=MORNING + timedelta(minutes=70))
    assert isinstance(poured, Aliquoted)
    tube = state_of([plain, spun("t", 50)])
    aliquot = replace(begin(pour(tube, poured)), separated_at=None)
    blind = life_of(aliquot)
    assert not blind.is_separation_known
    assert kept("potassium", blind).standing(0) == "unknown"
    seen = life_of(aliquot, poured_at=MORNING + timedelta(minutes=70))
    assert seen.separated_s == 70 * MIN_S
    assert kept("potassium", seen).standing(80 * MIN_S) == "kept"


def test_a_gel_separates_when_it_is_spun_and_a_plain_tube_does_not() -> None:
    assert life_of(state_of([collected("g"), spun("g", 40)])).separated_s == 40 * MIN_S
    assert life_of(state_of([collected("p", gel=False), spun("p", 40)])).separated_s is None


def test_what_was_poured_off_a_gel_was_on_it_until_then_and_where_nobody_says_when_it_is_taken_to_be_still() -> None:
    tube = state_of([collected("g"), spun("g", 40)])
    poured = aliquoted("g", "g-1", at=MORNING + timedelta(minutes=70))
    assert isinstance(poured, Aliquoted)
    aliquot = begin(pour(tube, poured))
    seen = life_of(aliquot, poured_at=MORNING + timedelta(minutes=70))
    assert (seen.separated_s, seen.has_gel, seen.off_gel_s) == (40 * MIN_S, True, 70 * MIN_S)
    assert kept("potassium", seen).until_s == 40 * MIN_S + 7 * DAY_S
    blind = life_of(aliquot)
    assert blind.off_gel_s is None
    assert kept("potassium", blind).until_s == 40 * MIN_S + DAY_S


def test_time_on_a_gel_frozen_or_in_another_place_does_not_hide_its_own_limit() -> None:
    # Six hours in the room and then in the cold: a day in all on the gel, wherever it stood.
    where = life(("ambient", 0), ("cold", 6))._replace(has_gel=True)
    assert kept("potassium", where).standing(OFF_S + DAY_S) == "kept"
    assert kept("potassium", where).standing(OFF_S + DAY_S + 1) == "past"
    assert kept("sodium", where).standing(OFF_S + 10 * DAY_S) == "kept"
    frozen = kept("potassium", life(("ambient", 0), ("frozen", 6))._replace(has_gel=True))
    assert frozen.standing(6 * HOUR_S) == "unknown"
    assert "on its gel frozen" in frozen.unknown


def test_a_stay_of_no_time_leaves_no_phase() -> None:
    stored = Stored(storage="ice", **said("a", "stored"))
    assert life_of(state_of([collected("a"), stored])).phases == (Phase("ice", 0, None),)


def test_a_life_can_be_asked_what_a_move_would_do() -> None:
    here = life(("ambient", 0))
    there = moved(here, "cold", HOUR_S)
    assert there.phases == (Phase("ambient", 0, HOUR_S), Phase("cold", HOUR_S, None))
    assert moved(life(("ambient", 0), off_s=None), "ambient", HOUR_S, is_separated=True).separated_s == HOUR_S


def test_a_failure_caps_what_the_longest_study_found() -> None:
    rule = rules_of("lactate-dehydrogenase", (), "heparin", "extended")["on-cells", "ambient"]
    assert isinstance(rule, Rule)
    # Held for ten hours by one study, out of its limits by seven in another: a minute less at most.
    assert rule.end(0)[0] == 419 * MIN_S
    fails = Rule(rule.limits, True, (rule.limits[0]._replace(seconds=60),))
    assert fails.end(0)[0] == 60


def test_spans_are_never_rounded_up() -> None:
    assert span_text(1439 * 60) == "23.9 h"
    assert span_text(7 * DAY_S - 1) == "6.9 d"


TESTS = sorted(SHIPPED.tests)
STORAGES = st.sampled_from(("ambient", "cold", "ice", "warm", "frozen"))


@st.composite
def lives(draw: st.DrawFn) -> Life:
    """Any life of up to five storages, separated somewhere or not at all."""
    steps = draw(st.lists(st.tuples(STORAGES, st.integers(1, 4 * DAY_S)), min_size=1, max_size=5))
    phases: list[Phase] = []
    start_s = 0
    for number, (storage, length_s) in enumerate(steps):
        end_s = None if number == len(steps) - 1 else start_s + length_s
        phases.append(Phase(storage, start_s, end_s))  # type: ignore[arg-type]
        start_s += length_s
    return Life(tuple(phases), draw(st.none() | st.integers(0, DAY_S)))


def frozen_s(test: str) -> int:
    """How long the strictest source lets this test be frozen off its cells; 0 where none does."""
    rule = rules_of(test, SHIPPED.tests[test].handling, "heparin", "strict").get(("off-cells", "frozen"))
    return 0 if rule is None else rule.end(0)[0]


FREEZABLE = tuple(test for test in TESTS if frozen_s(test) >= DAY_S)


@given(
    st.sampled_from(FREEZABLE), st.lists(st.tuples(st.sampled_from(("ambient", "cold")), st.integers(1, 2 * DAY_S)),
    min_size=2, max_size=4), st.integers(0, 2), st.integers(1, DAY_S), st.sampled_from(POLICIES),
)  # fmt: skip
def test_a_freezing_within_its_limit_moves_what_comes_after_it_by_its_own_time(
    test: str, steps: list[tuple[StorageKey, int]], place: int, away_s: int, policy: PolicyKey
) -> None:
    place = min(place, len(steps) - 2)
    starts = [OFF_S + sum(length for _, length in steps[:number]) for number in range(len(steps))]
    starts[0] = 0
    thawed_s = starts[place + 1]
    wet = [
        Phase(name, start, end) for (name, _), start, end in zip(steps, starts, [*starts[1:], None], strict=True)
    ]  # fmt: skip
    later = [
        Phase(one.storage, one.start_s + away_s, None if one.end_s is None else one.end_s + away_s)
        for one in wet[place + 1 :]
    ]
    broken = (*wet[: place + 1], Phase("frozen", thawed_s, thawed_s + away_s), *later)
    without, within = (kept(test, Life(phases, OFF_S), policy) for phases in (tuple(wet), broken))
    for name in ("until_s", "ends_s", "unknown_s"):
        before, after = getattr(without, name), getattr(within, name)
        if before is not None and before > thawed_s:
            assert after == before + away_s, name
        elif before is not None and before < thawed_s:
            assert after == before, name


@given(st.sampled_from(TESTS), lives(), st.sampled_from(("lithium-heparin", "k2-edta", "citrate-9-1", "thrombin")))
def test_the_strict_policy_is_never_later(test: str, where: Life, additive: str) -> None:
    strict, extended = (kept(test, where, policy, additive) for policy in POLICIES)
    for early, later in ((strict.until_s, extended.until_s), (strict.ends_s, extended.ends_s)):
        assert early is not None or later is None
        assert early is None or later is None or early <= later


@given(st.sampled_from(TESTS), lives(), STORAGES, st.integers(0, 20 * DAY_S), st.sampled_from(POLICIES))
def test_nothing_that_is_past_comes_back_by_moving_it(
    test: str, where: Life, storage: StorageKey, at_s: int, policy: PolicyKey
) -> None:
    at_s = max(at_s, where.phases[-1].start_s + 1)
    found = kept(test, where, policy)
    if found.standing(at_s) == "past":
        assert kept(test, moved(where, storage, at_s), policy).standing(at_s) == "past"


@given(st.sampled_from(TESTS), lives(), st.integers(0, DAY_S * 9), st.integers(0, DAY_S * 9), st.sampled_from(POLICIES))
def test_what_is_past_stays_past(test: str, where: Life, one_s: int, other_s: int, policy: PolicyKey) -> None:
    found = kept(test, where, policy)
    early_s, late_s = sorted((one_s, other_s))
    if found.standing(early_s) == "past":
        assert found.standing(late_s) == "past"
    if found.ends_s is not None and found.until_s is not None:
        assert found.until_s <= found.ends_s
