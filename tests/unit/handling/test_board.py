"""The board: what is next, most urgent first; what is lost, and what can still be saved and how."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital.handling.board import Board, Page
from cubital.handling.clock import Clock
from cubital.handling.keeping import POLICIES, PolicyKey
from cubital.handling.record import follow, state_of
from cubital.handling.rescue import Prospect, keeps_where, prospect
from cubital.model.specimen import AnyEvent, Discarded, Reported, Specimen, Spun, Stored
from tests.contract.events import MORNING, collected, judged, received, said
from tests.published.shipped import SHIPPED
from tests.unit.handling.test_addon import spun, stored
from tests.unit.handling.test_clock import specimens


def at(minutes: float) -> datetime:
    return MORNING + timedelta(minutes=minutes)


def tube(id: str, kind: str, *tests: str, matrix: str = "plasma", events: Sequence[AnyEvent] = ()) -> Specimen:
    of = SHIPPED.kinds[kind]
    told = {"kind": kind, "additive": of.additive, "gel": of.gel, "matrix": matrix, "tests": tests}
    return state_of([collected(id, **told), *events])


def page(minutes: float, *tubes: Specimen, policy: PolicyKey = "strict", most: int | None = None) -> Page:
    board = Board(SHIPPED, policy=policy)
    for one in tubes:
        board.put(one)
    return board.at(at(minutes), most=most)


def said_of(found: Page) -> list[tuple[str, str, str]]:
    return [(line.specimen, line.step, line.urgency) for line in found.lines]


def test_potassium_on_its_gel_can_be_saved_by_pouring_it_off() -> None:
    specimen = tube("g", "heparin-gel", "potassium", "sodium", events=(spun("g", 40),))
    saved = {one.test: one for one in prospect(specimen, Clock(SHIPPED), at(600)).saved}
    assert (saved["potassium"].way, saved["potassium"].due_at) == ("pour", at(40 + 1440))
    assert saved["potassium"].until == at(40 + 7 * 1440)
    assert saved["sodium"].way in ("test", "freeze")
    assert prospect(specimen, Clock(SHIPPED), at(40 + 1441)).lost == ("potassium",)


def test_what_must_begin_first_stands_first() -> None:
    found = page(
        10,
        tube("blood", "edta", "complete-blood-count", matrix="whole-blood"),
        tube("salt", "heparin-gel", "sodium"),
        tube("sugar", "heparin-gel", "glucose"),
        tube("house", "heparin-gel", "house-test"),
    )
    assert said_of(found) == [
        ("sugar", "deliver", "due"),
        ("salt", "deliver", "due"),
        ("blood", "deliver", "due"),
        ("house", "deliver", "unknown"),
    ]
    assert (found.late, found.due, found.waiting, found.unknown) == (0, 3, 0, 1)


def test_each_specimen_shows_its_next_step_only() -> None:
    salt = tube("salt", "heparin", "sodium")
    seen = []
    for event in (received("salt", at=at(20)), spun("salt", 40), stored("salt", "cold", 60)):
        seen.append(said_of(page(45, salt))[0][1])
        salt = follow(salt, event)
    assert seen == ["deliver", "spin", "separate"]
    gel = tube("gel", "heparin-gel", "sodium", events=(received("gel", at=at(20)), spun("gel", 40)))
    assert said_of(page(45, gel)) == [("gel", "test", "due")]


def test_serum_waits_for_its_clot() -> None:
    serum = tube("s", "serum-gel", "sodium", matrix="serum", events=(received("s", at=at(10)),))
    assert said_of(page(20, serum)) == [("s", "spin", "waiting")]
    assert said_of(page(30, serum)) == [("s", "spin", "due")]


def test_a_late_tube_says_what_is_lost_and_goes_on_for_the_rest() -> None:
    mixed = tube("m", "heparin-gel", "insulin", "sodium", events=(received("m", at=at(15)),))
    early = page(25, mixed)
    assert said_of(early) == [("m", "spin", "late")]
    assert early.lost == ()
    later = page(40, mixed)
    assert said_of(later) == [("m", "spin", "due")]
    assert later.lines[0].lost == ("insulin",)
    assert later.lines[0].tests == ("sodium",)
    assert later.lost == (("m", ("insulin",)),)
    gone = page(130, mixed)
    assert gone.lines == ()
    assert gone.lost == (("m", ("insulin", "sodium")),)


def test_a_tube_that_was_chilled_against_its_test_is_lost_at_once() -> None:
    cold = tube(
        "k", "heparin-gel", "potassium", "sodium", events=(Stored(storage="ice", **said("k", "ice", at=at(2))),)
    )
    assert page(5, cold).lost == (("k", ("potassium",)),)


def test_what_is_settled_or_discarded_leaves_the_board() -> None:
    done: list[AnyEvent] = [received("a", at=at(10)), judged("a", "accept", "sodium", at=at(10)), spun("a", 30)]
    reported = Reported(test="sodium", volume_ul=10, **said("a", "reported", at=at(50)))
    board = Board(SHIPPED)
    board.put(tube("a", "heparin-gel", "sodium", events=done))
    assert len(board) == 1
    board.put(tube("a", "heparin-gel", "sodium", events=[*done, reported]))
    assert len(board) == 0
    board.put(tube("b", "heparin-gel", "sodium"))
    board.put(tube("b", "heparin-gel", "sodium", events=[Discarded(why="broken", **said("b", "gone", at=at(5)))]))
    assert board.at(at(6)).lines == ()
    board.drop("b")


def test_a_page_may_be_short_and_counts_all_the_same() -> None:
    tubes = [tube(f"t{n}", "heparin-gel", "sodium") for n in range(5)]
    found = page(5, *tubes, most=2)
    assert [line.specimen for line in found.lines] == ["t0", "t1"]
    assert found.due == 5


def test_the_extended_policy_gives_a_tube_the_time_that_a_study_found() -> None:
    blood = tube("b", "heparin-gel", "sodium", events=(received("b", at=at(15)),))
    assert page(180, blood).lost == (("b", ("sodium",)),)
    assert said_of(page(180, blood, policy="extended")) == [("b", "spin", "due")]


def how(specimen: Specimen, minutes: float, policy: PolicyKey = "strict") -> Prospect:
    return prospect(specimen, Clock(SHIPPED, policy=policy), at(minutes))


def test_off_the_cells_saves_most_and_the_move_is_named_with_its_time() -> None:
    found = how(tube("h", "heparin", "sodium", "insulin"), 60)
    assert found.lost == ("insulin",)
    (saved,) = found.saved
    assert (saved.way, saved.due_at) == ("separate", at(120))
    assert saved.until == at(60 + 14 * 1440)


def test_the_freezer_saves_where_the_cold_does_not_and_the_cold_where_it_is_longest() -> None:
    factor = tube("f", "citrate", "factor-ix", events=(spun("f", 20),))
    assert how(factor, 30).saved[0].way == "separate"
    gel = tube("g", "heparin-gel", "troponin-i", "lactate-dehydrogenase", events=(spun("g", 20),))
    ways = {saved.test: saved.way for saved in how(gel, 60).saved}
    assert ways == {"troponin-i": "freeze", "lactate-dehydrogenase": "freeze"}


def test_where_nothing_gives_more_time_it_is_measured_as_it_is() -> None:
    blood = tube("b", "edta", "malaria-film", matrix="whole-blood")
    assert how(blood, 30).saved[0].way == "test"


def test_what_nobody_knows_is_neither_lost_nor_saved_by_a_move() -> None:
    (saved,) = how(tube("x", "heparin-gel", "house-test"), 30).saved
    assert (saved.is_known, saved.due_at, saved.until) == (False, None, None)


def test_it_is_said_how_long_each_test_would_keep_in_the_room_cold_and_frozen() -> None:
    found = {}
    specimen = tube("k", "citrate", "prothrombin-time", "fibrinogen")
    for one in keeps_where(specimen, Clock(SHIPPED), at(60)):
        found[one.test, one.storage] = (one.until, one.text)
    assert found["fibrinogen", "cold"] == (at(60 + 1440), "off the cells at 2-8 C: 24 h")
    assert found["fibrinogen", "frozen"] == (at(60 + 14 * 1440), "off the cells frozen: 14 d")
    assert found["prothrombin-time", "ambient"] == (at(1440), "off the cells at room temperature: 24 h from the draw")
    cold, why = found["prothrombin-time", "cold"]
    assert cold is None
    assert why.startswith("must not be kept so: off the cells at 2-8 C: not at all")
    late = keeps_where(specimen, Clock(SHIPPED), at(300))
    assert [one.text for one in late if one.test == "fibrinogen"] == [
        "too late: on the cells at room temperature: 4 h"
    ] * 3
    (room, cold_house, frozen) = keeps_where(tube("x", "heparin-gel", "house-test"), Clock(SHIPPED), at(10))
    assert {one.until for one in (room, cold_house, frozen)} == {None}
    assert "no source says" in room.text


@given(
    st.lists(specimens(), max_size=6),
    st.lists(st.integers(0, 60_000), min_size=1, max_size=5),
    st.sampled_from(POLICIES),
)
def test_a_board_that_was_looked_at_says_what_a_new_one_says(
    tubes: list[Specimen], instants: list[int], policy: PolicyKey
) -> None:
    named = [state_named(one, f"t{n}") for n, one in enumerate(tubes)]
    kept = Board(SHIPPED, policy=policy)
    kept.put_all(named)
    for minutes in instants:
        fresh = Board(SHIPPED, policy=policy)
        for one in reversed(named):
            fresh.put(one)
        found, expected = kept.at(at(minutes)), fresh.at(at(minutes))
        assert (found.lines, sorted(found.lost)) == (expected.lines, sorted(expected.lost))


@given(st.lists(specimens(), max_size=4), st.integers(0, 60_000), st.integers(0, 60_000), st.sampled_from(POLICIES))
def test_what_is_lost_stays_lost(tubes: list[Specimen], one: int, other: int, policy: PolicyKey) -> None:
    board = Board(SHIPPED, policy=policy)
    board.put_all(state_named(tube, f"t{n}") for n, tube in enumerate(tubes))
    early, late = sorted((one, other))
    gone = {(id, test) for id, tests in board.at(at(late)).lost for test in tests}
    assert {(id, test) for id, tests in board.at(at(early)).lost for test in tests} <= gone


def state_named(specimen: Specimen, id: str) -> Specimen:
    return replace(specimen, id=id)


def chilled(id: str, *, temperature_c: int, after_min: int = 12) -> Specimen:
    """An ammonia tube with gel that was spun at this temperature; where it was before nobody wrote down."""
    run = Spun(rcf_g=1500, spin_s=600, temperature_c=temperature_c, **said(id, "spun", at=at(after_min)))
    return tube(id, "heparin-gel", "ammonia", events=(run,))


def test_a_tube_for_ice_that_was_spun_in_the_cold_is_unknown_until_it_is_too_late_however_it_was_kept() -> None:
    board = Board(SHIPPED)
    specimen = chilled("a", temperature_c=4)
    board.put(specimen)
    for minute in (20, 131):
        page = board.at(at(minute))
        (line,) = page.lines
        assert (line.step, line.urgency, page.lost) == ("test", "unknown", ()), minute
        assert any("whether it was on ice until its cells came off is not recorded" in text for text in line.unknown)
        found = prospect(specimen, board.clock, at(minute))
        assert found.lost == ()
        assert [(one.test, one.is_known) for one in found.saved] == [("ammonia", False)]
    # 120 min off its cells in the cold, had it been there: past that it is lost with ice and without.
    page = board.at(at(133))
    assert (page.lines, page.lost) == ((), (("a", ("ammonia",)),))
    assert prospect(specimen, board.clock, at(133)).lost == ("ammonia",)


def test_a_tube_for_ice_that_is_known_to_have_been_warm_is_lost() -> None:
    board = Board(SHIPPED)
    board.put(chilled("run", temperature_c=21))
    room = Stored(storage="ambient", **said("room", "room", at=at(1)))
    board.put(tube("room", "heparin-gel", "ammonia", events=(room, chilled("room", temperature_c=4).spins[0])))
    board.put(chilled("slow", temperature_c=4, after_min=17))
    assert {id for id, _ in board.at(at(20)).lost} == {"run", "room", "slow"}


def test_a_tube_for_ice_with_its_ice_written_down_keeps_its_time() -> None:
    board = Board(SHIPPED)
    iced = Stored(storage="ice", **said("i", "ice", at=at(3)))
    board.put(tube("i", "heparin-gel", "ammonia", events=(iced, chilled("i", temperature_c=4).spins[0])))
    (line,) = board.at(at(20)).lines
    assert (line.urgency, line.begin_by, line.unknown) == ("due", at(132), ())


def test_a_tube_for_ice_is_not_called_lost_for_want_of_a_record_and_it_is_said() -> None:
    board = Board(SHIPPED)
    specimen = tube("a", "edta", "ammonia")
    board.put(specimen)
    page = board.at(at(8))
    (line,) = page.lines
    assert (line.step, line.urgency, page.lost) == ("ice", "late", ())
    assert line.unknown == ("where it is is not recorded; if it was not there, refuse it",)
    assert prospect(specimen, board.clock, at(8)).lost == ()
    assert board.at(at(16)).lost == (("a", ("ammonia",)),)
    room = tube("b", "edta", "ammonia", events=(Stored(storage="ambient", **said("b", "room", at=at(1))),))
    board.put(room)
    assert ("b", ("ammonia",)) in board.at(at(8)).lost
