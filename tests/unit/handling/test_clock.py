"""The windows of a specimen: what, from when, by when, for which tests, and how they stand at an instant."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cubital.handling.clock import Clock, StatusKey, Window
from cubital.handling.clock_steps import StepKey, spin_of
from cubital.handling.keeping import POLICIES, PolicyKey
from cubital.handling.record import state_of
from cubital.model.specimen import AnyEvent, Collected, Discarded, Specimen, Spun, Stored
from cubital.model.test import Test
from tests.contract.events import MORNING, collected, received, said
from tests.published.shipped import SHIPPED

CLOCKS = {policy: Clock(SHIPPED, policy=policy) for policy in POLICIES}


def at(minutes: float) -> datetime:
    return MORNING + timedelta(minutes=minutes)


def drawn(kind: str, *tests: str, matrix: str = "plasma", **changed: object) -> Collected:
    of = SHIPPED.kinds[kind]
    told = {"kind": kind, "additive": of.additive, "gel": of.gel, "matrix": matrix, "tests": tests, **changed}
    return collected("a", **told)


def windows(*events: AnyEvent, policy: PolicyKey = "strict") -> tuple[Window, ...]:
    return CLOCKS[policy].windows(state_of(events))


def window(step: StepKey, *events: AnyEvent, policy: PolicyKey = "strict") -> Window:
    return next(w for w in windows(*events, policy=policy) if w.step == step)


def spun(minutes: float) -> Spun:
    return Spun(rcf_g=1500, spin_s=600, temperature_c=20, **said("a", "spun", at=at(minutes)))


def stored(storage: str, minutes: float) -> Stored:
    return Stored(storage=storage, **said("a", f"stored-{minutes}", at=at(minutes)))  # type: ignore[arg-type]


def test_the_strictest_test_sets_the_window_and_is_named_with_its_source() -> None:
    found = window("spin", drawn("heparin-gel", "sodium", "insulin", "parathyrin"))
    assert found.due_at == at(30)
    assert found.tests == ("insulin",)
    assert found.reasons[0].text == "on the cells at room temperature: 30 min"
    assert (found.reasons[0].basis, found.reasons[0].sources) == ("memory", ("memory",))


def test_a_run_must_begin_so_that_it_is_over_in_time() -> None:
    found = window("spin", drawn("heparin-gel", "sodium"))
    assert (found.start_by, found.due_at) == (at(110), at(120))
    assert window("deliver", drawn("heparin-gel", "sodium")).due_at == at(110)


def test_serum_is_not_spun_before_it_has_clotted_nor_left_for_too_long() -> None:
    found = window("spin", drawn("serum-gel", "immunoglobulin-g", matrix="serum"))
    assert (found.opens_at, found.due_at) == (at(30), at(120))
    assert found.reasons[0].text == "serum stands 30 min to 2 h"
    clot = window("clot", drawn("serum-gel", "immunoglobulin-g", matrix="serum"))
    assert [clot.status(at(minute)) for minute in (29, 30)] == ["open", "done"]


def test_a_bleeding_patient_and_a_chilled_tube_may_clot_later_and_it_is_said() -> None:
    slow = window("clot", drawn("serum-gel", "sodium", matrix="serum", anticoagulated=True))
    assert "wait for a firm clot" in slow.unknown[0]
    cold = window("clot", drawn("serum-gel", "sodium", matrix="serum"), stored("ice", 1))
    assert "chilled" in cold.unknown[0]


def test_clot_and_spin_that_cannot_both_be_kept_are_said() -> None:
    found = window("spin", drawn("serum-gel", "glucose", matrix="serum"))
    assert found.unknown == ("a run of 10 min after 30 min is not over by 30 min",)


def test_serum_for_cryoglobulins_clots_and_stays_warm() -> None:
    warm = windows(drawn("serum", "cryoglobulin", matrix="serum"))
    steps = {w.step: w for w in warm}
    assert steps["warm"].due_at == at(5)
    assert steps["spin"].opens_at == at(60)
    assert "37 C" in steps["spin"].text


def test_a_tube_for_ice_has_the_windows_of_one_on_ice_until_the_record_says_otherwise() -> None:
    tube = drawn("edta", "ammonia")
    assert window("ice", tube).due_at == at(5)
    assert window("spin", tube).due_at == at(15)
    late = (tube, stored("ice", 9))
    assert window("ice", *late).status(at(20)) == "done late"
    assert window("test", *late).due_at == at(5)


def test_whole_blood_is_not_spun() -> None:
    found = windows(drawn("edta", "complete-blood-count", matrix="whole-blood"))
    assert [w.step for w in found] == ["mix", "deliver", "test"]
    assert found[-1].due_at == at(24 * 60)
    extended = window("test", drawn("edta", "complete-blood-count", matrix="whole-blood"), policy="extended")
    assert extended.due_at == at(48 * 60)


def test_tests_of_one_instant_stand_together_and_later_ones_by_themselves() -> None:
    tube = (drawn("heparin-gel", "sodium", "potassium", "troponin-i"), received("a", at=at(20)), spun(40))
    found = [w for w in windows(*tube) if w.step == "test"]
    assert [(w.tests, w.due_at) for w in found] == [
        (("troponin-i",), at(40 + 480)),
        # Potassium in the gel tube that it was spun in: a day.
        (("potassium",), at(40 + 1440)),
        (("sodium",), at(40 + 14 * 1440)),
    ]


def test_the_storage_decides_and_the_move_is_seen() -> None:
    tube = (drawn("heparin-gel", "troponin-i"), received("a", at=at(20)), spun(40), stored("cold", 50))
    assert window("test", *tube).due_at == at(40 + 2 * 1440)
    frozen = (*tube, stored("frozen", 90))
    assert window("test", *frozen).due_at == at(90 + 180 * 1440)


def test_what_must_be_frozen_at_once_is_once_it_is_off_its_cells() -> None:
    tube = drawn("serum", "gastrin", matrix="serum")
    assert "freeze" not in {w.step for w in windows(tube)}
    gel = (drawn("serum-gel", "calcitonin", matrix="serum"), stored("ice", 3), received("a", at=at(9)), spun(25))
    assert window("freeze", *gel).due_at == at(30)


def test_a_plain_tube_is_spun_and_then_taken_off_its_cells() -> None:
    tube = (drawn("heparin", "sodium"), received("a", at=at(20)), spun(40))
    found = {w.step: w for w in windows(*tube)}
    assert found["spin"].status(at(50)) == "done"
    assert found["separate"].status(at(50)) == "open"
    assert found["separate"].status(at(121)) == "late"
    assert "separate" not in {w.step for w in windows(drawn("heparin-gel", "sodium"))}


def test_what_the_record_cannot_show_is_not_called_late() -> None:
    mix = window("mix", drawn("edta", "complete-blood-count", matrix="whole-blood"))
    assert mix.text == "invert 8 times"
    assert [mix.status(at(minute)) for minute in (1, 6)] == ["open", "not recorded"]
    dark = window("dark", drawn("heparin-gel", "vitamin-b12", "sodium"))
    assert dark.tests == ("vitamin-b12",)


def test_a_spin_before_the_clot_is_done_early_and_one_after_the_window_late() -> None:
    tube = drawn("serum-gel", "sodium", matrix="serum")
    assert window("spin", tube, spun(20)).status(at(200)) == "done early"
    assert window("spin", tube, spun(125)).status(at(200)) == "done late"
    assert window("spin", tube, spun(60)).status(at(200)) == "done"


def test_a_test_that_no_source_knows_has_no_time_and_says_so() -> None:
    found = window("test", drawn("heparin-gel", "house-test"))
    assert found.due_at is None
    assert "no source says" in found.unknown[0]
    assert window("deliver", drawn("edta", "house-test", matrix="whole-blood")).unknown


def test_a_specimen_with_nothing_waiting_has_no_window() -> None:
    assert windows(drawn("heparin-gel", "sodium"), Discarded(why="done", **said("a", "discarded"))) == ()


def test_anti_xa_is_spun_within_the_hour_by_two_reasons() -> None:
    found = window("spin", drawn("citrate", "anti-xa-unfractionated-heparin", "prothrombin-time"))
    assert found.due_at == at(60)
    assert [r.text for r in found.reasons] == ["on the cells at room temperature: 60 min", "spin within 1 h"]


def test_the_setting_follows_from_tube_and_tests() -> None:
    def spin(kind: str, *tests: str) -> str:
        tube = state_of([drawn(kind, *tests)])
        found = spin_of(tube, tuple(SHIPPED.tests[t] for t in tests))
        return "none" if found is None else found.purpose

    assert spin("citrate", "prothrombin-time") == "platelet-poor citrate plasma"
    assert spin("citrate", "lupus-anticoagulant") == "citrate plasma, twice"
    assert spin("edta", "ammonia") == "EDTA plasma, cold"
    assert spin("heparin-gel", "ammonia") == "heparin plasma, cold"
    # What is asked for cold and has no cold setting is not given one at room temperature.
    assert spin("citrate", "prothrombin-time", "ammonia") == "none"
    assert spin("edta", "bnp") == "EDTA plasma"
    assert spin("sps", "bnp") == "none"


KINDS = sorted(k.key for k in SHIPPED.kinds.values() if k.additive not in ("culture-medium", "sps"))
LATE: tuple[StatusKey, ...] = ("late", "done late", "not recorded")


@st.composite
def specimens(draw: st.DrawFn) -> Specimen:
    """Any tube with up to four tests, spun and stored at some time or not."""
    kind = SHIPPED.kinds[draw(st.sampled_from(KINDS))]
    matrix = draw(st.sampled_from(sorted(kind.dead_volume_ul)))
    tests = draw(st.lists(st.sampled_from(sorted(SHIPPED.tests)), min_size=1, max_size=4, unique=True))
    events: list[AnyEvent] = [drawn(kind.key, *tests, matrix=matrix)]
    if draw(st.booleans()):
        events.append(spun(draw(st.integers(1, 300))))
    if draw(st.booleans()):
        events.append(stored(draw(st.sampled_from(("ice", "cold", "frozen", "warm"))), draw(st.integers(1, 600))))
    return state_of(events)


@given(specimens(), st.sampled_from(POLICIES), st.integers(0, 60_000), st.integers(0, 60_000))
def test_a_later_instant_never_undoes_lateness(specimen: Specimen, policy: PolicyKey, one: int, other: int) -> None:
    early, late = sorted((one, other))
    for found in CLOCKS[policy].windows(specimen):
        if found.status(at(early)) in LATE:
            assert found.status(at(late)) in LATE


@given(specimens())
def test_a_stricter_policy_is_never_later(specimen: Specimen) -> None:
    strict, extended = (CLOCKS[policy].windows(specimen) for policy in POLICIES)
    for step in ("deliver", "spin", "separate", "test"):
        ends = [min((w.due_at for w in ws if w.step == step and w.due_at), default=None) for ws in (strict, extended)]
        assert ends[1] is None or (ends[0] is not None and ends[0] <= ends[1]), step


@pytest.mark.parametrize("policy", POLICIES)
def test_every_shipped_test_has_windows_in_every_kind_that_serves_it(policy: PolicyKey) -> None:
    for test in SHIPPED.tests.values():
        for accept in test.accepts:
            for kind in accept.tubes:
                if kind in SHIPPED.kinds:
                    steps = [w.step for w in windows(drawn(kind, test.key, matrix=accept.matrix), policy=policy)]
                    assert "deliver" in steps
                    assert "test" in steps


def test_a_test_of_the_house_is_taken_from_the_record_though_the_directory_lacks_it() -> None:
    tube = state_of([drawn("heparin-gel", "house-test")])
    assert CLOCKS["strict"].known_tests(tube) == (Test(key="house-test", name="house-test", bench=""),)
